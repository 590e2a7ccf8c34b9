"""What the plans need of a lot that ages: what they take in time, what comes too late, what is left. Pure."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

NOTHING = Decimal(0)


@dataclass(frozen=True, slots=True)
class Use:
    """What a step needs of the item of a lot. `taken` is what netting takes for it from this lot, `missing` what it stays short of.

    `late`: the lot is dead by then. `ours`: the project may take from the lot's bench; else it is worth asking for. `waits_for` are
    the steps not done that come first. `project` and `step` are the codes that the step's page goes by.
    """

    label: str
    project: str
    step: str
    day: date
    quantity: Decimal
    taken: Decimal
    missing: Decimal
    late: bool
    ours: bool
    waits_for: tuple[str, ...]
    rule: str
    source: str

    @property
    def asks(self) -> bool:
        """It could use a lot that it doesn't get: one that is dead by then, or another bench's."""
        return self.late and self.taken < self.quantity if self.ours else bool(self.missing)


def taken(uses: Iterable[Use]) -> Decimal:
    """What all steps together take of a lot."""
    return sum((use.taken for use in uses), NOTHING)


def unused(on_hand: Decimal, uses: Iterable[Use]) -> Decimal:
    """What nobody takes of a lot: it dies on the shelf. Projects netted apart may take the same grams twice, so never below 0."""
    return max(NOTHING, on_hand - taken(uses))


def could_use(left: Decimal, uses: Iterable[Use]) -> tuple[Use, ...]:
    """The needs that could use what is left of a lot, if their step were pulled forward or its owner asked: those ready first."""
    asking = [use for use in uses if use.asks] if left else []
    return tuple(sorted(asking, key=lambda use: (bool(use.waits_for), not use.ours, use.day, use.label)))
