"""The only writer of tallies, and of what ends a crate: bags counted, goods put away, counting closed.

Whoever counts, puts away or closes holds the crate's row until the transaction ends, so that two people at one crate lose nothing.
Locks are taken in one order everywhere: the workshop, the crate, its lines by id, the bench, then lots.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Protocol, cast
from uuid import UUID

from django.db import transaction
from django.db.models import Q, Sum

from inventory.catalogue.models import Item
from inventory.common.fields import plain
from inventory.common.history import changed_by, update_many
from inventory.common.problems import FieldProblem, Problem
from inventory.common.quantities import not_negative, pieces, positive
from inventory.common.rows import BATCH, batches, find_or_make
from inventory.common.texts import BadText, optional
from inventory.receiving import services as receiving
from inventory.receiving.models import Bag, Crate, PackingLine
from inventory.shelflife.calc import StatedDate, limits
from inventory.stock import services as stock
from inventory.stock.keeping import refuse_kept
from inventory.stock.models import Movement, Place, State
from inventory.tallying import calc, queries
from inventory.tallying.calc import Measured
from inventory.tallying.models import Finding, How, Tally
from inventory.workshop import policy
from inventory.workshop.models import Member

MOST_NOTE = 200
MOST_HEAD = 12
ONE = Decimal(1)
CLOSED = "counting is closed"  # the reason that histories of its lines keep


class NothingToCount(Problem):
    """A count that names neither an item nor a line, and isn't a mystery."""

    title = "Nothing is named"


class OtherCrate(Problem):
    """A bag, line or tally that lies in another crate."""

    title = "This lies in another crate"


class OlderThanCorrection(Problem):
    """Somebody has said since how many there are in all: a count from before is in that already, or was wrong."""

    status = 409
    title = "Older than a correction"


class CountedSince(Problem):
    """Somebody counted of the line since the page was made."""

    status = 409
    title = "Somebody has counted since"


class AlreadyUndone(Problem):
    """A tally is undone once, and what undid it stays."""

    status = 409
    title = "Already undone"


class InStockAlready(Problem):
    """What was counted has been put away: the ledger has it."""

    status = 409
    title = "In stock already"


class NothingToPutAway(Problem):
    """All that was counted has been put away: pressing twice puts nothing away twice."""

    status = 409
    title = "Nothing to put away"


class CountingClosed(Problem):
    """The crate is closed, or isn't."""

    status = 409
    title = "Counting is closed"


# Counting


@transaction.atomic
def tally(  # noqa: PLR0913 - what a person says of what they found
    *,
    crate: Crate,
    bag: Bag | None,
    item: Item | None = None,
    line: PackingLine | None = None,
    quantity: Decimal,
    finding: str = Finding.GOOD,
    how: str = How.HAND,
    lot_code: str = "",
    made: StatedDate | None = None,
    expires: StatedDate | None = None,
    note: str = "",
    measured: Measured | None = None,
    at: datetime,
    by: Member,
    request_key: UUID | None = None,
) -> Tally:
    """Count `quantity` more in a bag, or in none.

    The line is the one given, else the bag's of that item (one still open first), else one of a bag inside it, else one that lies in
    no bag; without any it is an entry of something not listed. Only a wrong thing may be of another item than its line.
    The same `request_key` again returns the first tally and counts nothing. Refuses a count from before a correction of that line.
    """
    crate = _locked(crate, "tally", by)
    if (first := _of_request(request_key)) is not None:
        return first
    _refuse_closed(crate)
    _refuse_elsewhere(crate, by, *(row for row in (bag, line) if row is not None))
    row = Tally(workshop_id=crate.workshop_id, crate=crate, bag=bag, quantity=positive(quantity), by=by, at=at)
    row.finding, row.how = _among("finding", finding, Finding.values), _among("way of counting", how, How.values)
    row.lot_code, row.note = optional("lot code", lot_code, stock.MOST_CODE), optional("note", note, MOST_NOTE)
    set_dates(row, made, expires)
    _set_measured(row, measured or Measured())
    if finding != Finding.MYSTERY:
        _name(row, item, line)
        if row.item is not None:
            pieces(row.quantity, row.item)
        _refuse_older(row.line_id, at, f"{plain(row.quantity)} {row.item.unit} of {row.item.code}" if row.item else "")
    return _save(row, request_key)


@transaction.atomic
def correct(  # noqa: PLR0913 - what a person says of all they found
    *,
    line: PackingLine,
    counted: Decimal,
    at: datetime,
    by: Member,
    note: str = "",
    how: str = How.HAND,
    lot_code: str = "",
    made: StatedDate | None = None,
    expires: StatedDate | None = None,
    seen: Decimal | None = None,
    request_key: UUID | None = None,
) -> Tally | None:
    """Say how many good ones of a line there are in all: the difference is counted, None where there is none.

    `seen` is what was counted when the person looked: where that has changed since, nothing is counted. Refuses fewer than are in
    stock already, and a count from before another correction.
    """
    crate, counted = _locked(line.crate, "tally", by), not_negative(counted)
    if (first := _of_request(request_key)) is not None:
        return first
    _refuse_closed(crate)
    _refuse_elsewhere(crate, by, line)
    line = PackingLine.objects.select_related("item", "bag").get(pk=line.pk)
    pieces(counted, line.item)
    _refuse_older(line.pk, at, f"{plain(counted)} {line.item.unit} of {line.item.code} in all")
    good = _good(line)
    _refuse_unseen(line, seen, good)
    if counted == good:
        return None
    if counted < good:
        _refuse_below_stock(line, counted)
    row = Tally(workshop_id=crate.workshop_id, crate=crate, bag=line.bag, line=line, item=line.item, by=by, at=at, correction=True)
    row.quantity, row.note, row.how = counted - good, optional("note", note, MOST_NOTE), _among("way of counting", how, How.values)
    row.lot_code = optional("lot code", lot_code, stock.MOST_CODE)
    set_dates(row, made, expires)
    return _save(row, request_key)


@transaction.atomic
def correct_as_listed(*, line: PackingLine, at: datetime, by: Member, request_key: UUID | None = None) -> Tally | None:
    """Say that all that a line lists is here: good, save what was found damaged or wrong. None where that was counted already."""
    _locked(line.crate, "tally", by)
    policy.own(by, line)
    bad = Tally.objects.filter(line=line, finding__in=(Finding.DAMAGED, Finding.WRONG)).aggregate(total=Sum("quantity"))["total"]
    counted = max(line.quantity - (bad or calc.NOTHING), calc.NOTHING)
    return correct(line=line, counted=counted, at=at, by=by, request_key=request_key)


@transaction.atomic
def count_fewer(*, line: PackingLine, quantity: Decimal, at: datetime, by: Member, request_key: UUID | None = None) -> Tally:
    """Take `quantity` off what was counted good of a line: a slip of the finger. Refuses more than was counted, or is not in stock."""
    crate, quantity = _locked(line.crate, "tally", by), positive(quantity)
    if (first := _of_request(request_key)) is not None:
        return first
    _refuse_closed(crate)
    _refuse_elsewhere(crate, by, line)
    pieces(quantity, line.item)
    _refuse_older(line.pk, at, f"{plain(quantity)} {line.item.unit} of {line.item.code} fewer")
    left = _good(line) - quantity
    if left < 0:
        raise NothingToCount(f"no more than {plain(left + quantity)} {line.item.unit} of {line.item.code} were counted")
    _refuse_below_stock(line, left)
    row = Tally(workshop_id=crate.workshop_id, crate=crate, bag_id=line.bag_id, line=line, item_id=line.item_id, by=by, at=at)
    row.quantity = -quantity
    return _save(row, request_key)


@transaction.atomic
def undo(*, tally: Tally, by: Member, at: datetime, request_key: UUID | None = None) -> Tally:
    """Take a tally back by its opposite, once.

    Refuses what is in stock already, what was undone, an undoing itself, and a count that a later correction has overtaken.
    """
    crate = _locked(tally.crate, "tally", by)
    if (first := _of_request(request_key)) is not None:
        return first
    policy.own(by, tally)
    _refuse_closed(crate)
    tally = Tally.objects.select_related("item", "undone_by").get(pk=tally.pk)
    _refuse_undone(tally)
    _refuse_older(tally.line_id, tally.at, "the count to take back")
    row = Tally(workshop_id=crate.workshop_id, crate=crate, undoes=tally, by=by, at=at)
    row.quantity = -tally.quantity
    for name in ("bag_id", "line_id", "item_id", "finding", "how", "lot_code", "made_on", "made_as", "expires_on", "expires_as"):
        setattr(row, name, getattr(tally, name))
    return _save(row, request_key)


@transaction.atomic
def name_mystery(*, mystery: Tally, line: PackingLine, at: datetime, by: Member, request_key: UUID | None = None) -> Tally:
    """Say which line a mystery belongs to: it is taken back, and counted there as good in its stead."""
    crate = _locked(mystery.crate, "tally", by)
    if (first := _of_request(request_key)) is not None:
        return first
    if mystery.finding != Finding.MYSTERY:
        raise NothingToCount("this is no mystery: take it back and count it anew")
    undo(tally=mystery, by=by, at=at)
    note = f"was a mystery: {mystery.note}" if mystery.note else "was a mystery"
    quantity, how = mystery.quantity, mystery.how
    return tally(
        crate=crate,
        bag=mystery.bag,
        line=line,
        quantity=quantity,
        how=how,
        note=note[:MOST_NOTE],
        at=at,
        by=by,
        request_key=request_key,
    )


def _locked(crate: Crate, permission: str, by: Member) -> Crate:
    """The crate as it is now, held until the transaction ends."""
    policy.own(by, crate)
    rows = Crate.objects.select_for_update(of=("self",), no_key=True).select_related("bench")
    locked = rows.get(pk=crate.pk)
    policy.require(by, permission, locked.bench)
    return locked


def _of_request(request_key: UUID | None) -> Tally | None:
    return None if request_key is None else Tally.objects.filter(request_key=request_key).first()


def _save(row: Tally, request_key: UUID | None) -> Tally:
    """Save it once a request: of two crates that are sent one key at once, the later finds the other's row."""

    def make() -> Tally:
        row.request_key = request_key
        row.save(force_insert=True)
        return row

    return find_or_make(lambda: _of_request(request_key), make)[0]


def _name(row: Tally, item: Item | None, line: PackingLine | None) -> None:
    """Say what was counted, and of which line."""
    if item is not None:
        policy.own(row.by, item)
    if line is None:
        if item is None:
            raise NothingToCount("say what was counted: an item, or a line of the packing list; what nobody can name is a mystery")
        line = _line_of(row.crate, row.bag, item, row.lot_code)
    row.line, row.item = line, item or (line.item if line is not None else None)
    if line is not None and row.item_id != line.item_id and row.finding != Finding.WRONG:
        raise NothingToCount(f"line {line.number} lists {line.item.code}: count another thing as wrong, or as not listed")
    if line is not None and line.bag_id is not None:
        row.bag_id = line.bag_id


def _line_of(crate: Crate, bag: Bag | None, item: Item, lot_code: str) -> PackingLine | None:
    """The line that a count of an item belongs to: nearest first, then one still to be found, then the one of this lot."""
    near = Q(bag=None)
    if bag is not None:
        near |= Q(bag=bag) | Q(bag__path__startswith=f"{bag.path}/")
    lines = list(PackingLine.objects.filter(near, crate=crate, item=item).select_related("bag", "item").order_by("pk"))
    found = _found(line.pk for line in lines)
    return min(lines, key=lambda line: rank(line, bag, lot_code, found.get(line.pk, calc.NOTHING)), default=None)


class Listed(Protocol):
    """What tells a packing line from another."""

    pk: int
    bag_id: int | None
    quantity: Decimal
    lot_code: str


def rank(line: Listed, bag: Bag | None, lot_code: str, found: Decimal) -> tuple[bool, bool, bool, bool, int]:
    """How near a line is to a count in a bag of which `found` were counted already: the least one is meant."""
    own, loose = bag is not None and line.bag_id == bag.pk, line.bag_id is None
    return (not own, loose, found >= line.quantity, bool(lot_code) and line.lot_code.casefold() != lot_code.casefold(), line.pk)


def _found(line_ids: Iterable[int]) -> dict[int, Decimal]:
    """What was tallied of lines, good or not."""
    sums = Tally.objects.filter(line__in=list(line_ids)).values("line_id").annotate(total=Sum("quantity"))
    return dict(sums.values_list("line_id", "total"))


def _good(line: PackingLine) -> Decimal:
    """What of a line is good so far: tallied, or taken in without a count."""
    tallied = Tally.objects.filter(line=line, finding=Finding.GOOD).aggregate(total=Sum("quantity"))["total"] or calc.NOTHING
    return max(tallied, _taken(line))


def _taken(line: PackingLine) -> Decimal:
    ref = receiving.line_ref(line)
    return queries.taken([ref]).get((ref, line.item_id), calc.NOTHING)


def set_dates(row: stock.HasDates, made: StatedDate | None, expires: StatedDate | None) -> None:
    """Say what the label states. Raises where the two dates make no sense together."""
    try:
        limits(made=made, expires=expires)
    except ValueError as error:
        raise stock.BadDates(f"these dates: {error}") from error
    stock.state_dates(row, made, expires)


def _set_measured(row: Tally, measured: Measured) -> None:
    row.diameter, row.length = measured.diameter, measured.length
    row.head = optional("head", measured.head, MOST_HEAD)


def _among(what: str, given: str, known: Sequence[str]) -> str:
    if given not in known:
        raise BadText(f"{given!r} is no {what}: there are {', '.join(known)}")
    return given


def _refuse_closed(crate: Crate) -> None:
    if crate.closed_on is not None:
        raise CountingClosed(f"counting of crate {crate.code} was closed on {crate.closed_on}: open it again to count more")


def _refuse_elsewhere(crate: Crate, by: Member, *rows: Bag | PackingLine) -> None:
    policy.own(by, *rows)
    for row in rows:
        if row.crate_id != crate.pk:
            raise OtherCrate(f"this {row._meta.verbose_name} lies in another crate than {crate.code}")  # noqa: SLF001 - Django's documented API


def _refuse_older(line_id: int | None, at: datetime, what: str) -> None:
    if line_id is None:
        return
    later = queries.active(Tally.objects.filter(line=line_id, correction=True, at__gt=at))
    correction = later.select_related("by").order_by("-at").first()
    if correction is not None:
        raise OlderThanCorrection(
            f"{what}: from {at:%Y-%m-%d %H:%M}, but {correction.by.name} said how many there are in all at "
            f"{correction.at:%Y-%m-%d %H:%M}: look into the bag, then say how many there are in all",
        )


def _refuse_unseen(line: PackingLine, seen: Decimal | None, good: Decimal) -> None:
    if seen is not None and seen != good:
        unit = line.item.unit
        raise CountedSince(
            f"{plain(seen)} {unit} of {line.item.code} were counted when you looked, and now {plain(good)} {unit} are: "
            "somebody else counts here too, look again",
        )


def _refuse_below_stock(line: PackingLine, counted: Decimal) -> None:
    there = _taken(line)
    if counted < there:
        unit = line.item.unit
        raise InStockAlready(
            f"{plain(there)} {unit} of {line.item.code} were put away already, and {plain(counted)} {unit} are fewer: "
            "count them on the shelf, or reverse the movement first",
        )


def _refuse_undone(tally: Tally) -> None:
    if tally.undoes_id is not None:
        raise AlreadyUndone("this takes another count back: count anew instead")
    if Tally.objects.filter(undoes=tally).exists():
        raise AlreadyUndone("this count was taken back already")
    if tally.movement_id is not None:
        raise InStockAlready("what this counted was put away: reverse the movement first, or count it on the shelf")


# Bags


@transaction.atomic
def finish_bag(*, bag: Bag, on: date, by: Member) -> Bag:
    """Say that a bag is counted to the end: what it lacks is short from now on. Said twice, the first holds."""
    _refuse_closed(_locked(bag.crate, "tally", by))
    found = _bag(bag)
    if found.counted_on is None:
        found.counted_on, found.counted_by = on, by
        changed_by(found, by).save(update_fields=["counted_on", "counted_by"])
    return found


@transaction.atomic
def reopen_bag(*, bag: Bag, by: Member) -> Bag:
    """Say that a bag isn't counted to the end after all."""
    _refuse_closed(_locked(bag.crate, "tally", by))
    found = _bag(bag)
    if found.counted_on is not None:
        found.counted_on = found.counted_by = None
        changed_by(found, by).save(update_fields=["counted_on", "counted_by"])
    return found


@transaction.atomic
def lay_bag(*, bag: Bag, place: Place | None, by: Member) -> Bag:
    """Say where a bag lies as it is, counted or not; None where it lies nowhere as a whole. Nothing moves in the ledger."""
    _locked(bag.crate, "tally", by)
    if place is not None:
        policy.own(by, place)
        stock.refuse_end(place)
    found = _bag(bag)
    if found.place_id != (place.pk if place else None):
        found.place = place
        changed_by(found, by).save(update_fields=["place"])
    return found


def _bag(bag: Bag) -> Bag:
    return Bag.objects.select_related("crate__bench", "place").get(pk=bag.pk)


# Putting away


@dataclass(frozen=True, slots=True)
class _Group:
    """What goes into stock under one reference: a line's, or of one item not listed in one bag; good, or damaged."""

    ref: str
    line: PackingLine | None
    item: Item
    damaged: bool


_LotKey = tuple[str, StatedDate | None, StatedDate | None]
_Part = tuple[_Group, _LotKey, Decimal]


@transaction.atomic
def put_away(*, crate: Crate, place: Place, on: date, by: Member, bag: Bag | None = None) -> list[Movement]:
    """Take what was counted in a bag and the bags in it, or in the whole crate, into one place, all of it or nothing.

    Of each line no more than was counted and isn't in stock yet. What is damaged becomes a lot in state disputed. A count that names
    no lot takes lot and dates from the packing list. Wrong things and mysteries are set apart: they stay out of stock.
    """
    crate = _locked(crate, "keep_stock", by)
    policy.own(by, place)
    if bag is not None:
        _refuse_elsewhere(crate, by, bag)
    counted = _counted(crate)
    waiting = {group: rows for group, all_rows in counted.items() if (rows := _waiting(all_rows, bag))}
    lines = _lock_lines({group.line.pk for group in waiting if group.line})
    room = _room({group: counted[group] for group in waiting})
    parts = [(group, key, quantity) for group, rows in waiting.items() for key, quantity in _settled(group, rows, room[group])]
    if not parts:
        raise NothingToPutAway(f"nothing that was counted in {_where(crate, bag)} waits to be put away")
    movements = _receive(crate, parts, place, on, by)
    _lower_open(lines, parts, by)
    _link(waiting, parts, movements)
    _unlay(crate, bag, by)
    return movements


def _where(crate: Crate, bag: Bag | None) -> str:
    return f"crate {crate.code}" if bag is None else f"bag {bag.path} of crate {crate.code}"


def _counted(crate: Crate) -> dict[_Group, list[Tally]]:
    """Every tally of a crate that stock takes, by what it goes in under, in the order of counting."""
    rows = queries.active(Tally.objects.filter(crate=crate, finding__in=(Finding.GOOD, Finding.DAMAGED), item__isnull=False))
    found: dict[_Group, list[Tally]] = defaultdict(list)
    for row in rows.select_related("line", "item", "bag").order_by("pk"):
        damaged = row.finding == Finding.DAMAGED
        ref = queries.ref_of(row.line_id, row.bag_id, row.crate_id, damaged=damaged)
        found[_Group(ref, row.line, cast("Item", row.item), damaged)].append(row)
    return found


def _waiting(rows: Iterable[Tally], bag: Bag | None) -> list[Tally]:
    """Those of a bag that no movement has taken yet."""
    return [row for row in rows if row.movement_id is None and (bag is None or _lies_in(row.bag, bag))]


def _lies_in(inner: Bag | None, bag: Bag) -> bool:
    return inner is not None and (inner.pk == bag.pk or inner.path.startswith(f"{bag.path}/"))


def _lock_lines(ids: Iterable[int]) -> dict[int, PackingLine]:
    found: dict[int, PackingLine] = {}
    for batch in batches(sorted(ids)):
        rows = PackingLine.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=batch).order_by("pk")
        found.update((line.pk, line) for line in rows)
    return found


def _room(counted: Mapping[_Group, Sequence[Tally]]) -> dict[_Group, Decimal]:
    """How much of each may still go into stock: all that was counted, less what went in, counted or not."""
    taken = queries.taken(group.ref for group in counted)
    sums = {group: sum((row.quantity for row in rows), calc.NOTHING) for group, rows in counted.items()}
    return {group: total - taken.get((group.ref, group.item.pk), calc.NOTHING) for group, total in sums.items()}


def _settled(group: _Group, rows: Iterable[Tally], most: Decimal) -> list[tuple[_LotKey, Decimal]]:
    return list(calc.settle([(_lot_key(row, group.line), row.quantity) for row in rows], most).items())


def _lot_key(row: Tally, line: PackingLine | None) -> _LotKey:
    """The lot that was read on the label, else the one that the packing list states."""
    read = (row.lot_code, row.made, row.expires)
    return read if any(read) or line is None else (line.lot_code, line.made, line.expires)


def _receive(crate: Crate, parts: Sequence[_Part], place: Place, on: date, by: Member) -> list[Movement]:
    lots = stock.find_or_make_lots(bench=crate.bench, lots=[_lot(group, key) for group, key, _ in parts], by=by)
    deliveries = [(lot, place, quantity) for lot, (_, _, quantity) in zip(lots, parts, strict=True)]
    return stock.receive_many(deliveries=deliveries, on=on, by=by, note="as counted", refs=[group.ref for group, _, _ in parts])


def _lot(group: _Group, key: _LotKey) -> stock.LotData:
    code, made, expires = key
    return stock.LotData(group.item.pk, code, made, expires, state=State.DISPUTED if group.damaged else State.GOOD)


def _lower_open(lines: Mapping[int, PackingLine], parts: Iterable[_Part], by: Member) -> None:
    """What was put away, damaged or not, is no longer to come."""
    changed = {}
    for group, _, quantity in parts:
        line = lines[group.line.pk] if group.line else None
        if line is not None and line.open_quantity:
            line.open_quantity -= min(quantity, line.open_quantity)
            changed[line.pk] = line
    update_many(PackingLine, list(changed.values()), ["open_quantity"], by)


def _link(waiting: Mapping[_Group, Sequence[Tally]], parts: Sequence[_Part], movements: Sequence[Movement]) -> None:
    """Each tally names the movement that took it; one of a lot that a correction emptied, the last of its line's."""
    by_key = {(group, key): movement for (group, key, _), movement in zip(parts, movements, strict=True)}
    last = {group: movement for (group, _), movement in by_key.items()}
    for group, movement in last.items():
        for row in waiting[group]:
            row.movement = by_key.get((group, _lot_key(row, group.line)), movement)
    Tally.objects.bulk_update([row for group in last for row in waiting[group]], ["movement"], batch_size=BATCH)


def _unlay(crate: Crate, bag: Bag | None, by: Member) -> None:
    """Bags counted to the end and put away lie nowhere as a whole any more."""
    laid = Bag.objects.filter(crate=crate, place__isnull=False, counted_on__isnull=False)
    rows = [row for row in laid if bag is None or _lies_in(row, bag)]
    for row in rows:
        row.place = None
    update_many(Bag, rows, ["place"], by)


@transaction.atomic
def reverse(*, movement: Movement, on: date, by: Member, note: str = "") -> Movement:
    """Undo any movement by its opposite, as `receiving.reverse` does; what was counted of it waits to be put away again.

    Refused for one of a record that is closed, such as a step's of a section that is closed up.
    """
    policy.own(by, movement)
    refuse_kept(movement)
    rows = _tallies_of(movement)
    crates = sorted({row.crate_id for row in rows})
    list(Crate.objects.select_for_update(no_key=True).filter(pk__in=crates).order_by("pk"))
    receiving.lock_line_of(movement)
    undone = receiving.reverse(movement=movement, on=on, by=by, note=note)
    for batch in batches(row.pk for row in _tallies_of(movement)):
        Tally.objects.filter(pk__in=batch).update(movement=None)
    return undone


@transaction.atomic
def reverse_all(*, movements: Collection[Movement], on: date, by: Member, note: str = "") -> list[Movement]:
    """Undo several movements, all or none: what was taken in or put away at one press.

    In the order of their lots, as everybody locks them.
    """
    lines = sorted((number, row.pk, row) for row in movements if (number := receiving.line_of_ref(row.ref)) is not None)
    tallied = {row.crate_id for movement in movements for row in _tallies_of(movement)}
    list(Crate.objects.select_for_update(no_key=True).filter(pk__in=tallied).order_by("pk"))
    for _, _, movement in lines:
        receiving.lock_line_of(movement)
    return [reverse(movement=row, on=on, by=by, note=note) for row in sorted(movements, key=lambda row: (row.lot_id, row.pk))]


def _tallies_of(movement: Movement) -> list[Tally]:
    """The tallies that it took; where it took none, it came before they were counted, and they name others of its line."""
    rows = list(Tally.objects.filter(movement=movement).only("pk", "crate"))
    if rows or not movement.ref:
        return rows
    return list(Tally.objects.filter(movement__ref=movement.ref).only("pk", "crate"))


# The crate


@transaction.atomic
def arrived(*, crate: Crate, on: date | None, by: Member) -> Crate:
    """Say on which day a crate arrived: claim clocks run from then. None takes it back."""
    found = _locked(crate, "tally", by)
    if on is not None and found.shipped_on is not None and on < found.shipped_on:
        raise FieldProblem("on", f"arrived on {on} is before it was shipped on {found.shipped_on}")
    if found.arrived_on != on:
        found.arrived_on = on
        changed_by(found, by).save(update_fields=["arrived_on"])
    return found


@transaction.atomic
def close(*, crate: Crate, on: date, by: Member) -> Crate:
    """Say that counting is over. What is missing is given up: nothing of it is still to come, and each difference stays in the receipt.

    What was counted and waits to be put away is still to come until it is. Refuses a crate that is closed.
    """
    found = _locked(crate, "keep_stock", by)
    _refuse_closed(found)
    found.closed_on = on
    changed_by(found, by).save(update_fields=["closed_on"])
    waiting = queries.waiting(found)
    for line in _lock_lines(PackingLine.objects.filter(crate=found, open_quantity__gt=0).values_list("pk", flat=True)).values():
        _give_up(line, waiting.get(line.pk, calc.NOTHING), by)
    return found


def _give_up(line: PackingLine, waiting: Decimal, by: Member) -> None:
    kept = min(line.open_quantity, waiting)
    if kept != line.open_quantity:
        line.open_quantity = kept
        changed_by(line, by, CLOSED).save(update_fields=["open_quantity"])


@transaction.atomic
def reopen(*, crate: Crate, by: Member) -> Crate:
    """Count on. What closing gave up of its lines is to come again; a line that changed since stays as it is. Refuses an open crate."""
    found = _locked(crate, "keep_stock", by)
    if found.closed_on is None:
        raise CountingClosed(f"counting of crate {found.code} isn't closed")
    found.closed_on = None
    changed_by(found, by).save(update_fields=["closed_on"])
    for line in _lock_lines(PackingLine.objects.filter(crate=found).values_list("pk", flat=True)).values():
        _take_up(line, by)
    return found


def _take_up(line: PackingLine, by: Member) -> None:
    last = line.history.first()
    before = last.prev_record if last is not None and last.history_change_reason == CLOSED else None
    if before is not None:
        line.open_quantity = before.open_quantity
        changed_by(line, by, "counting is open again").save(update_fields=["open_quantity"])
