"""What may serve where a rivet is short, and what was accepted: reads. An offer is never netted by itself."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db.models import Q

from buildplan.hardware.calc import Rivet, may_serve
from buildplan.hardware.models import Substitution
from buildplan.hardware.queries import rivets
from buildplan.plan.models import Step
from buildplan.shortfall import queries
from buildplan.shortfall.calc import NOTHING, Line
from inventory.common.reasons import Reason
from inventory.models import Bench, Holding
from inventory.shelflife.calc import of_columns
from inventory.stock.calc import life, why_not
from inventory.stock.queries import LIVED, SAYS, rule


@dataclass(frozen=True, slots=True)
class Offer:
    """Another rivet that may serve: ask the plans. `on_hand` is usable on the day of need, `taken` what this demand takes of it."""

    item: int
    code: str
    name: str
    unit: str
    on_hand: Decimal
    taken: Decimal
    reason: Reason


@dataclass(frozen=True, slots=True)
class _Lot:
    """What one lot holds of a rivet, and whether it serves on a day."""

    quantity: Decimal
    dates: tuple[Any, ...]
    rule: tuple[Any, ...]

    def serves(self, day: date) -> bool:
        """Whether its life is known and reaches that day."""
        made_on, made_as, expires_on, expires_as, *lived = self.dates
        lasting = rule(*self.rule)
        found = life(lasting, of_columns(made_on, made_as), of_columns(expires_on, expires_as), *lived)
        return why_not(lasting, found, day) is None


@dataclass(slots=True)
class _Rivet:
    """A rivet of the workshop with the lots of it that this bench may use."""

    code: str
    name: str
    unit: str
    lots: list[_Lot]


def offers(bench: Bench, wanted: Iterable[Line], lines: Iterable[Line]) -> dict[int, tuple[Offer, ...]]:
    """What may serve for each rivet among `wanted`, by item; `lines` are the whole demand. Two queries, none without lines."""
    asked = list(wanted)
    if not asked:
        return {}
    known, stocked = rivets(), _stocked(bench)
    taken = {line.item.id: line.usable for line in lines}
    found = ((line.item.id, tuple(_offers(line, known, stocked, taken))) for line in asked)
    return {item: offered for item, offered in found if offered}


def _offers(line: Line, known: Mapping[int, Rivet], stocked: Mapping[int, _Rivet], taken: Mapping[int, Decimal]) -> Iterable[Offer]:
    wanted = known.get(line.item.id)
    if wanted is None:
        return
    day = line.first_short or line.needs[0].day
    for item, held in stocked.items():
        reason = may_serve(wanted, known[item]) if item in known and item != line.item.id and held.unit == line.item.unit else None
        on_hand = sum((lot.quantity for lot in held.lots if lot.serves(day)), NOTHING) if reason else NOTHING
        if reason is not None and on_hand:
            yield Offer(item, held.code, held.name, held.unit, on_hand, taken.get(item, NOTHING), reason)


_COLUMNS = (
    *("lot__item_id", "lot__item__code", "lot__item__name", "lot__item__unit", "quantity"),
    *("lot__made_on", "lot__made_as", "lot__expires_on", "lot__expires_as", *(f"lot__{name}" for name in LIVED)),
    *("lot__item__kind", *(f"lot__item__{name}" for name in SAYS)),
)
_DATES = 4 + len(LIVED)  # the columns of a row's dates


def _stocked(bench: Bench) -> dict[int, _Rivet]:
    """The good rivets on the bench's own and shared shelves, by item code."""
    ours = Q(lot__bench=bench) | Q(lot__bench__shared=True)
    rows = Holding.objects.filter(ours, quantity__gt=0, lot__state="good", lot__item__kind="rivet")
    found: dict[int, _Rivet] = {}
    for item, code, name, unit, quantity, *rest in rows.order_by("lot__item__code", "lot_id").values_list(*_COLUMNS):
        lot = _Lot(quantity, tuple(rest[:_DATES]), tuple(rest[_DATES:]))
        found.setdefault(item, _Rivet(code, name, unit, [])).lots.append(lot)
    return found


@dataclass(frozen=True, slots=True)
class Swapped:
    """One acceptance, standing or withdrawn."""

    id: int
    wanted: str
    served_by: str
    by: str
    at: datetime
    note: str
    withdrawn_at: datetime | None
    withdrawn_by: str | None


@dataclass(frozen=True, slots=True)
class Wanting:
    """A rivet that a step needs, how much of it is short in the whole demand, and what may serve for it."""

    line: Line
    needed: Decimal
    offers: tuple[Offer, ...]


@dataclass(frozen=True, slots=True)
class Serving:
    """What a step's page of substitutions shows."""

    wanting: tuple[Wanting, ...]
    standing: tuple[Swapped, ...]
    withdrawn: tuple[Swapped, ...]


def of_step(step: Step, *, as_of: date) -> Serving:
    """The rivets of a step with what may serve for each, and what was accepted. At most seventeen queries."""
    swapped = _swapped(step)
    standing = tuple(one for one in swapped if one.withdrawn_at is None)
    served = {one.served_by for one in standing}
    found = queries.shortfall([step.project], before=None, as_of=as_of).lines
    lines = [line for line in found if any(need.step == step.pk for need in line.needs) and not line.item.returned]
    offered = offers(step.project.bench, lines, found)
    wanting = (Wanting(line, _needed(line, step), offered.get(line.item.id, ())) for line in lines)
    shown = tuple(one for one in wanting if one.offers and one.line.item.code not in served)
    return Serving(shown, standing, tuple(one for one in swapped if one.withdrawn_at is not None))


def _needed(line: Line, step: Step) -> Decimal:
    return sum((need.quantity for need in line.needs if need.step == step.pk), NOTHING)


_SWAPPED = ("id", "wanted__code", "served_by__code", "by__name", "at", "note", "withdrawn_at", "withdrawn_by__name")


def _swapped(step: Step) -> list[Swapped]:
    rows = Substitution.objects.filter(step=step).order_by("pk").values_list(*_SWAPPED)
    return [Swapped(*row) for row in rows]
