"""What the plans need of a lot that ages: what they take in time, what comes too late, what is left and what that is worth. Pure."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

from inventory.common.exact import decimal_text
from inventory.common.reasons import Reason

NOTHING = Decimal(0)
CENT = Decimal("0.01")


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


@dataclass(frozen=True, slots=True)
class Cost:
    """What a stock unit costs since a day, in the club's money; `currency` is blank where nobody said which."""

    amount: Decimal
    since: date
    currency: str


@dataclass(frozen=True, slots=True)
class Worth:
    """What dies unused in money, rounded half up to hundredths, and why."""

    amount: Decimal
    currency: str
    reason: Reason


def worth(left: Decimal, unit: str, cost: Cost | None) -> Worth | None:
    """The value of what is left of a lot. None where no cost is known: then nobody can say, and 0 would look like nothing lost."""
    if cost is None:
        return None
    amount = (left * cost.amount).quantize(CENT, ROUND_HALF_UP)
    money = f" {cost.currency}" if cost.currency else ""
    text = f"{decimal_text(Fraction(left))} {unit} unused x {decimal_text(Fraction(cost.amount), 6)}{money} = {amount}{money}"
    return Worth(amount, cost.currency, Reason(text, f"unit cost since {cost.since}, as the club set it; rounded half up to hundredths"))


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
