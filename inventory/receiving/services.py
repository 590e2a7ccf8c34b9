"""The only writer of crates, bags and packing lines."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from uuid import UUID

from django.db import transaction
from simple_history.utils import bulk_create_with_history

from inventory.catalogue.models import Item
from inventory.catalogue.queries import items_by_id
from inventory.common.fields import LIMIT, plain
from inventory.common.history import changed_by
from inventory.common.problems import Problem
from inventory.common.quantities import pieces, positive
from inventory.common.rows import BATCH, batches, find_or_make, referring
from inventory.common.texts import BadText, filled, optional
from inventory.receiving.models import Bag, Crate, PackingLine
from inventory.shelflife.calc import StatedDate
from inventory.stock import services as stock
from inventory.stock.models import Lot, Movement, Place
from inventory.workshop import policy
from inventory.workshop.models import Bench, Member, Workshop

MOST_CODE = 40
MOST_BAG = 80
MOST_PATH = 400
MOST_NUMBER = 40
MOST_NAME = 200
MOST_PRICE = Decimal(10) ** 9
MOST_LINES = 1_000_000  # printed on one list
LINE_REF = "line:"


class NothingOpen(Problem):
    """All of the line has arrived, or was cancelled: pressing twice doesn't receive twice."""

    status = 409
    title = "Nothing left to come"


class ChangedSince(Problem):
    """Somebody, or the same form sent twice, received of the line meanwhile."""

    status = 409
    title = "This line has changed"


class BadDueDay(Problem):
    """A crate can't be due before it was ordered."""

    title = "This day doesn't do"


class CrateTaken(Problem):
    """The crate of this code is another bench's, or was listed before."""

    status = 409
    title = "This crate is taken"


class CrateClosed(Problem):
    """A crate that was counted to the end is history."""

    status = 409
    title = "Counting of this crate is over"


class StillInUse(Problem):
    """A crate or bag that something is in, or was counted in, stays."""

    status = 409
    title = "This is in use"


class LineTaken(Problem):
    """A line number is one line in its bag."""

    status = 409
    title = "There is a line of this number"


class LineTouched(Problem):
    """What was counted against a line is compared with what it says: it stays as it was listed."""

    status = 409
    title = "Something of this line was counted"


@dataclass(frozen=True, slots=True)
class LineData:
    """A packing line as a list states it. `bag` nests by `/`; `quantity` is in the item's stock unit; a blank name is the item's."""

    bag: str
    number: str
    item_id: int
    quantity: Decimal
    name: str = ""
    lot_code: str = ""
    made: StatedDate | None = None
    expires: StatedDate | None = None
    rounding: str = ""


@transaction.atomic
def expect(  # noqa: PLR0913 - what an order says
    *,
    bench: Bench,
    item: Item,
    quantity: Decimal,
    due_on: date | None,
    ordered_on: date,
    by: Member,
    request_key: UUID | None = None,
) -> PackingLine:
    """Mark `quantity` of an item as ordered: a crate on its way, of a code like `ORDER-2027-02-20-1`, with one line.

    The same `request_key` again returns the first line and makes nothing, whatever else is asked.
    """
    policy.require(by, "order", bench)
    policy.own(by, item)
    quantity = pieces(positive(quantity), item)
    _refuse_early(ordered_on, due_on)
    Workshop.objects.select_for_update(no_key=True).get(pk=bench.workshop_id)  # numbers, and forms sent twice, stand in line
    made = PackingLine.objects.filter(crate__request_key=request_key).first() if request_key else None
    if made is not None:
        return made
    crate = Crate(workshop_id=bench.workshop_id, bench=bench, code=_order_code(ordered_on), ordered_on=ordered_on, due_on=due_on)
    crate.request_key = request_key
    changed_by(crate, by).save()
    line = PackingLine(workshop_id=bench.workshop_id, crate=crate, number="1", item=item, name=item.name)
    line.quantity = line.open_quantity = quantity
    changed_by(line, by).save()
    return line


@transaction.atomic
def arrive(  # noqa: PLR0913 - what the label and the person say
    *,
    line: PackingLine,
    quantity: Decimal,
    place: Place,
    on: date,
    by: Member,
    lot_code: str = "",
    made: StatedDate | None = None,
    expires: StatedDate | None = None,
    close_rest: bool = False,
    seen: Decimal | None = None,
) -> Movement:
    """Take what arrived of a line into a place, into the lot that it belongs to on the crate's bench.

    `lot_code`, `made` and `expires` are what the label says: nothing is taken over from the packing list. More than was still to
    come is taken, and the movement's note says so. `close_rest` gives up what is missing. Refuses a line with nothing open.
    `seen` is what was open when the person looked: where that has changed since, nothing is taken, so that a form sent twice
    doesn't receive twice.
    """
    line = _locked(line, "keep_stock", by)
    policy.own(by, place)
    quantity, still_open = pieces(positive(quantity), line.item), line.open_quantity
    if not still_open:
        raise NothingOpen(f"nothing of {_named(line)} is still to come: a find beyond it is counted, not received again")
    _refuse_unseen(line, seen)
    lot, _ = stock.find_or_make_lot(bench=line.crate.bench, item=line.item, code=lot_code, made=made, expires=expires, by=by)
    note = _note(line, quantity)
    movement = stock.receive(lot=lot, quantity=quantity, place=place, on=on, by=by, note=note, ref=line_ref(line))
    line.open_quantity = Decimal(0) if close_rest else still_open - min(quantity, still_open)
    changed_by(line, by).save(update_fields=["open_quantity"])
    return movement


@transaction.atomic
def arrive_all(*, lines: Sequence[PackingLine], place: Place, on: date, by: Member) -> list[Movement]:
    """Take what is still to come of `lines` into one place, with lot codes and dates as the packing list states them.

    For crates of one bench. Lines with nothing open are passed over; where none is left, `NothingOpen` says so.
    """
    policy.own(by, place)
    locked = [line for line in _locked_many(lines, by) if line.open_quantity]
    if not locked:
        raise NothingOpen("nothing of these lines is still to come: they arrived already")
    lots = [_lot_as_listed(line, by) for line in locked]
    stock.lock(lots)
    movements = [
        stock.receive(lot=lot, quantity=line.open_quantity, place=place, on=on, by=by, note="as listed", ref=line_ref(line))
        for line, lot in zip(locked, lots, strict=True)
    ]
    for line in locked:
        line.open_quantity = Decimal(0)
        changed_by(line, by, "arrived as listed").save(update_fields=["open_quantity"])
    return movements


@transaction.atomic
def reverse(*, movement: Movement, on: date, by: Member, note: str = "") -> Movement:
    """Undo any movement by its opposite, as `stock.reverse` does; what an arrival took of its packing line is still to come again."""
    undone = stock.reverse(movement=movement, on=on, by=by, note=note)
    number = line_of_ref(movement.ref)
    if number is not None:
        _reopen(number, movement.quantity, by)
    return undone


def _reopen(pk: int, quantity: Decimal, by: Member) -> None:
    """Never more than was listed: an arrival beyond that had closed less than it brought."""
    line = PackingLine.objects.select_for_update(of=("self",), no_key=True).get(pk=pk)
    line.open_quantity = min(line.quantity, line.open_quantity + quantity)
    changed_by(line, by, "arrival reversed").save(update_fields=["open_quantity"])


@transaction.atomic
def cancel_rest(*, line: PackingLine, by: Member) -> PackingLine:
    """Give up what is still to come of a line. Refuses a line with nothing open."""
    line = _locked(line, "order", by)
    if not line.open_quantity:
        raise NothingOpen(f"nothing of {_named(line)} is still to come")
    line.open_quantity = Decimal(0)
    changed_by(line, by).save(update_fields=["open_quantity"])
    return line


@transaction.atomic
def change_due(*, crate: Crate, due_on: date | None, by: Member) -> Crate:
    """Set the day that a crate is due; None where nobody knows."""
    policy.require(by, "order", crate.bench)
    policy.own(by, crate)
    locked = Crate.objects.select_for_update(no_key=True).get(pk=crate.pk)
    if locked.ordered_on is not None:
        _refuse_early(locked.ordered_on, due_on)
    locked.due_on = due_on
    changed_by(locked, by).save(update_fields=["due_on"])
    return locked


@transaction.atomic
def ensure_crate(*, bench: Bench, code: str, due_on: date | None = None, by: Member) -> tuple[Crate, bool]:
    """The crate of `code` (matched ignoring case), made on `bench` where there is none, and whether it was made.

    A due day that is given is set on one that is there too. Refuses the code of another bench's crate.
    """
    policy.require(by, "keep_stock", bench)
    code = filled("crate code", code, MOST_CODE)

    def make() -> Crate:
        crate = changed_by(Crate(workshop_id=bench.workshop_id, bench=bench, code=code, due_on=due_on), by)
        crate.save()
        return crate

    crate, made = find_or_make(lambda: Crate.objects.filter(code__iexact=code).select_related("bench").first(), make)
    if crate.bench_id != bench.pk:
        raise CrateTaken(f"crate {crate.code} belongs to bench {crate.bench.code}, not to {bench.code}")
    if not made and due_on is not None and crate.due_on != due_on:
        crate = change_due(crate=crate, due_on=due_on, by=by)
    return crate, made


@transaction.atomic
def make_crate(*, bench: Bench, code: str, by: Member) -> Crate:
    """Make a new crate. Refuses a code that a crate has already."""
    crate, made = ensure_crate(bench=bench, code=code, by=by)
    if not made:
        raise CrateTaken(f"there is a crate {crate.code} already: a code is one crate")
    return crate


@transaction.atomic
def remove_crate(*, crate: Crate, by: Member) -> None:
    """Remove a crate that nothing is in. Refuses one that has lines, bags, counts, pictures or claims."""
    policy.require(by, "keep_stock", crate.bench)
    crate = Crate.objects.select_for_update(of=("self",)).get(pk=crate.pk)  # nobody puts anything in meanwhile
    if used := referring(crate):
        raise StillInUse(f"crate {crate.code} stays: it has {used}")
    changed_by(crate, by).delete()


@transaction.atomic
def withdraw_order(*, crate: Crate, by: Member) -> None:
    """Take an order back that was marked by mistake: the crate with its one line goes.

    Refuses one that anything came of, and any other crate.
    """
    policy.require(by, "order", crate.bench)
    policy.own(by, crate)
    lines = list(PackingLine.objects.filter(crate=crate).select_related("crate__bench")[:2])
    if crate.request_key is None or len(lines) != 1:
        raise StillInUse(f"crate {crate.code} stays: it is more than one order of one item")
    remove_line(line=lines[0], by=by)
    remove_crate(crate=crate, by=by)


@transaction.atomic
def remove_bag(*, bag: Bag, by: Member) -> None:
    """Remove a bag that nothing is in. Refuses one that has lines, bags or counts, or a label."""
    policy.require(by, "keep_stock", bag.crate.bench)
    lock_bag(bag)
    bag = Bag.objects.get(pk=bag.pk)
    if used := referring(bag):
        raise StillInUse(f"bag {bag.path} stays: it has {used}")
    changed_by(bag, by).delete()


@transaction.atomic
def ensure_bag(*, crate: Crate, path: str, by: Member) -> tuple[Bag, bool]:
    """The bag of `path` in a crate (matched ignoring case), made with those that it lies in where it isn't there, and whether it was."""
    _lock_open(crate, by)
    names = _bag_names(path)
    known = Bag.objects.filter(crate=crate, path__iexact="/".join(names)).first()
    return (known, False) if known is not None else (_make_bags(crate, [names], by)[_key(names)], True)


@transaction.atomic
def add_line(*, crate: Crate, data: LineData, price: Decimal | None = None, by: Member) -> PackingLine:
    """List one more line of a crate, all of it still to come; an empty `data.bag` is no bag. `price` is of one stock unit.

    Refuses a number that the bag has already, and a crate that was counted to the end.
    """
    _lock_open(crate, by)
    names = _bag_names(data.bag) if data.bag.strip() else ()
    bag = _make_bags(crate, [names], by)[_key(names)] if names else None
    row = _line(crate, bag, items_by_id([data.item_id]).get(data.item_id), data)
    if PackingLine.objects.filter(crate=crate, bag=bag, number__iexact=row.number).exists():
        where = f"bag {bag.path}" if bag else "no bag"
        raise LineTaken(f"crate {crate.code} has line {row.number} in {where} already: give this one another number")
    pieces(row.quantity, row.item)
    row.price = _checked_price(price)
    changed_by(row, by).save()
    return row


@transaction.atomic
def edit_line(*, line: PackingLine, by: Member, **changes: Decimal | None) -> PackingLine:
    """Put the `quantity` or the `price` of a line right. Refuses it once anything of the line was counted, taken or cancelled."""
    line = _locked_untouched(line, by)
    if (quantity := changes.get("quantity")) is not None:
        line.quantity = line.open_quantity = pieces(positive(quantity), line.item)
    if "price" in changes:
        line.price = _checked_price(changes["price"])
    changed_by(line, by).save(update_fields=["quantity", "open_quantity", "price"])
    return line


@transaction.atomic
def remove_line(*, line: PackingLine, by: Member) -> None:
    """Take a line out of the list. Refuses it once anything of the line was counted, taken or cancelled."""
    changed_by(_locked_untouched(line, by), by).delete()


def lock_bag(bag: Bag) -> None:
    """Hold a bag until the transaction ends, its crate first."""
    Crate.objects.select_for_update(no_key=True).get(pk=bag.crate_id)
    Bag.objects.select_for_update(of=("self",)).get(pk=bag.pk)


def lock_line(line: PackingLine) -> None:
    """Hold a line until the transaction ends, its crate first: who counts holds the crate too."""
    Crate.objects.select_for_update(no_key=True).get(pk=line.crate_id)
    PackingLine.objects.select_for_update(of=("self",)).get(pk=line.pk)


def _locked_untouched(line: PackingLine, by: Member) -> PackingLine:
    policy.own(by, line)
    lock_line(line)
    locked = _locked(line, "keep_stock", by)
    used = referring(locked)
    if used or locked.open_quantity != locked.quantity:
        raise LineTouched(f"{_named(locked)} stays as it was listed: it has {used or 'less to come than was listed'}")
    return locked


def _lock_open(crate: Crate, by: Member) -> None:
    policy.require(by, "keep_stock", crate.bench)
    policy.own(by, crate)
    if Crate.objects.select_for_update(no_key=True).get(pk=crate.pk).closed_on is not None:
        raise CrateClosed(f"crate {crate.code} was counted to the end: what comes later is a crate of its own")


def _checked_price(price: Decimal | None) -> Decimal | None:
    if price is not None and not 0 <= price <= MOST_PRICE:
        raise BadText(f"a price of {price} doesn't do: give 0 to {MOST_PRICE}")
    return price


@transaction.atomic
def load_lines(*, crate: Crate, lines: Sequence[LineData], by: Member) -> list[PackingLine]:
    """List what a crate should hold, all of it still to come, and make its bags. Refuses a crate that has lines already.

    Queries grow with each 500 lines and with the depth of the bags, not with each line.
    """
    policy.require(by, "keep_stock", crate.bench)
    policy.own(by, crate)
    Crate.objects.select_for_update(no_key=True).get(pk=crate.pk)
    if PackingLine.objects.filter(crate=crate).exists():
        raise CrateTaken(f"crate {crate.code} has packing lines already: a list is loaded once")
    wanted = [_bag_names(data.bag) for data in lines]
    _refuse_twice(wanted, lines)
    bags, items = _make_bags(crate, wanted, by), items_by_id(data.item_id for data in lines)
    rows = [_line(crate, bags[_key(names)], items.get(data.item_id), data) for names, data in zip(wanted, lines, strict=True)]
    if rows:
        bulk_create_with_history(rows, PackingLine, batch_size=BATCH, default_user=by)
    return rows


@transaction.atomic
def state_totals(*, crate: Crate, printed_lines: int | None, printed_quantity: Decimal | None, by: Member) -> Crate:
    """Keep the totals that are printed on a crate's list, None where it prints none. They are compared, never used."""
    policy.require(by, "keep_stock", crate.bench)
    policy.own(by, crate)
    if printed_lines is not None and not 0 <= printed_lines <= MOST_LINES:
        raise BadText(f"{printed_lines} printed lines: give 0 to {MOST_LINES}")
    if printed_quantity is not None and not 0 <= printed_quantity <= LIMIT:
        raise BadText(f"a printed total of {printed_quantity}: give 0 to 10^12")
    locked = Crate.objects.select_for_update(no_key=True).get(pk=crate.pk)
    locked.printed_lines, locked.printed_quantity = printed_lines, printed_quantity
    changed_by(locked, by).save(update_fields=["printed_lines", "printed_quantity"])
    return locked


def bag_key(path: str) -> str:
    """`path` as bags are compared. Refuses what no bag can be called."""
    return _key(_bag_names(path))


def line_ref(line: PackingLine) -> str:
    """How the ledger names a packing line."""
    return f"{LINE_REF}{line.pk}"


def line_of_ref(ref: str) -> int | None:
    """The packing line that a reference of the ledger names, whatever follows it (`line:7/damaged`); None where it names another thing."""
    number = ref.removeprefix(LINE_REF).partition("/")[0]
    return int(number) if ref.startswith(LINE_REF) and number.isdecimal() else None


def lock_line_of(movement: Movement) -> None:
    """Hold the packing line that a movement names until the transaction ends: lines are locked before lots."""
    number = line_of_ref(movement.ref)
    if number is not None:
        list(PackingLine.objects.select_for_update(of=("self",), no_key=True).filter(pk=number))


def _locked(line: PackingLine, permission: str, by: Member) -> PackingLine:
    policy.own(by, line)
    rows = PackingLine.objects.select_for_update(of=("self",), no_key=True).select_related("crate__bench", "item")
    locked = rows.get(pk=line.pk)
    policy.require(by, permission, locked.crate.bench)
    return locked


def _locked_many(lines: Sequence[PackingLine], by: Member) -> list[PackingLine]:
    policy.own(by, *lines)
    rows = PackingLine.objects.select_for_update(of=("self",), no_key=True).select_related("crate__bench", "item")
    locked = [line for batch in batches(sorted(line.pk for line in lines)) for line in rows.filter(pk__in=batch).order_by("pk")]
    for bench in {line.crate.bench for line in locked}:
        policy.require(by, "keep_stock", bench)
    return locked


def _lot_as_listed(line: PackingLine, by: Member) -> Lot:
    bench, item = line.crate.bench, line.item
    return stock.find_or_make_lot(bench=bench, item=item, code=line.lot_code, made=line.made, expires=line.expires, by=by)[0]


def _refuse_unseen(line: PackingLine, seen: Decimal | None) -> None:
    if seen is not None and seen != line.open_quantity:
        unit = line.item.unit
        raise ChangedSince(
            f"{plain(seen)} {unit} of {_named(line)} were still to come when you looked, and now {plain(line.open_quantity)} {unit} are: "
            "look at the shelves, then at the line again",
        )


def _named(line: PackingLine) -> str:
    return f"{line.item.code} in crate {line.crate.code}, line {line.number}"


def _note(line: PackingLine, quantity: Decimal) -> str:
    if quantity <= line.open_quantity:
        return ""
    unit = line.item.unit
    return f"{plain(quantity)} {unit} arrived, of which {plain(line.open_quantity)} {unit} were still to come"


def _refuse_early(ordered_on: date, due_on: date | None) -> None:
    if due_on is not None and due_on < ordered_on:
        raise BadDueDay(f"due on {due_on} is before the order on {ordered_on}")


def _order_code(ordered_on: date) -> str:
    """The next free code of a day. The workshop is locked."""
    start = f"ORDER-{ordered_on}-"
    taken = Crate.objects.filter(code__istartswith=start).values_list("code", flat=True)
    numbers = [int(code[len(start) :]) for code in taken if code[len(start) :].isdecimal()]
    return f"{start}{max(numbers, default=0) + 1}"


def _bag_names(path: str) -> tuple[str, ...]:
    names = tuple(filled("bag name", name, MOST_BAG) for name in path.split("/"))
    filled("bag", "/".join(names), MOST_PATH)
    return names


def _key(names: Sequence[str]) -> str:
    return "/".join(names).upper()


def _refuse_twice(wanted: Sequence[Sequence[str]], lines: Sequence[LineData]) -> None:
    seen = Counter((_key(names), data.number.strip().upper()) for names, data in zip(wanted, lines, strict=True))
    for (bag, number), times in seen.items():
        if times > 1:
            raise BadText(f"line {number} of bag {bag} stands {times} times: a line number is one line in its bag")


def _make_bags(crate: Crate, wanted: Iterable[Sequence[str]], by: Member) -> dict[str, Bag]:
    """The bags by key, made level by level, since a bag needs the id of the one it lies in."""
    heads = {_key(names[:depth]): names[:depth] for names in wanted for depth in range(1, len(names) + 1)}
    found: dict[str, Bag] = {bag.path.upper(): bag for bag in Bag.objects.filter(crate=crate)}
    for depth in sorted({len(head) for head in heads.values()}):
        missing = [head for key, head in heads.items() if len(head) == depth and key not in found]
        rows = [_bag(crate, head, found) for head in missing]
        if rows:
            bulk_create_with_history(rows, Bag, batch_size=BATCH, default_user=by)
        found.update(zip(map(_key, missing), rows, strict=True))
    return found


def _bag(crate: Crate, names: Sequence[str], found: Mapping[str, Bag]) -> Bag:
    parent = found[_key(names[:-1])] if names[:-1] else None
    path = f"{parent.path}/{names[-1]}" if parent else names[-1]
    return Bag(workshop_id=crate.workshop_id, crate=crate, parent=parent, name=names[-1], path=path)


def _line(crate: Crate, bag: Bag | None, item: Item | None, data: LineData) -> PackingLine:
    if item is None:
        raise policy.NotAllowed("this item is another workshop's")
    row = PackingLine(workshop_id=crate.workshop_id, crate=crate, bag=bag, item=item)
    row.number = filled("line number", data.number, MOST_NUMBER)
    row.name = optional("name", data.name, MOST_NAME) or item.name
    row.quantity = row.open_quantity = positive(data.quantity)
    row.lot_code, row.rounding = optional("lot code", data.lot_code, stock.MOST_CODE), data.rounding
    stock.state_dates(row, data.made, data.expires)
    return row
