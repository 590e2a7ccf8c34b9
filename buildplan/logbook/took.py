"""What steps took of stock, with lots and dates: from the ledger alone, so that nothing is typed twice."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any, NamedTuple

from django.utils import timezone

from buildplan.plan.models import Finish
from buildplan.sealing.models import MixShare
from buildplan.sealing.queries import stop
from inventory.common.fields import plain
from inventory.common.reasons import Reason
from inventory.models import Movement
from inventory.shelflife.calc import of_columns

FINISH, MIX = "finish:", "mix:"


@dataclass(frozen=True, slots=True)
class LotUsed:
    """A lot that something came from, with the dates of its label; blank where none is known."""

    id: int
    code: str
    made: str
    expires: str
    opened: date | None
    certificate: str = ""

    @property
    def label(self) -> str:
        """In words: its code and what its label states."""
        dates = [f"made {self.made}" if self.made else "", f"expires {self.expires}" if self.expires else ""]
        further = [f"opened {self.opened}" if self.opened else "", f"certificate {self.certificate}" if self.certificate else ""]
        said = ", ".join(filter(None, [*dates, *further]))
        return f"{self.code or 'no lot code'}{f' ({said})' if said else ''}"


@dataclass(frozen=True, slots=True)
class Took:
    """What a step took of an item, and of which lots. `batch` says of a mixed batch when it was mixed.

    `stop` is why nothing should have been sealed with it: the metal was too cold or too hot.
    """

    item: str
    name: str
    unit: str
    quantity: Decimal
    on: date
    batch: datetime | None
    lots: tuple[LotUsed, ...]
    stop: Reason | None = None

    @property
    def label(self) -> str:
        """In words, as it stands in files."""
        lots = " + ".join(lot.label for lot in self.lots)
        mixed = f", of a batch mixed {timezone.localtime(self.batch):%Y-%m-%d %H:%M}" if self.batch else ""
        stopped = f", {self.stop.text}" if self.stop else ""
        return f"{self.item} {plain(self.quantity)} {self.unit}, lot {lots}{mixed}{stopped}"


_LOT = (
    "lot_id",
    "lot__code",
    "lot__made_on",
    "lot__made_as",
    "lot__expires_on",
    "lot__expires_as",
    "lot__opened_on",
    "lot__measured__certificate",
)
_MOVED = ("ref", "lot__item__code", "lot__item__name", "lot__item__unit", "quantity", "on", *_LOT)


def took(steps: Collection[int]) -> dict[int, tuple[Took, ...]]:
    """What each of these steps took, as the ledger stands now: what was taken back isn't there. Three queries."""
    return took_by(_finishes(steps), _shares(steps))


class Share(NamedTuple):
    """What of a batch was mixed for a step."""

    step: int
    mix: int
    item: str
    name: str
    grams: Decimal
    mixed_at: datetime
    temperature_f: Fraction | None = None


def took_by(finishes: Iterable[tuple[int, int]], shares: Sequence[Share]) -> dict[int, tuple[Took, ...]]:
    """What steps took by these finishes, each with its step, and by their shares of batches, the first mixed first. One query."""
    refs = {f"{FINISH}{pk}": step for pk, step in finishes}
    moved = _moved([*refs, *(f"{MIX}{share.mix}" for share in shares)])
    found: dict[int, list[Took]] = defaultdict(list)
    for ref, step in refs.items():
        found[step] += _finished(moved.get(ref, ()))
    for step, mix, item, name, grams, at, temperature in shares:
        lots = tuple({row[6]: _lot(row) for row in moved.get(f"{MIX}{mix}", ())}.values())
        found[step].append(Took(item, name, "g", grams, timezone.localdate(at), at, lots, stop(temperature)))
    return {step: tuple(rows) for step, rows in found.items()}


_SHARE = ("mix_id", "mix__item__code", "mix__item__name", "grams", "mix__mixed_at", "mix__temperature_f")


def _finishes(steps: Collection[int]) -> Iterable[tuple[int, int]]:
    return Finish.objects.filter(step__in=steps, taken_back_at=None).order_by("pk").values_list("pk", "step_id")


def _shares(steps: Collection[int]) -> list[Share]:
    rows = MixShare.objects.filter(step__in=steps, mix__taken_back_at=None).order_by("mix__mixed_at", "pk")
    return [Share(*row) for row in rows.values_list("step_id", *_SHARE)]


def _moved(refs: Collection[str]) -> Mapping[str, list[tuple[Any, ...]]]:
    """The movements under some references that stand, by reference. One query."""
    found: dict[str, list[tuple[Any, ...]]] = defaultdict(list)
    rows = Movement.objects.filter(ref__in=refs, reverses=None, reversed_by=None).order_by("pk")
    for row in rows.values_list(*_MOVED):
        found[row[0]].append(row)
    return found


def _finished(rows: Iterable[tuple[Any, ...]]) -> Iterator[Took]:
    for row in rows:
        _, item, name, unit, quantity, on = row[:6]
        yield Took(item, name, unit, quantity, on, None, (_lot(row),))


def _lot(row: tuple[Any, ...]) -> LotUsed:
    pk, code, made_on, made_as, expires_on, expires_as, opened, certificate = row[6:]
    made, expires = of_columns(made_on, made_as), of_columns(expires_on, expires_as)
    return LotUsed(pk, code, str(made) if made else "", str(expires) if expires else "", opened, certificate or "")
