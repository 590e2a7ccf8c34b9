"""Reads of what lies where."""

import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django.db import connection
from django.db.models import Exists, Min, OuterRef, Q, QuerySet, Sum

from inventory.catalogue.models import DYING, Identifier, Item
from inventory.common.fields import PLACES
from inventory.shelflife.calc import StatedDate, of_columns
from inventory.stock.calc import Life, LifeRule, life, why_not
from inventory.stock.models import End, Holding, Lot, Movement, Place, SetAside, State
from inventory.workshop.models import Bench, Workshop

NOTHING = Decimal(0)


@dataclass(frozen=True, slots=True)
class Held:
    """What one place holds of one lot. `quantity` is in `unit`; `set_aside` is of the whole lot, wherever it lies."""

    lot_id: int
    place_id: int
    item_id: int
    bench: str
    item: str
    name: str
    kind: str
    unit: str
    lot: str
    place: str
    quantity: Decimal
    set_aside: Decimal
    state: str
    made: StatedDate | None
    expires: StatedDate | None
    opened: date | None
    life: Life


@dataclass(frozen=True, slots=True)
class LedgerError:
    """A holding that isn't the sum of its movements. Both are in `unit`; no movements, or no holding, is 0."""

    workshop: str
    item: str
    unit: str
    lot_id: int
    lot: str
    place: str
    holding: Decimal
    movements: Decimal


LIVED = ("opened_on", "passes", "storage_until", "storage_why", "accepted_until")  # of a lot, as `life` takes them after its dates
SAYS = ("life_months", "open_life_days", "min_life_days", "extend_part")  # of an item, as `rule` takes them after its kind
_COLUMNS = (
    *("lot_id", "place_id", "lot__item_id", "lot__bench__code", "lot__item__code", "lot__item__name", "lot__item__kind"),
    *("lot__item__unit", "lot__code", "place__path", "quantity", "lot__state"),
    *("lot__made_on", "lot__made_as", "lot__expires_on", "lot__expires_as"),
    *(f"lot__{name}" for name in LIVED),
    *(f"lot__item__{name}" for name in SAYS),
)


def holdings(*, bench: Bench | None = None, item: Item | None = None, place: Place | None = None) -> list[Held]:
    """What is on hand in the workshop in scope: of one bench, of one item, in one place and all within it. Two queries.

    By item, then what expires first as printed, then lot and place.
    """
    rows = Holding.objects.filter(_which(bench, item, place), quantity__gt=0)
    rows = rows.order_by("lot__item__code", "lot__expires_on", "lot__code", "lot_id", "place__path")
    aside = _set_asides()
    return [_held(aside, *row) for row in rows.values_list(*_COLUMNS)]


def on_hand(lot: Lot) -> Decimal:
    """What all places hold of a lot, in the item's stock unit. One query."""
    return Holding.objects.filter(lot=lot).aggregate(total=Sum("quantity"))["total"] or NOTHING


def set_aside_for_others(lot: Lot, ref: str) -> Decimal:
    """What is set aside of a lot for anything but `ref`. One query."""
    return SetAside.objects.filter(lot=lot).exclude(ref=ref).aggregate(total=Sum("quantity"))["total"] or NOTHING


def rule_of(item: Item) -> LifeRule:
    """What the item says of how long its lots live."""
    return rule(item.kind, item.life_months, item.open_life_days, item.min_life_days, item.extend_part)


def life_of(lot: Lot) -> Life:
    """What ends the lot's life, as far as its dates are known. Reads the item where it wasn't fetched with it."""
    return life(rule_of(lot.item), lot.made, lot.expires, *(getattr(lot, name) for name in LIVED))


@dataclass(frozen=True, slots=True)
class Opening:
    """What a lot's history says of its opening: from when it is open since then, None for not, and why."""

    opened: date | None
    at: datetime
    by: str
    why: str


def openings(lot: Lot) -> list[Opening]:
    """Each time that it was said when a lot was opened, the latest first; nothing of one that was never open. One query."""
    rows = Lot.history.filter(id=lot.pk).order_by("history_date", "history_id")
    said: list[Opening] = []
    last: date | None = None
    for opened, at, by, why in rows.values_list("opened_on", "history_date", "history_user__name", "history_change_reason"):
        if opened != last:
            said.append(Opening(opened, at, by or "", why or ""))
        last = opened
    return said[::-1]


def came_on(lot: Lot) -> date | None:
    """The first day on which some of a lot came in; None where it was passed or cut from another, or never came. One query."""
    came = Movement.objects.filter(lot=lot, source__end__in=(End.SUPPLIER, End.COUNTED), reverses=None, reversed_by=None)
    day: date | None = came.aggregate(first=Min("on"))["first"]
    return day


def ledger_errors(workshop: Workshop | None = None) -> list[LedgerError]:
    """Holdings that aren't the sum of their movements, of one workshop or of all, whatever the scope. One query.

    What passed from bench to bench must leave again what came: an item of which that isn't so is named with one of its lots.
    """
    only = "" if workshop is None else " WHERE workshop_id = %s"
    given = [] if workshop is None else [workshop.pk] * 3
    with connection.cursor() as cursor:
        cursor.execute(_LEDGER.format(only=only, **_TABLES), given)
        return [_ledger_error(*row) for row in cursor.fetchall()]


def _which(bench: Bench | None, item: Item | None, place: Place | None) -> Q:
    which = Q()
    if bench is not None:
        which &= Q(lot__bench=bench)
    if item is not None:
        which &= Q(lot__item=item)
    if place is not None:
        which &= Q(place=place) | Q(place__key__startswith=f"{place.key}/")
    return which


def _set_asides() -> dict[int, Decimal]:
    return dict(SetAside.objects.values("lot_id").annotate(total=Sum("quantity")).values_list("lot_id", "total"))


def _held(aside: Mapping[int, Decimal], *row: Any) -> Held:
    lot_id, place_id, item_id, bench, code, name, kind, unit, lot, place, quantity, state, *dates = row
    made_on, made_as, expires_on, expires_as, *rest = dates
    lived, says = rest[: len(LIVED)], rest[len(LIVED) :]
    made = of_columns(made_on, made_as)
    expires = of_columns(expires_on, expires_as)
    found = life(rule(kind, *says), made, expires, *lived)
    set_aside = aside.get(lot_id, NOTHING)
    what = (lot_id, place_id, item_id, bench, code, name, kind, unit, lot, place, quantity, set_aside, state)
    return Held(*what, made, expires, lived[0], found)


def rule(
    kind: str, life_months: int | None, open_life_days: int | None, min_life_days: int, extend_part: Fraction | None = None
) -> LifeRule:
    """How long lots of such an item live: sealants and chemicals, and whatever has a life, count only with a known end."""
    timed = kind in DYING or life_months is not None
    return LifeRule(life_months, open_life_days, min_life_days, timed=timed, extend_part=extend_part)


_TABLES = {model.__name__.lower(): model._meta.db_table for model in (Movement, Holding, Place, Lot, Item, Workshop)}  # noqa: SLF001
# The ORM has no sum over a union. Both engines read this; `only` is ours, and names no value.
_LEDGER = """
    WITH line (lot_id, place_id, held, moved) AS (
        SELECT lot_id, place_id, quantity, 0 FROM {holding}{only}
        UNION ALL SELECT lot_id, target_id, 0, quantity FROM {movement}{only}
        UNION ALL SELECT lot_id, source_id, 0, -quantity FROM {movement}{only}
    ), summed AS (
        SELECT line.lot_id, line.place_id, SUM(line.held) AS held, SUM(line.moved) AS moved, place.path, place."end"
        FROM line JOIN {place} place ON place.id = line.place_id
        GROUP BY line.lot_id, line.place_id, place.path, place."end"
    )
    SELECT workshop.code, item.code, item.unit, lot.id, lot.code, summed.path, summed.held,
        CASE WHEN summed."end" = 'storage' THEN summed.moved ELSE 0 END
    FROM summed
        JOIN {lot} lot ON lot.id = summed.lot_id
        JOIN {item} item ON item.id = lot.item_id
        JOIN {workshop} workshop ON workshop.id = lot.workshop_id
    WHERE summed.held <> CASE WHEN summed."end" = 'storage' THEN summed.moved ELSE 0 END
    UNION ALL SELECT workshop.code, item.code, item.unit, MIN(lot.id), '', summed.path, 0, SUM(summed.moved)
    FROM summed
        JOIN {lot} lot ON lot.id = summed.lot_id
        JOIN {item} item ON item.id = lot.item_id
        JOIN {workshop} workshop ON workshop.id = lot.workshop_id
    WHERE summed."end" = 'passed'
    GROUP BY workshop.code, item.code, item.unit, summed.path
    HAVING SUM(summed.moved) <> 0
    ORDER BY 1, 2, 5, 4, 6
"""


def _ledger_error(*row: Any) -> LedgerError:
    workshop, item, unit, lot_id, lot, path, held, moved = row
    holding, movements = (Decimal(thousandths).scaleb(-PLACES) for thousandths in (held, moved))
    return LedgerError(workshop, item, unit, lot_id, lot, path, holding, movements)


def place_text(path: str) -> str:
    """A path, or a part of one, as places are compared: one case, blanks around each name dropped."""
    return unicodedata.normalize("NFC", "/".join(name.strip() for name in path.split("/")).casefold())


def place_of(path: str) -> Place | None:
    """The storage place of a path, whatever its case. One query."""
    return Place.objects.filter(end=End.STORAGE, key=place_text(path)).first()


def usable_lots(on: date) -> set[int]:
    """The lots on hand that are good and serve on a day, whosever they are. One query."""
    rows = Lot.objects.filter(state=State.GOOD, holdings__quantity__gt=0).select_related("item").distinct()
    return {lot.pk for lot in rows if _serves(lot, on)}


def _serves(lot: Lot, on: date) -> bool:
    try:
        return why_not(rule_of(lot.item), life_of(lot), on) is None
    except ValueError:  # dates that make no sense together
        return False


def place_paths() -> list[str]:
    """Every storage place of the workshop in scope, for a person to choose from; nobody's hands, which loans fill. One query."""
    return list(Place.objects.filter(end=End.STORAGE, hands=None).order_by("key").values_list("path", flat=True))


def find_holdings(*, text: str = "", kind: str = "", bench: str = "", place: str = "") -> QuerySet[Holding, tuple[Any, ...]]:
    """What is on hand in the workshop in scope, as rows for `held`, in the order of `holdings`; a page takes its part of them.

    `text` is looked for in item codes, other codes that mean the item, names and lot codes; `place` anywhere in a path.
    """
    rows = Holding.objects.filter(quantity__gt=0)
    if text:
        codes = Identifier.objects.filter(item_id=OuterRef("lot__item_id"), text__icontains=text)
        rows = rows.filter(Q(lot__item__name__icontains=text) | Q(lot__code__icontains=text) | Exists(codes))
    if kind:
        rows = rows.filter(lot__item__kind=kind)
    if bench:
        rows = rows.filter(lot__bench__code=bench)
    if place:
        rows = rows.filter(place__key__contains=place.casefold())
    return rows.order_by("lot__item__code", "lot__expires_on", "lot__code", "lot_id", "place__path").values_list(*_COLUMNS)


def held(rows: Iterable[tuple[Any, ...]]) -> list[Held]:
    """Rows of `find_holdings` as pages show them. One query."""
    found = list(rows)
    lots = SetAside.objects.filter(lot__in={row[0] for row in found})
    aside = dict(lots.values("lot_id").annotate(total=Sum("quantity")).values_list("lot_id", "total"))
    return [_held(aside, *row) for row in found]


@dataclass(frozen=True, slots=True)
class LedgerLine:
    """A movement as a lot's page shows it. `undone_on` is when it was reversed; `undoes` is the movement that it reverses."""

    id: int
    on: date
    quantity: Decimal
    source: str
    source_end: str
    target: str
    target_end: str
    by: str
    note: str
    undoes: int | None
    undone_on: date | None
    lent_from: int | None = None  # whose hands it came from or went to: a loan's, which takes it back itself
    lent_to: int | None = None

    @property
    def reversible(self) -> bool:
        """Neither undone nor an undoing itself, nor a loan's, nor one side of what passed from bench to bench, nor a saw cut."""
        lent = self.lent_from is not None or self.lent_to is not None
        stays = not {End.PASSED, End.CUT}.isdisjoint({self.source_end, self.target_end})
        return self.undoes is None and self.undone_on is None and not lent and not stays

    @property
    def within(self) -> bool:
        """A use, or a carry from place to place: what builders do, and may undo."""
        return self.source_end == End.STORAGE and self.target_end in {End.STORAGE, End.USED}


_LINE = (
    *("id", "on", "quantity", "source__path", "source__end", "target__path", "target__end"),
    *("by__name", "note", "reverses_id", "reversed_by__on", "source__hands_id", "target__hands_id"),
)


def movements(*, lot: Lot | None = None, ref: str | None = None) -> QuerySet[Movement, tuple[Any, ...]]:
    """Movements of a lot, or those that a reference names, the latest first, as rows for `LedgerLine`."""
    rows = Movement.objects.order_by("-id")
    if lot is not None:
        rows = rows.filter(lot=lot)
    if ref is not None:
        rows = rows.filter(ref=ref)
    return rows.values_list(*_LINE)
