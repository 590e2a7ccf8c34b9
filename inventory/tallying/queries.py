"""Reads of what was counted: a crate by bags and lines, what differs from its list, where it went.

A fixed number of queries, and one for each 500 references of the ledger.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db.models import CharField, Count, Exists, Min, OuterRef, Q, QuerySet, Subquery, Sum, Value
from django.db.models.functions import Cast, Concat
from django_scopes import scopes_disabled

from inventory.common.rows import batches
from inventory.photos.models import Photo
from inventory.photos.queries import PHOTO_COLUMNS, PhotoRow
from inventory.photos.queries import of as of_refs
from inventory.receiving.models import Bag, Crate, PackingLine
from inventory.receiving.queries import Found
from inventory.receiving.services import LINE_REF
from inventory.shelflife.calc import StatedDate, of_columns
from inventory.stock.models import Movement
from inventory.tallying import calc
from inventory.tallying.calc import NOTHING, Compared, Counts, Match, Measured
from inventory.tallying.models import Finding, Tally
from inventory.tallying.photos import TALLY, ref_of_crate, ref_of_tally, tally_of
from inventory.tallying.progress import NO_LINES, Progress, State, progress, state

_DAMAGED = "/damaged"


# What the ledger says


def ref_of(line_id: int | None, bag_id: int | None, crate_id: int, *, damaged: bool = False) -> str:
    """How the ledger names what a count put into stock: by its line, else by the bag or the crate that it lay in."""
    ref = f"crate:{crate_id}" if bag_id is None else f"bag:{bag_id}"
    if line_id is not None:
        ref = f"{LINE_REF}{line_id}"
    return f"{ref}{_DAMAGED}" if damaged else ref


def taken(refs: Iterable[str]) -> dict[tuple[str, int], Decimal]:
    """What stock took in under these references and wasn't reversed, by reference and item. One query for each 500."""
    found: dict[tuple[str, int], Decimal] = {}
    for batch in batches(sorted(set(refs))):
        rows = _standing(batch).values("ref", "lot__item_id").annotate(total=Sum("quantity"))
        found.update(((ref, item), total) for ref, item, total in rows.values_list("ref", "lot__item_id", "total"))
    return found


def _standing(refs: Collection[str]) -> QuerySet[Movement]:
    return Movement.objects.filter(ref__in=refs, reverses=None, reversed_by=None)


def active(rows: QuerySet[Tally]) -> QuerySet[Tally]:
    """Tallies that weren't taken back, and take none back."""
    return rows.filter(undoes=None, undone_by=None)


# What was counted


@dataclass(frozen=True, slots=True)
class Placed:
    """Where some of a line lies since it was put away, or was taken in as it arrived."""

    movement_id: int
    lot_id: int
    lot: str
    state: str
    place: str
    quantity: Decimal
    on: date
    by: str


@dataclass(frozen=True, slots=True)
class LineTally:
    """What a packing line lists and what was found of it, in `unit`. `done` says that nobody looks for more.

    `good` is what was counted good, or taken in without a count where that is more; `good_in` and `damaged_in` are in stock.
    """

    line_id: int
    bag_id: int | None
    bag: str
    number: str
    item_id: int
    item: str
    name: str
    unit: str
    listed: Decimal
    still_open: Decimal
    lot: str
    made: StatedDate | None
    expires: StatedDate | None
    price: Decimal | None
    good: Decimal = NOTHING
    damaged: Decimal = NOTHING
    wrong: Decimal = NOTHING
    good_in: Decimal = NOTHING
    damaged_in: Decimal = NOTHING
    done: bool = False
    photos: int = 0
    last_by: str = ""
    last_at: datetime | None = None

    @property
    def compared(self) -> Compared:
        """What it lacks, and what is beyond the list."""
        return calc.compare(listed=self.listed, good=self.good, damaged=self.damaged, wrong=self.wrong, done=self.done)

    @property
    def left(self) -> Decimal:
        """What nobody has found yet."""
        return self.compared.left

    @property
    def short(self) -> Decimal:
        """What is missing, once counting is over."""
        return self.compared.short

    @property
    def over(self) -> Decimal:
        """What is beyond the list."""
        return self.compared.over

    @property
    def found(self) -> Decimal:
        """All that was found in its place."""
        return self.good + self.damaged + self.wrong

    @property
    def as_listed(self) -> Decimal:
        """How many good ones there are where all that is listed came."""
        return max(self.listed - self.damaged - self.wrong, NOTHING)

    @property
    def waiting(self) -> Decimal:
        """What was counted and isn't in stock."""
        return max(self.good - self.good_in, NOTHING) + max(self.damaged - self.damaged_in, NOTHING)


def state_of(line: LineTally) -> State:
    """What became of a line."""
    return state(line.compared, line.damaged + line.wrong)


@dataclass(frozen=True, slots=True)
class Extra:
    """What lay in a bag and isn't on the list: of one item, or a mystery (no item), whose `tally_id` is the count itself."""

    bag_id: int | None
    bag: str
    item_id: int | None
    item: str
    name: str
    unit: str
    good: Decimal = NOTHING
    damaged: Decimal = NOTHING
    wrong: Decimal = NOTHING
    mystery: Decimal = NOTHING
    good_in: Decimal = NOTHING
    damaged_in: Decimal = NOTHING
    tally_id: int | None = None
    measured: Measured | None = None
    note: str = ""
    photos: int = 0
    last_by: str = ""
    last_at: datetime | None = None

    @property
    def found(self) -> Decimal:
        """All there is of it."""
        return self.good + self.damaged + self.wrong + self.mystery

    @property
    def waiting(self) -> Decimal:
        """What was counted and isn't in stock; a mystery waits to be named instead."""
        return max(self.good - self.good_in, NOTHING) + max(self.damaged - self.damaged_in, NOTHING)


@dataclass(frozen=True, slots=True)
class BagTally:
    """A bag with its own lines, and how far it and the bags in it have come. No `id`: what lies in no bag."""

    id: int | None
    path: str
    parent_id: int | None
    place: str
    counted_on: date | None
    counted_by: str
    lines: tuple[LineTally, ...]
    extras: tuple[Extra, ...]
    within: Progress = NO_LINES
    lines_within: int = 0
    found_within: int = 0
    bags_within: int = 0
    waiting_within: int = 0
    begun: bool = False

    @property
    def depth(self) -> int:
        """How deep it nests: 0 is the crate's own."""
        return self.path.count("/")

    @property
    def name(self) -> str:
        """Its own name."""
        return self.path.rpartition("/")[2]

    @property
    def percent(self) -> int:
        """How many lines are found to the end, in whole percent."""
        return calc.share(Decimal(self.found_within), Decimal(self.lines_within))


@dataclass(frozen=True, slots=True)
class CrateTally:
    """A crate, or a bag of it with those inside: what was listed and what was found, by bags."""

    crate_id: int
    code: str
    arrived_on: date | None
    closed_on: date | None
    bags: tuple[BagTally, ...]

    @property
    def lines(self) -> tuple[LineTally, ...]:
        """All its lines."""
        return tuple(line for bag in self.bags for line in bag.lines)

    @property
    def extras(self) -> tuple[Extra, ...]:
        """All that isn't listed."""
        return tuple(extra for bag in self.bags for extra in bag.extras)

    @property
    def rows(self) -> tuple[LineTally | Extra, ...]:
        """Both."""
        return (*self.lines, *self.extras)

    @property
    def found_lines(self) -> int:
        """How many lines are found to the end."""
        return sum(not line.left for line in self.lines)

    @property
    def progress(self) -> Progress:
        """How far it is counted, line by line."""
        return progress((state_of(line) for line in self.lines), len(self.extras))

    @property
    def counted_bags(self) -> int:
        """How many bags are counted to the end."""
        return sum(bag.counted_on is not None for bag in self.bags if bag.id is not None)

    @property
    def waiting(self) -> int:
        """How many lines and things not listed wait to be put away."""
        return sum(bool(row.waiting) for row in self.rows)


_LINE = (
    *("pk", "bag_id", "bag__path", "number", "item_id", "item__code", "name", "item__unit", "quantity", "open_quantity", "lot_code"),
    *("made_on", "made_as", "expires_on", "expires_as", "price"),
)
_COUNT = (
    *("pk", "line_id", "bag_id", "bag__path", "item_id", "item__code", "item__name", "item__unit", "quantity", "finding"),
    *("diameter", "length", "head", "note", "by__name", "at"),
)


@dataclass(slots=True)
class _Sums:
    """What was counted of a line or of one thing not listed, while it is being added up."""

    named: tuple[Any, ...] = ()
    totals: dict[str, Decimal] = field(default_factory=lambda: defaultdict(Decimal))
    ids: list[int] = field(default_factory=list)
    measured: Measured | None = None
    note: str = ""
    by: str = ""
    at: datetime | None = None


def sheet(crate: Crate, bag: Bag | None = None) -> CrateTally:
    """What a crate lists and what was found, by bags in the order of their paths; of one bag and those inside it where one is given.

    Five queries, and one more for each 500 lines and bags.
    """
    inside = Q(bag=bag) | Q(bag__path__startswith=f"{bag.path}/") if bag else Q()
    rows = list(PackingLine.objects.filter(inside, crate=crate).order_by("pk").values_list(*_LINE))
    of_lines, extras = _sums(crate, inside)
    refs = [ref_of(row[0], None, crate.pk, damaged=damaged) for row in rows for damaged in (False, True)]
    refs += [ref_of(None, key[0], crate.pk, damaged=damaged) for key in extras for damaged in (False, True)]
    went_in, photos = taken(refs), _photos(crate)
    bags = list(_bags(crate, bag))
    done = {row[0] for row in bags if row[4] is not None}
    lines = [_line(row, of_lines.get(row[0]), went_in, photos, done=crate.closed_on is not None or row[1] in done) for row in rows]
    found = [_extra(crate.pk, key, sums, went_in, photos) for key, sums in extras.items()]
    return CrateTally(crate.pk, crate.code, crate.arrived_on, crate.closed_on, _by_bags(bags, lines, found))


def _bags(crate: Crate, bag: Bag | None) -> QuerySet[Bag, tuple[Any, ...]]:
    which = Q(pk=bag.pk) | Q(path__startswith=f"{bag.path}/") if bag else Q()
    rows = Bag.objects.filter(which, crate=crate)
    return rows.order_by("path").values_list("pk", "path", "parent_id", "place__path", "counted_on", "counted_by__name")


def _sums(crate: Crate, inside: Q) -> tuple[dict[int, _Sums], dict[tuple[int | None, int | None, int | None], _Sums]]:
    """Sums by line; and by (bag, item, tally) of what has no line, where the last tells mysteries apart. One query."""
    of_lines: dict[int, _Sums] = defaultdict(_Sums)
    extras: dict[tuple[int | None, int | None, int | None], _Sums] = defaultdict(_Sums)
    rows = active(Tally.objects.filter(inside, crate=crate)).order_by("at", "pk")
    for pk, line_id, bag_id, path, item_id, code, name, unit, quantity, finding, *rest in rows.values_list(*_COUNT):
        diameter, length, head, note, by, at = rest
        key = (bag_id, item_id, pk if finding == Finding.MYSTERY else None)
        sums = extras[key] if line_id is None else of_lines[line_id]
        sums.named = (bag_id, path or "", item_id, code or "", name or "", unit or "")
        sums.totals[finding] += quantity
        sums.ids.append(pk)
        sums.by, sums.at, sums.note = by, at, note or sums.note
        if finding == Finding.MYSTERY:
            sums.measured = Measured(diameter, length, head)
    return of_lines, extras


def _line(
    row: tuple[Any, ...], sums: _Sums | None, went_in: Mapping[tuple[str, int], Decimal], photos: Mapping[int, int], *, done: bool
) -> LineTally:
    line_id, bag_id, path, number, item_id, code, name, unit, listed, still_open, lot, made_on, made_as, expires_on, expires_as, price = row
    totals, ids = (sums.totals, sums.ids) if sums else ({}, [])
    good_in = went_in.get((ref_of(line_id, None, 0), item_id), NOTHING)
    return LineTally(
        *(line_id, bag_id, path or "", number, item_id, code, name, unit, listed, still_open, lot),
        *(of_columns(made_on, made_as), of_columns(expires_on, expires_as), price),
        good=max(totals.get(Finding.GOOD, NOTHING), good_in),
        damaged=totals.get(Finding.DAMAGED, NOTHING),
        wrong=totals.get(Finding.WRONG, NOTHING),
        good_in=good_in,
        damaged_in=went_in.get((ref_of(line_id, None, 0, damaged=True), item_id), NOTHING),
        done=done,
        photos=sum(photos.get(pk, 0) for pk in ids),
        last_by=sums.by if sums else "",
        last_at=sums.at if sums else None,
    )


def _extra(
    crate_id: int,
    key: tuple[int | None, int | None, int | None],
    sums: _Sums,
    went_in: Mapping[tuple[str, int], Decimal],
    photos: Mapping[int, int],
) -> Extra:
    bag_id, item_id, tally_id = key
    good, damaged = (went_in.get((ref_of(None, bag_id, crate_id, damaged=which), item_id or 0), NOTHING) for which in (False, True))
    totals = (sums.totals.get(finding, NOTHING) for finding in (Finding.GOOD, Finding.DAMAGED, Finding.WRONG, Finding.MYSTERY))
    seen = (sum(photos.get(pk, 0) for pk in sums.ids), sums.by, sums.at)
    return Extra(*(*sums.named, *totals, good, damaged, tally_id, sums.measured, sums.note, *seen))


def _photos(crate: Crate) -> dict[int, int]:
    """How many pictures each tally has. One query."""
    rows = Photo.objects.filter(ref__in=_refs_of_counts(crate)).values("ref").annotate(many=Count("pk"))
    return {tally_of(ref): many for ref, many in rows.values_list("ref", "many")}


def _by_bags(bags: Sequence[tuple[Any, ...]], lines: Iterable[LineTally], extras: Iterable[Extra]) -> tuple[BagTally, ...]:
    own_lines: dict[int | None, list[LineTally]] = defaultdict(list)
    own_extras: dict[int | None, list[Extra]] = defaultdict(list)
    for line in lines:
        own_lines[line.bag_id].append(line)
    for extra in extras:
        own_extras[extra.bag_id].append(extra)
    rows = [*bags, (None, "", None, None, None, None)] if own_lines[None] or own_extras[None] else bags
    return tuple(_bag(row, rows, own_lines, own_extras) for row in rows)


def _bag(
    row: tuple[Any, ...],
    rows: Sequence[tuple[Any, ...]],
    own_lines: Mapping[int | None, list[LineTally]],
    own_extras: Mapping[int | None, list[Extra]],
) -> BagTally:
    pk, path, parent_id, place, counted_on, counted_by = row
    inner = [other[0] for other in rows if pk is not None and other[1].startswith(f"{path}/")]
    within = [line for which in (pk, *inner) for line in own_lines.get(which, [])]
    beyond = [extra for which in (pk, *inner) for extra in own_extras.get(which, [])]
    return BagTally(
        *(pk, path, parent_id, place or "", counted_on, counted_by or ""),
        tuple(own_lines.get(pk, [])),
        tuple(own_extras.get(pk, [])),
        within=progress(map(state_of, within), len(beyond)),
        lines_within=len(within),
        found_within=sum(not line.left for line in within),
        bags_within=len(inner),
        waiting_within=sum(bool(line.waiting) for line in within) + sum(bool(extra.waiting) for extra in beyond),
        begun=bool(beyond) or any(line.found for line in within),
    )


@dataclass(frozen=True, slots=True)
class LineSums:
    """What was counted of a line, in few columns: for many crates at once."""

    crate_id: int
    line_id: int
    good: Decimal
    damaged: Decimal
    wrong: Decimal
    compared: Compared


def _taken_in(line: str) -> Subquery:
    """What stock took in of a line as good and wasn't reversed; `line` names the column of its id."""
    ref = Concat(Value(LINE_REF), Cast(OuterRef(line), CharField()))
    with scopes_disabled():  # a reference is one line's, and without the workshop's own column the index of references serves
        rows = Movement.objects.filter(ref=ref).order_by().values("ref")
    return Subquery(rows.annotate(total=Sum("quantity", filter=Q(reverses=None, reversed_by=None))).values("total"))


def line_sums(crates: Collection[int]) -> Iterator[LineSums]:
    """Each line of some crates, as `sheet` compares it. One query: what was taken back and its opposite cancel out."""
    counts = {finding: Sum("tallies__quantity", filter=Q(tallies__finding=finding)) for finding in ("good", "damaged", "wrong")}
    rows = PackingLine.objects.filter(crate__in=crates).annotate(**counts, taken_in=_taken_in("pk")).order_by()
    columns = ("crate_id", "pk", "quantity", "crate__closed_on", "bag__counted_on", *counts, "taken_in")
    for crate, line, listed, closed, counted, *sums in rows.values_list(*columns):
        good, damaged, wrong, went_in = (quantity or NOTHING for quantity in sums)
        done = closed is not None or counted is not None
        compared = calc.compare(listed=listed, good=max(good, went_in), damaged=damaged, wrong=wrong, done=done)
        yield LineSums(crate, line, good, damaged, wrong, compared)


def found_in(crates: Collection[int]) -> dict[int, Found]:
    """What was counted of each line of some crates, for the pages of receiving. One query."""
    return {
        one.line_id: Found(one.good, one.damaged, one.wrong, one.compared.left - one.compared.short, one.compared.short)
        for one in line_sums(crates)
    }


# What is still to be had of crates that are here

LotRead = tuple[str, date | None, str, date | None, str]  # lot code, made and expires with their precision: as counted, or as listed
_BOOKED = (Finding.GOOD, Finding.DAMAGED)


@dataclass(frozen=True, slots=True)
class Unlisted:
    """What was counted in a crate that doesn't list it, and waits to be put away. `first` is the first of its counts."""

    first: int
    item_id: int
    bench_id: int
    crate: str
    arrived_on: date | None
    quantity: Decimal
    damaged: bool
    lot: LotRead


@dataclass(frozen=True, slots=True)
class Counted:
    """What was counted of lines that aren't settled, by line, and what their crates don't list. No lot: the one that the list states."""

    lines: Mapping[int, Counts[LotRead | None]]
    unlisted: tuple[Unlisted, ...]


def unsettled(only: Collection[int] | None = None) -> Q:
    """Which packing lines are not all in stock or given up: something is to come of them, or was counted and waits to be put away.

    Of all items, or of some.
    """
    with scopes_disabled():  # the lines are of the workshop; its own column would win over the better index
        waiting = Tally.objects.filter(_of("item", only), movement=None, line__isnull=False, finding__in=_BOOKED)
    return _of("item", only) & (Q(open_quantity__gt=0) | Q(pk__in=waiting.values("line")))


def _of(column: str, only: Collection[int] | None) -> Q:
    return Q() if only is None else Q(**{f"{column}__in": only})


_READ = ("lot_code", "made_on", "made_as", "expires_on", "expires_as")
_COUNTED = ("line_id", "item_id", "finding", "crate__bench_id", "crate__code", "crate__arrived_on", *_READ)


def counted(only: Collection[int] | None = None) -> Counted:
    """What was counted of unsettled lines, of all items or of some, and of things not listed. One query, whatever was counted."""
    lines, crates = PackingLine.objects.filter(unsettled(only)).values("pk"), Crate.objects.values("pk")
    beyond = _of("item", only) & Q(line=None, movement=None, item__isnull=False, finding__in=_BOOKED, crate__in=crates)
    with scopes_disabled():  # lines and crates are of the workshop; its own column would win over the better indexes
        rows = Tally.objects.filter(Q(line__in=lines) | beyond).exclude(finding=Finding.MYSTERY).values(*_COUNTED)
    sums = rows.annotate(
        first=Min("pk", filter=Q(undoes=None, undone_by=None)),
        total=Sum("quantity"),  # what was taken back and its opposite cancel out
        waits=Sum("quantity", filter=Q(movement=None)),
        taken_in=_taken_in("line_id"),
    )
    return _counted(sums.order_by("first").values_list(*_COUNTED, "first", "total", "waits", "taken_in"))


def _counted(rows: Iterable[tuple[Any, ...]]) -> Counted:
    by_line: dict[int, list[tuple[Any, ...]]] = defaultdict(list)
    unlisted = []
    for line, item, finding, bench, crate, arrived, *read, first, total, waits, taken_in in rows:
        lot = tuple(read)
        if first is None:  # all of it was taken back
            continue
        if line is not None:
            by_line[line].append((finding, lot if any(lot) else None, total, waits or NOTHING, taken_in or NOTHING))
        elif waits and waits > 0:
            unlisted.append(Unlisted(first, item, bench, crate, arrived, waits, finding == Finding.DAMAGED, lot))
    return Counted({line: _counts(of) for line, of in by_line.items()}, tuple(unlisted))


def _counts(rows: Sequence[tuple[Any, ...]]) -> Counts[LotRead | None]:
    total: dict[str, Decimal] = defaultdict(Decimal)
    waiting: dict[str, list[tuple[LotRead | None, Decimal]]] = defaultdict(list)
    for finding, lot, counted_of_it, waits, _ in rows:
        total[finding] += counted_of_it
        if waits:
            waiting[finding].append((lot, waits))
    return Counts(
        good=total[Finding.GOOD],
        damaged=total[Finding.DAMAGED],
        wrong=total[Finding.WRONG],
        taken_in=max(taken_in for *_, taken_in in rows),
        waiting=tuple(waiting[Finding.GOOD]),
        spoiled=tuple(waiting[Finding.DAMAGED]),
    )


def progress_of(crates: Collection[int]) -> dict[int, Progress]:
    """How far each of some crates is counted. Two queries."""
    states: dict[int, list[State]] = defaultdict(list)
    for one in line_sums(crates):
        states[one.crate_id].append(state(one.compared, one.damaged + one.wrong))
    unlisted: dict[int, set[tuple[Any, ...]]] = defaultdict(set)
    rows = active(Tally.objects.filter(crate__in=crates, line=None))
    for pk, crate, bag, item, finding in rows.values_list("pk", "crate_id", "bag_id", "item_id", "finding"):
        unlisted[crate].add((bag, item, pk if finding == Finding.MYSTERY else None))
    return {crate: progress(states[crate], len(unlisted[crate])) for crate in crates}


@dataclass(frozen=True, slots=True)
class Counting:
    """A crate that is here, or of which something is counted, and whose counting isn't closed."""

    id: int
    code: str
    arrived_on: date | None
    progress: Progress


MOST_COUNTING = 12  # crates of a picture: a starting value of ours


def counting() -> tuple[tuple[Counting, ...], int]:
    """The crates being counted, the newest first, and how many more there are. Three queries."""
    begun = Q(arrived_on__isnull=False) | Exists(Tally.objects.filter(crate=OuterRef("pk")))
    rows = list(Crate.objects.filter(begun, closed_on=None).order_by("-pk").values_list("pk", "code", "arrived_on"))
    shown = rows[:MOST_COUNTING]
    found = progress_of([pk for pk, _, _ in shown]) if shown else {}
    return tuple(Counting(*row, found[row[0]]) for row in shown), len(rows) - len(shown)


def line_tally(line: PackingLine) -> LineTally:
    """One line with what was found of it. Five queries."""
    found = {each.line_id: each for each in sheet(line.crate, line.bag).lines}
    return found[line.pk]


def waiting(crate: Crate) -> dict[int, Decimal]:
    """What of each line was counted and isn't in stock yet."""
    return {line.line_id: line.waiting for line in sheet(crate).lines if line.waiting}


# What differs


@dataclass(frozen=True, slots=True)
class Difference:
    """One way in which what came differs from the list. A line that differs in two ways is two of these, each of its own `kind`.

    `quantity` is of that kind alone; the other figures are of the whole line. A mystery has no item, and its `tally_id` names it.
    """

    kind: str
    quantity: Decimal
    line_id: int | None
    item_id: int | None
    item: str
    name: str
    unit: str
    bag: str
    number: str
    listed: Decimal
    good: Decimal
    damaged: Decimal
    wrong: Decimal
    short: Decimal
    over: Decimal
    price: Decimal | None = None
    photos: int = 0
    note: str = ""
    tally_id: int | None = None
    measured: Measured | None = None


KINDS = ("short", "damaged", "wrong", "over", "mystery")


def differences(crate: Crate) -> tuple[Difference, ...]:
    """What differs from the list so far: short only where a bag is counted to the end, or the crate is closed. By bag, then line."""
    return differences_of(sheet(crate))


def differences_of(found: CrateTally) -> tuple[Difference, ...]:
    """The same of a sheet that is read already."""
    return tuple(each for bag in found.bags for each in (*_of_lines(bag.lines), *_of_extras(bag.extras)))


def _of_lines(lines: Iterable[LineTally]) -> Iterable[Difference]:
    for line in lines:
        for kind in KINDS[:-1]:
            if quantity := getattr(line, kind):
                yield Difference(
                    *(kind, quantity, line.line_id, line.item_id, line.item, line.name, line.unit, line.bag, line.number),
                    *(line.listed, line.good, line.damaged, line.wrong, line.short, line.over, line.price, line.photos),
                )


def _of_extras(extras: Iterable[Extra]) -> Iterable[Difference]:
    for extra in extras:
        said = {"damaged": extra.damaged, "wrong": extra.wrong, "over": extra.good, "mystery": extra.mystery}
        for kind, quantity in said.items():
            if quantity:
                yield Difference(
                    *(kind, quantity, None, extra.item_id, extra.item, extra.name, extra.unit, extra.bag, ""),
                    *(NOTHING, extra.good, extra.damaged, extra.wrong, NOTHING, extra.good),
                    photos=extra.photos,
                    note=extra.note,
                    tally_id=extra.tally_id,
                    measured=extra.measured,
                )


# Count by count


@dataclass(frozen=True, slots=True)
class Entry:
    """One count, as the list of what was done shows it."""

    id: int
    bag_id: int | None
    bag: str
    line_id: int | None
    number: str
    item_id: int | None
    item: str
    unit: str
    quantity: Decimal
    finding: str
    how: str
    correction: bool
    lot: str
    made: StatedDate | None
    expires: StatedDate | None
    measured: Measured
    note: str
    by: str
    at: datetime
    undoes: int | None
    undone: bool
    movement_id: int | None

    @property
    def undoable(self) -> bool:
        """Neither undone nor an undoing itself, and not in stock."""
        return self.undoes is None and not self.undone and self.movement_id is None

    @property
    def finding_text(self) -> str:
        """What it found, in words."""
        return str(Finding(self.finding).label)


_ENTRY = (
    *("pk", "bag_id", "bag__path", "line_id", "line__number", "item_id", "item__code", "item__unit", "quantity", "finding", "how"),
    *("correction", "lot_code", "made_on", "made_as", "expires_on", "expires_as", "diameter", "length", "head", "note", "by__name", "at"),
    *("undoes_id", "undone_by__pk", "movement_id"),
)


def entries(rows: QuerySet[Tally]) -> QuerySet[Tally, tuple[Any, ...]]:
    """Counts, the latest first, as rows for `entry`."""
    return rows.order_by("-pk").values_list(*_ENTRY)


def entry(*row: Any) -> Entry:
    """One of `entries`."""
    pk, bag_id, path, line_id, number, item_id, code, unit, quantity, finding, how, correction, lot, *rest = row
    made_on, made_as, expires_on, expires_as, diameter, length, head, note, by, at, undoes, undone_by, movement_id = rest
    return Entry(
        *(pk, bag_id, path or "", line_id, number or "", item_id, code or "", unit or "", quantity, finding, how, correction, lot),
        *(of_columns(made_on, made_as), of_columns(expires_on, expires_as), Measured(diameter, length, head), note, by, at),
        *(undoes, undone_by is not None, movement_id),
    )


# Mysteries


@dataclass(frozen=True, slots=True)
class Candidate:
    """A line that a mystery may belong to, with the reason."""

    line: LineTally
    match: Match


def candidates(measured: Measured, found: CrateTally) -> tuple[Candidate, ...]:
    """Lines of a crate that something is still missing from and whose item a measured piece may be, best first. No query."""
    lacking = {line.line_id: line for line in found.lines if line.left}
    matches = calc.candidates(measured, [(line.line_id, line.item) for line in lacking.values()])
    return tuple(Candidate(lacking[match.line_id], match) for match in matches)


def alike(line: LineTally, found: CrateTally) -> list[str]:
    """Other lengths of this line's rivet that the crate lists. No query."""
    return calc.alike_rivets(line.item, (other.item for other in found.lines))


# Photos


def photos(crate: Crate, tally: Tally | None = None) -> list[PhotoRow]:
    """The photos of a crate with those of its counts, or of one count, the oldest first. One query."""
    if tally is not None:
        return of_refs([ref_of_tally(tally.pk)])[ref_of_tally(tally.pk)]
    rows = Photo.objects.filter(Q(ref=ref_of_crate(crate.pk)) | Q(ref__in=_refs_of_counts(crate))).order_by("pk")
    return [PhotoRow(*row) for row in rows.values_list(*PHOTO_COLUMNS)]


def _refs_of_counts(crate: Crate) -> QuerySet[Tally, Any]:
    """How photos name the counts of a crate, for the database to look up by itself."""
    named = Concat(Value(TALLY), Cast("pk", CharField()))
    return Tally.objects.filter(crate=crate).annotate(named=named).order_by().values("named")


# The receipt


@dataclass(frozen=True, slots=True)
class Totals:
    """What the list's own lines add up to, beside what is printed on it: compared, never used."""

    lines: int
    quantity: Decimal
    printed_lines: int | None
    printed_quantity: Decimal | None

    @property
    def agree(self) -> bool:
        """Whether what is printed agrees, as far as anything is."""
        return self.printed_lines in {None, self.lines} and self.printed_quantity in {None, self.quantity}


@dataclass(frozen=True, slots=True)
class Receipt:
    """What came in a crate, as it is handed on: every line, every difference, where it was put and who counted.

    `went_in` is what the ledger took under its lines and bags: good and damaged as the lines say, since both read the same movements.
    """

    sheet: CrateTally
    differences: tuple[Difference, ...]
    placed: Mapping[tuple[str, int], tuple[Placed, ...]]
    counted_by: tuple[str, ...]
    totals: Totals

    @property
    def good(self) -> Decimal:
        """All that was found good, listed or not."""
        return sum((row.good for row in self.sheet.rows), NOTHING)

    @property
    def damaged(self) -> Decimal:
        """All that was found damaged."""
        return sum((row.damaged for row in self.sheet.rows), NOTHING)

    @property
    def went_in(self) -> Decimal:
        """All that stock took in."""
        return sum((each.quantity for rows in self.placed.values() for each in rows), NOTHING)

    @property
    def waiting(self) -> Decimal:
        """All that was counted and isn't in stock."""
        return sum((row.waiting for row in self.sheet.rows), NOTHING)

    def places_of(self, row: LineTally | Extra) -> tuple[Placed, ...]:
        """Where a line, or something not listed, was put."""
        line_id = row.line_id if isinstance(row, LineTally) else None
        refs = (ref_of(line_id, row.bag_id, self.sheet.crate_id, damaged=damaged) for damaged in (False, True))
        return tuple(each for ref in refs for each in self.placed.get((ref, row.item_id or 0), ()))


def receipt(crate: Crate) -> Receipt:
    """The receipt of a crate as it stands. Seven queries, and two more for each 500 lines and bags."""
    found = sheet(crate)
    refs = [ref_of(line.line_id, None, crate.pk, damaged=damaged) for line in found.lines for damaged in (False, True)]
    refs += [ref_of(None, extra.bag_id, crate.pk, damaged=damaged) for extra in found.extras for damaged in (False, True)]
    names = active(Tally.objects.filter(crate=crate)).order_by("by__name").values_list("by__name", flat=True).distinct()
    total = sum((line.listed for line in found.lines), NOTHING)
    totals = Totals(len(found.lines), total, crate.printed_lines, crate.printed_quantity)
    return Receipt(found, differences_of(found), _placed(refs), tuple(names), totals)


def _placed(refs: Iterable[str]) -> dict[tuple[str, int], tuple[Placed, ...]]:
    found: dict[tuple[str, int], list[Placed]] = defaultdict(list)
    columns = ("ref", "lot__item_id", "pk", "lot_id", "lot__code", "lot__state", "target__path", "quantity", "on", "by__name")
    for batch in batches(sorted(set(refs))):
        for ref, item_id, *rest in _standing(batch).order_by("pk").values_list(*columns):
            found[ref, item_id].append(Placed(*rest))
    return {key: tuple(rows) for key, rows in found.items()}
