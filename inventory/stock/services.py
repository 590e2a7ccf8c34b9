"""The only writer of places, lots and the ledger.

A movement and the holdings it changes are written in one transaction that has locked the lot. Locks are taken in one order
everywhere, so that two writers never wait for each other: the workshop (to make places), the bench (to make lots), then lots by id.
"""

import unicodedata
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from itertools import count
from typing import Protocol

from django.db import transaction
from django.db.models import F, Q, Value
from django.utils import timezone
from simple_history.utils import bulk_create_with_history

from inventory.catalogue.models import Item
from inventory.catalogue.queries import items_by_id
from inventory.common.fields import LIMIT, QuantityField, plain
from inventory.common.history import MOST_WHY, changed_by, create_many, update_many
from inventory.common.problems import FieldProblem, Problem
from inventory.common.quantities import BadQuantity, not_negative, positive
from inventory.common.rows import BATCH, batches, find_or_make, referring
from inventory.common.texts import BadText, filled, optional
from inventory.shelflife.calc import StatedDate
from inventory.stock import calc, queries
from inventory.stock.models import End, Holding, Lot, Movement, Place, SetAside, State
from inventory.workshop import policy
from inventory.workshop.models import Bench, Member, Workshop

MOST_NAME = 80
MOST_PATH = 400
MOST_CODE = 80
MOST_NOTE = 200
MOST_REF = 60
FAILED_BATCH = "lot {} of {} failed: nothing more of that batch can be taken as good"


class NotEnough(Problem):
    """A place holds less than was to be taken from it."""

    status = 409
    title = "Not enough there"


class SetAsideForOthers(Problem):
    """What is on hand is held for other steps."""

    status = 409
    title = "Set aside for other steps"


class NotUsable(Problem):
    """A lot that must not be used on that day."""

    status = 409
    title = "This lot can't be used"


class StaysFailed(Problem):
    """Nobody but an inspector brings a failed lot back."""

    status = 409
    title = "This lot failed"


class AlreadyOpen(Problem):
    """A second opening would start the opened life anew."""

    status = 409
    title = "Already open"


class AlreadyReversed(Problem):
    """A movement is undone once, and what undid it stays."""

    status = 409
    title = "Already reversed"


class PassedOn(Problem):
    """What passed from bench to bench is two lines of the ledger that stand together."""

    status = 409
    title = "Passed to another bench"


class OtherDates(Problem):
    """One lot code has one set of dates."""

    status = 409
    title = "This lot has other dates"


class BadDates(Problem):
    """Dates that make no sense together."""

    title = "These dates don't do"


class BadPlace(Problem):
    """A place that goods can't lie in, or can't be moved to and from."""

    title = "This place doesn't do"


class PlaceTaken(Problem):
    """A path means one place."""

    status = 409
    title = "There is a place of this name"


class LotInUse(Problem):
    """A lot that was ever moved stays: the ledger names it."""

    status = 409
    title = "This lot is in use"


class PlaceInUse(Problem):
    """A place that goods lie or lay in stays: the ledger names it."""

    status = 409
    title = "This place is in use"


@dataclass(frozen=True, slots=True)
class LotData:
    """A lot as a file states it; `rounding` says how its quantity was converted, where that rounded."""

    item_id: int
    code: str = ""
    made: StatedDate | None = None
    expires: StatedDate | None = None
    opened: date | None = None
    state: str = State.GOOD
    rounding: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """What is said of a movement, whatever it moves. `at` is when it was done, where that is not now."""

    on: date
    by: Member
    note: str
    ref: str
    at: datetime | None = None

    def movement(self, lot: Lot, quantity: Decimal, source: Place, target: Place, reverses: Movement | None = None) -> Movement:
        """The movement, not saved yet."""
        return Movement(
            workshop_id=lot.workshop_id,
            lot=lot,
            quantity=quantity,
            source=source,
            target=target,
            by=self.by,
            on=self.on,
            note=optional("note", self.note, MOST_NOTE),
            ref=optional("reference", self.ref, MOST_REF),
            reverses=reverses,
            at=self.at or timezone.now(),
        )


# Places


def ensure_place(*, workshop: Workshop, path: str, by: Member) -> Place:
    """The place of `path`, made with all it nests in where it isn't there. See `ensure_places`."""
    return ensure_places(workshop=workshop, paths=[path], by=by)[path]


@transaction.atomic
def ensure_places(*, workshop: Workshop, paths: Iterable[str], by: Member) -> dict[str, Place]:
    """The places of `paths` by the path as given, made with all they nest in where they aren't there.

    `/` nests. Case, and blanks around each name, don't tell places apart. The name of an end of the ledger (used, lost ...) is
    refused as a whole path: nobody could tell the two apart. Queries grow with the depth, not with the number of paths.
    """
    policy.own(by, workshop)
    policy.require(by, "keep_stock")
    wanted = {path: _names(path) for path in paths}
    found = _places(workshop, wanted.values())
    if any(_key(names) not in found for names in wanted.values()):
        Workshop.objects.select_for_update(no_key=True).get(pk=workshop.pk)  # nobody makes one between this look and the save
        found = _places(workshop, wanted.values())
        _make_places(workshop, wanted.values(), found, by)
    return {path: found[_key(names)] for path, names in wanted.items()}


@transaction.atomic
def move_place(*, place: Place, path: str, by: Member) -> Place:
    """Give a place another path: another name, another place that it lies in, or both. All in it goes along.

    What it shall lie in is made where it isn't there. Refuses the path of another place, and one within itself.
    """
    policy.own(by, place)
    policy.require(by, "keep_stock")
    names = _names(path)
    lock_places(place.workshop)
    place = Place.objects.get(pk=place.pk)
    refuse_end(place)
    _refuse_path(place, names)
    parent = ensure_place(workshop=place.workshop, path="/".join(names[:-1]), by=by) if names[:-1] else None
    before, path = place.path, f"{parent.path}/{names[-1]}" if parent else names[-1]
    below = list(Place.objects.filter(end=End.STORAGE, key__startswith=f"{place.key}/").order_by("key"))
    place.parent, place.name = parent, names[-1]
    for row in (place, *below):
        row.path = filled("place", path + row.path[len(before) :], MOST_PATH)
        row.key = filled("place", _key(row.path.split("/")), MOST_PATH)
    update_many(Place, [place, *below], ["parent", "name", "path", "key"], by)
    return place


@transaction.atomic
def remove_place(*, place: Place, by: Member) -> None:
    """Remove a place that nothing refers to. Refuses one that goods ever lay in, or that other places lie in."""
    policy.own(by, place)
    policy.require(by, "keep_stock")
    place = Place.objects.select_for_update().get(pk=place.pk)  # nobody hangs a row on it meanwhile
    refuse_end(place)
    if used := referring(place):
        raise PlaceInUse(f"{place.path} stays: it has {used}")
    changed_by(place, by).delete()


LENT = "Lent"  # what lies in its places is in somebody's hands


@transaction.atomic
def hands_of(*, member: Member, by: Member) -> Place:
    """The place that stands for a member's hands, `Lent/NAME`: pieces lent to them lie there. Made on first use, by whoever lends."""
    policy.own(by, member)
    if (place := Place.objects.filter(hands=member).first()) is not None:
        return place
    lock_places(by.workshop)
    return Place.objects.filter(hands=member).first() or _make_hands(member, by)


def _make_hands(member: Member, by: Member) -> Place:
    """A place that somebody made by hand and named so stays what it is: the borrower's gets a number."""
    found = _places(by.workshop, [(LENT,)])
    _make_places(by.workshop, [(LENT,)], found, by)
    parent = found[_key([LENT])]
    name = _free_name(parent, " ".join(member.name.replace("/", " ").split())[: MOST_NAME - 6] or str(member.pk))
    path = f"{parent.path}/{name}"
    place = Place(workshop=by.workshop, parent=parent, name=name, path=path, key=_key([path]), hands=member)
    changed_by(place, by).save()
    return place


def _free_name(parent: Place, name: str) -> str:
    taken = set(Place.objects.filter(end=End.STORAGE, key__startswith=f"{parent.key}/").values_list("key", flat=True))
    numbered = (name if number == 1 else f"{name} {number}" for number in count(1))
    return next(name for name in numbered if _key([parent.path, name]) not in taken)


@transaction.atomic
def rename_hands(*, member: Member, name: str, by: Member) -> None:
    """Call the place of a member's hands something else, in its earlier versions too: who leaves may take their name with them."""
    policy.own(by, member)
    lock_places(by.workshop)
    place = Place.objects.select_related("parent").filter(hands=member).first()
    if place is None or place.parent is None:
        return
    place.name = _free_name(place.parent, name)
    place.path = f"{place.parent.path}/{place.name}"
    place.key = _key([place.path])
    changed_by(place, by).save(update_fields=["name", "path", "key"])
    Place.history.filter(id=place.pk).update(name=place.name, path=place.path, key=place.key)


def _refuse_path(place: Place, names: Sequence[str]) -> None:
    wanted, key = "/".join(names), _key(names)
    if key.startswith(f"{place.key}/"):
        raise BadPlace(f"{wanted} is within {place.path}: a place can't lie in itself")
    if Place.objects.filter(workshop=place.workshop_id, end=End.STORAGE, key=key).exclude(pk=place.pk).exists():
        raise PlaceTaken(f"{wanted} is another place already: move what lies there, or give this one another name")


def lock_places(workshop: Workshop) -> None:
    """Hold the workshop until the transaction ends: nobody makes or moves a place meanwhile."""
    Workshop.objects.select_for_update(no_key=True).get(pk=workshop.pk)


def place_key(path: str) -> str:
    """`path` as it is compared, and kept beside it. Refuses what `ensure_places` would."""
    return _key(_names(path))


def end_place(workshop: Workshop, end: End) -> Place:
    """The place that stands for an end of the ledger; made on first use."""

    def make() -> Place:
        place = changed_by(Place(workshop=workshop, name=end.value, path=end.value, key=end.value, end=end), None)
        place.save()
        return place

    return find_or_make(lambda: Place.objects.filter(workshop=workshop, end=end, key=end.value).first(), make)[0]


def _names(path: str) -> tuple[str, ...]:
    names = tuple(filled("place name", name, MOST_NAME) for name in path.split("/"))
    for whole in ("/".join(names), _key(names)):
        filled("place", whole, MOST_PATH)
    if _key(names) in set(End.values) - {End.STORAGE}:
        raise BadPlace(f"{names[0]} is an end of the ledger, where nothing lies: give the place another name")
    return names


def _key(names: Sequence[str]) -> str:
    return unicodedata.normalize("NFC", "/".join(names).casefold())


def _heads(names: Sequence[str]) -> Iterator[Sequence[str]]:
    """The way down: `A`, `A/B`, `A/B/C`."""
    return (names[:depth] for depth in range(1, len(names) + 1))


def _places(workshop: Workshop, wanted: Iterable[Sequence[str]]) -> dict[str, Place]:
    keys = {_key(head) for names in wanted for head in _heads(names)}
    found: dict[str, Place] = {}
    for batch in batches(keys):
        rows = Place.objects.filter(workshop=workshop, end=End.STORAGE, key__in=batch)
        found.update((place.key, place) for place in rows)
    return found


def _make_places(workshop: Workshop, wanted: Iterable[Sequence[str]], found: dict[str, Place], by: Member) -> None:
    """Make what is missing level by level, since a place needs the id of the one it lies in."""
    heads = {_key(head): head for names in wanted if _key(names) not in found for head in _heads(names)}
    for depth in sorted({len(head) for head in heads.values()}):
        missing = [(key, head) for key, head in heads.items() if len(head) == depth and key not in found]
        rows = [_place(workshop, key, head, found) for key, head in missing]
        if rows:
            bulk_create_with_history(rows, Place, batch_size=BATCH, default_user=by)
        found.update((place.key, place) for place in rows)


def _place(workshop: Workshop, key: str, names: Sequence[str], found: Mapping[str, Place]) -> Place:
    parent = found[_key(names[:-1])] if names[:-1] else None
    path = f"{parent.path}/{names[-1]}" if parent else names[-1]
    return Place(workshop=workshop, parent=parent, name=names[-1], path=path, key=key)


# Lots


@transaction.atomic
def find_or_make_lot(  # noqa: PLR0913 - what tells one lot from another
    *,
    bench: Bench,
    item: Item,
    by: Member,
    code: str = "",
    made: StatedDate | None = None,
    expires: StatedDate | None = None,
    opened: date | None = None,
    state: str = State.GOOD,
    rounding: str = "",
) -> tuple[Lot, bool]:
    """The lot on `bench` that more of `item` with this code, these dates, this opening and state belongs to; and whether it was made.

    With a code, dates left out are those that the code has here already, and other dates are refused by `OtherDates`. Without a
    code the dates must be equal. More of a batch that failed a test anywhere is refused as good.
    """
    policy.require(by, "keep_stock", bench)
    policy.own(by, item)
    data = LotData(item.pk, optional("lot code", code, MOST_CODE), made, expires, opened, state, rounding)
    Bench.objects.select_for_update(no_key=True).get(pk=bench.pk)  # two deliveries at once make one lot
    batch = list(Lot.objects.filter(item=item, code=data.code).order_by("pk"))
    _refuse_failed(batch, data)
    siblings = [lot for lot in batch if lot.bench_id == bench.pk]
    if data.code and siblings:
        _refuse_other_dates(siblings, data)
        made, expires = made or siblings[0].made, expires or siblings[0].expires
        data = LotData(item.pk, data.code, made, expires, opened, state, rounding)
    for lot in siblings:
        if (lot.opened_on, lot.state) == (opened, state) and (lot.made, lot.expires) == (made, expires) and not _apart(lot):
            return lot, False
    return make_lots(bench=bench, lots=[data], by=by)[0], True


def _apart(lot: Lot) -> bool:
    """Whether it lay through, or was accepted for, what more of its batch did not."""
    return lot.storage_until is not None or lot.accepted_until is not None


@transaction.atomic
def find_or_make_lots(*, bench: Bench, lots: Sequence[LotData], by: Member) -> list[Lot]:
    """`find_or_make_lot` for each, in the order given, none of them converted.

    Of those without a code queries grow with each 500, not with each.
    """
    policy.require(by, "keep_stock", bench)
    Bench.objects.select_for_update(no_key=True).get(pk=bench.pk)
    items = items_by_id(data.item_id for data in lots)
    found = _plain_lots(bench, [data for data in lots if not data.code], by)
    for data in lots:
        if data not in found:
            found[data] = _of_code(bench, items[data.item_id], data, by)
    return [found[data] for data in lots]


def _of_code(bench: Bench, item: Item, data: LotData, by: Member) -> Lot:
    code, made, expires, opened, state = data.code, data.made, data.expires, data.opened, data.state
    return find_or_make_lot(bench=bench, item=item, code=code, made=made, expires=expires, opened=opened, state=state, by=by)[0]


def _plain_lots(bench: Bench, lots: Sequence[LotData], by: Member) -> dict[LotData, Lot]:
    """Lots without a code, which only their dates, opening and state tell apart. The bench is locked."""
    present: dict[LotData, Lot] = {}
    for batch in batches({data.item_id for data in lots}):
        for lot in Lot.objects.filter(bench=bench, item__in=batch, code="").order_by("-pk"):
            if not _apart(lot):
                present[LotData(lot.item_id, "", lot.made, lot.expires, lot.opened_on, lot.state)] = lot
    missing = list(dict.fromkeys(data for data in lots if data not in present))
    return present | dict(zip(missing, make_lots(bench=bench, lots=missing, by=by), strict=True))


@transaction.atomic
def make_lots(*, bench: Bench, lots: Sequence[LotData], by: Member) -> list[Lot]:
    """Make new lots on `bench`, in the order given, for a file that says what each is.

    Refuses dates that make no sense together, and a good lot of a batch that failed on any bench.
    """
    policy.require(by, "keep_stock", bench)
    items = items_by_id(data.item_id for data in lots)
    passes = _passes(lots)
    return create_many([_lot(bench, items.get(data.item_id), data, passes) for data in lots], by)


def _passes(lots: Sequence[LotData]) -> dict[tuple[int, str], int]:
    """The update tests that the batches of new lots have passed here already, by item and code. One query for each 500 items.

    Refuses a good lot of a batch that failed here, however its code is written.
    """
    found: dict[tuple[int, str], int] = {}
    good = {(data.item_id, data.code.casefold()) for data in lots if data.code and data.state == State.GOOD}
    for batch in batches(sorted({data.item_id for data in lots if data.code})):
        rows = Lot.objects.filter(Q(passes__gt=0) | Q(state=State.FAILED), item__in=batch).exclude(code="").order_by("passes")
        for item, code, item_code, passes, state in rows.values_list("item_id", "code", "item__code", "passes", "state"):
            if state == State.FAILED and (item, code.casefold()) in good:
                raise NotUsable(FAILED_BATCH.format(code, item_code))
            found[item, code] = passes
    return found


@transaction.atomic
def set_state(*, lot: Lot, state: str, by: Member, note: str = "") -> Lot:
    """Judge a lot good, quarantined, disputed or failed. `note` is kept as the reason in its history.

    A failed lot stays failed, save by an inspector's word with its reason: what failed is not used because somebody corrects a list.
    """
    policy.require(by, "judge_lots", lot.bench)
    note = optional("reason", note, MOST_WHY)
    locked = _locked(lot)
    if locked.state == State.FAILED != _checked_state(state):
        _refuse_revival(locked, note, by)
    locked.state = _checked_state(state)
    changed_by(locked, by, note).save(update_fields=["state"])
    return locked


def _refuse_revival(lot: Lot, note: str, by: Member) -> None:
    if not policy.allowed(by, "accept"):
        raise StaysFailed(f"{named(lot)} failed: only an inspector lifts that, with the reason. Ask one, or dispose of it")
    if not note:
        raise FieldProblem(
            "note", f"{named(lot)} failed: say why it counts as failed no more, such as a test that was recorded for the wrong lot"
        )


@transaction.atomic
def set_dates(*, lot: Lot, made: StatedDate | None, expires: StatedDate | None, by: Member, note: str = "") -> Lot:
    """Write down what the label says: both dates, None for one that it doesn't. Refuses dates that make no sense together."""
    policy.require(by, "keep_stock", lot.bench)
    note = optional("reason", note, MOST_WHY)
    locked = _locked(lot)
    state_dates(locked, made, expires)
    _refuse_bad_dates(locked)
    changed_by(locked, by, note).save(update_fields=["made_on", "made_as", "expires_on", "expires_as"])
    return locked


@transaction.atomic
def open_lot(*, lot: Lot, on: date, by: Member) -> Lot:
    """Start the opened life of a lot. Refuses one that is open, so that a second scan can't restart it."""
    policy.require(by, "use_stock", lot.bench)
    locked = _locked(lot)
    if locked.opened_on is not None:
        raise AlreadyOpen(f"{named(locked)} was opened on {locked.opened_on}: its opened life runs from then")
    locked.opened_on = on
    _refuse_bad_dates(locked)
    changed_by(locked, by).save(update_fields=["opened_on"])
    return locked


@transaction.atomic
def remove_lot(*, lot: Lot, by: Member) -> None:
    """Remove a lot that was made by mistake. Refuses one that anything refers to: a movement, a label, a set-aside."""
    policy.require(by, "keep_stock", lot.bench)
    lot = Lot.objects.select_for_update(of=("self",)).select_related("item").get(pk=lot.pk)  # nobody hangs a row on it meanwhile
    if used := referring(lot):
        raise LotInUse(f"{named(lot)} stays: it has {used}")
    changed_by(lot, by).delete()


def named(lot: Lot) -> str:
    """How messages name a lot."""
    return f"lot {lot.code} of {lot.item.code}" if lot.code else f"{lot.item.code} without a lot code"


def lock(lots: Iterable[Lot]) -> dict[int, Lot]:
    """The lots as they are now, by id, held until the transaction ends.

    Who changes several lots in one transaction locks them all by this first; each service locks its own by itself.
    """
    found: dict[int, Lot] = {}
    for batch in batches(sorted({lot.pk for lot in lots})):
        rows = Lot.objects.select_for_update(of=("self",), no_key=True).select_related("item", "bench", "workshop")
        found.update((lot.pk, lot) for lot in rows.filter(pk__in=batch).order_by("pk"))
    return found


class HasDates(Protocol):
    """A row with the dates of a label."""

    made_on: date | None
    made_as: str
    expires_on: date | None
    expires_as: str


def state_dates(row: HasDates, made: StatedDate | None, expires: StatedDate | None) -> None:
    """Set both dates of a lot or packing line as precisely as they are stated; it is not saved."""
    row.made_on, row.made_as = (made.last_day, made.precision) if made else (None, "day")
    row.expires_on, row.expires_as = (expires.last_day, expires.precision) if expires else (None, "day")


def _locked(lot: Lot) -> Lot:
    return lock([lot])[lot.pk]


def _lot(bench: Bench, item: Item | None, data: LotData, passes: Mapping[tuple[int, str], int]) -> Lot:
    if item is None:
        raise policy.NotAllowed("this item is another workshop's")
    lot = Lot(
        workshop_id=bench.workshop_id,
        bench=bench,
        item=item,
        code=optional("lot code", data.code, MOST_CODE),
        opened_on=data.opened,
        state=_checked_state(data.state),
        rounding=data.rounding,
    )
    lot.passes = passes.get((data.item_id, lot.code), 0)
    state_dates(lot, data.made, data.expires)
    _refuse_bad_dates(lot)
    return lot


def _refuse_bad_dates(lot: Lot) -> None:
    try:
        queries.life_of(lot)
    except ValueError as error:
        raise BadDates(f"{named(lot)}: {error}") from error


def _refuse_failed(batch: Sequence[Lot], data: LotData) -> None:
    if data.code and data.state == State.GOOD and any(lot.state == State.FAILED for lot in batch):
        raise NotUsable(FAILED_BATCH.format(data.code, batch[0].item.code))


def _refuse_other_dates(siblings: Sequence[Lot], data: LotData) -> None:
    for lot in siblings:
        if data.made not in {None, lot.made} or data.expires not in {None, lot.expires}:
            dates = f"made {lot.made or 'unknown'}, expires {lot.expires or 'unknown'}"
            raise OtherDates(f"{named(lot)} is here with other dates ({dates}): one code has one set of dates")


def _checked_state(state: str) -> str:
    if state not in State.values:
        raise BadText(f"{state!r} is no state of a lot: there are {', '.join(State.values)}")
    return state


# Movements


@transaction.atomic
def receive(  # noqa: PLR0913 - what a line of the ledger says
    *,
    lot: Lot,
    quantity: Decimal,
    place: Place,
    on: date,
    by: Member,
    note: str = "",
    ref: str = "",
) -> Movement:
    """Take `quantity` of a lot into storage from its supplier."""
    allow(by, "keep_stock", lot, place)
    source = end_place(lot.workshop, End.SUPPLIER)
    return _post(_locked(lot), positive(quantity), source, place, Line(on, by, note, ref))


@transaction.atomic
def move(  # noqa: PLR0913 - what a line of the ledger says
    *,
    lot: Lot,
    quantity: Decimal,
    source: Place,
    target: Place,
    on: date,
    by: Member,
    note: str = "",
    ref: str = "",
) -> Movement:
    """Carry `quantity` of a lot from one storage place to another."""
    allow(by, "use_stock", lot, source, target)
    if source.pk == target.pk:
        raise BadPlace(f"{source.path} is where it lies already: name another place")
    return _post(_locked(lot), positive(quantity), source, target, Line(on, by, note, ref))


@transaction.atomic
def use(  # noqa: PLR0913 - what a line of the ledger says
    *,
    lot: Lot,
    quantity: Decimal,
    place: Place,
    on: date,
    by: Member,
    ref: str = "",
    step_ref: str = "",
    note: str = "",
) -> Movement:
    """Use up `quantity` of a lot from storage, on the day `on`. What is set aside for `step_ref` is drawn down by it.

    Refuses by `NotUsable` a lot that isn't good, can't serve on that day or has no known end of life where it must have one; by
    `NotEnough` more than the place holds; by `SetAsideForOthers` what other steps need of it.
    """
    allow(by, "use_stock", lot, place)
    target, quantity = end_place(lot.workshop, End.USED), positive(quantity)
    locked = _locked(lot)
    refuse_unusable(locked, on)
    movement = _post(locked, quantity, place, target, Line(on, by, note, ref))
    refuse_set_aside(locked, quantity, queries.on_hand(locked), queries.set_aside_for_others(locked, step_ref))
    _draw_down(locked, step_ref, quantity, by)
    return movement


@transaction.atomic
def scrap(  # noqa: PLR0913 - what a line of the ledger says
    *,
    lot: Lot,
    quantity: Decimal,
    place: Place,
    on: date,
    by: Member,
    note: str = "",
    ref: str = "",
) -> Movement:
    """Throw `quantity` of a lot away, whatever its state. What is gone is gone: set-asides may then exceed what is on hand."""
    allow(by, "keep_stock", lot, place)
    target = end_place(lot.workshop, End.SCRAPPED)
    return _post(_locked(lot), positive(quantity), place, target, Line(on, by, note, ref))


@transaction.atomic
def lose(  # noqa: PLR0913 - what a line of the ledger says
    *,
    lot: Lot,
    quantity: Decimal,
    place: Place,
    on: date,
    by: Member,
    note: str = "",
    ref: str = "",
) -> Movement:
    """Write off `quantity` of a lot that nobody finds, whatever its state. Set-asides may then exceed what is on hand."""
    allow(by, "keep_stock", lot, place)
    target = end_place(lot.workshop, End.LOST)
    return _post(_locked(lot), positive(quantity), place, target, Line(on, by, note, ref))


@transaction.atomic
def hand_over(  # noqa: PLR0913 - what a line of the ledger says
    *,
    lot: Lot,
    quantity: Decimal,
    source: Place,
    target: Place,
    on: date,
    by: Member,
    note: str = "",
    ref: str = "",
) -> Movement:
    """Carry `quantity` of a lot into somebody's hands, or out of them: to a storage place, to `lost` or to `scrapped`.

    For the pool alone: it keeps the loan that this belongs to, and has asked who may. Into hands goes only what is usable that day.
    """
    policy.own(by, lot, source, target)
    if (source.hands_id is None) == (target.hands_id is None):
        raise BadPlace(f"a loan goes into somebody's hands or out of them, and not from {source.path} to {target.path}")
    refuse_end(source)
    if target.end not in {End.STORAGE, End.LOST, End.SCRAPPED}:
        refuse_end(target)
    locked = _locked(lot)
    if target.hands_id is not None:
        refuse_unusable(locked, on)
    return _post(locked, positive(quantity), source, target, Line(on, by, note, ref))


@transaction.atomic
def pass_on(  # noqa: PLR0913 - what lines of the ledger say
    *,
    lot: Lot,
    parts: Sequence[tuple[Place, Decimal]],
    bench: Bench,
    on: date,
    by: Member,
    note: str = "",
    ref: str = "",
    at: datetime | None = None,
) -> Lot:
    """Make pieces of a good lot another bench's, each part where it lies; the lot on `bench` that they belong to from now on.

    That lot has the same code, dates, opening, tests and storage: a life neither starts anew nor ends by passing things on. An
    inspector's acceptance is `shelflife`'s to carry over. Refused is what is set aside for steps. That both benches agree is the caller's
    to know.
    """
    policy.require(by, "use_stock")
    policy.own(by, lot, bench, *(place for place, _ in parts))
    Bench.objects.select_for_update(no_key=True).get(pk=bench.pk)  # two that pass at once make one lot
    siblings = list(Lot.objects.filter(bench=bench, item=lot.item_id, code=lot.code))
    locked = lock([lot, *siblings])[lot.pk]
    if locked.state != State.GOOD:
        raise NotUsable(f"{named(locked)} is {locked.state}: only a good lot passes to another bench")
    made = _same_lot(locked, siblings) or _copied(locked, siblings, bench, by)
    passed, line = end_place(lot.workshop, End.PASSED), Line(on, by, note, ref, at)
    for place, quantity in parts:
        refuse_end(place)
        refuse_hands(place)
        _post(locked, positive(quantity), place, passed, line)
        _post(made, quantity, passed, place, line)
    given = sum((quantity for _, quantity in parts), queries.NOTHING)
    refuse_set_aside(locked, given, queries.on_hand(locked), queries.set_aside_for_others(locked, ""))
    return made


_STATED = ("code", "made_on", "made_as", "expires_on", "expires_as", "rounding")
_LIVED = ("opened_on", "state", "passes", "storage_until", "storage_why")


def _same_lot(lot: Lot, siblings: Iterable[Lot]) -> Lot | None:
    """The lot among those of another bench that has gone through the same, where it is one of which that can be told."""
    same = (one for one in siblings if all(getattr(one, name) == getattr(lot, name) for name in (*_STATED, *_LIVED)))
    return None if _apart(lot) else next((one for one in same if not _apart(one)), None)


def _copied(lot: Lot, siblings: Sequence[Lot], bench: Bench, by: Member) -> Lot:
    if lot.code and siblings:
        _refuse_other_dates(siblings, LotData(lot.item_id, lot.code, lot.made, lot.expires))
    made = Lot(workshop_id=lot.workshop_id, bench=bench, item=lot.item, **{name: getattr(lot, name) for name in (*_STATED, *_LIVED)})
    changed_by(made, by).save()
    return made


@transaction.atomic
def adjust(  # noqa: PLR0913 - what a line of the ledger says
    *,
    lot: Lot,
    place: Place,
    counted: Decimal,
    on: date,
    by: Member,
    note: str = "",
    ref: str = "",
) -> Movement | None:
    """Make a holding what was `counted`, 0 included; the difference comes from or goes to the end `counted`. None where it agrees."""
    moved = count_many(counts=[(lot, place, counted)], on=on, by=by, note=note, ref=ref)
    return moved[0] if moved else None


@transaction.atomic
def reverse(*, movement: Movement, on: date, by: Member, note: str = "") -> Movement:
    """Undo a movement by its opposite, once; a reverse itself can't be undone: move the goods instead.

    Refuses by `NotEnough` where the goods have gone on. Whatever has become of the lot since, such as its expiry, doesn't
    matter: the movement should not have been. A set-aside that a use drew down is not restored.
    """
    policy.own(by, movement)
    movement = Movement.objects.select_related("lot__bench", "source", "target").get(pk=movement.pk)
    refuse_hands(movement.source)
    refuse_hands(movement.target)
    policy.require(by, "use_stock" if _by_builders(movement) else "keep_stock", movement.lot.bench)
    locked = _locked(movement.lot)
    _refuse_reversed(movement)
    line = Line(on, by, note, movement.ref)
    return _post(locked, movement.quantity, movement.target, movement.source, line, reverses=movement)


@transaction.atomic
def receive_many(  # noqa: PLR0913 - what lines of the ledger say
    *,
    deliveries: Sequence[tuple[Lot, Place, Decimal]],
    on: date,
    by: Member,
    note: str = "",
    ref: str = "",
    refs: Sequence[str] = (),
) -> list[Movement]:
    """`receive` for each (lot, place, quantity), all of it or nothing. Queries grow with each 500 rows, not with each row.

    `refs` gives each delivery a reference of its own.
    """
    if not deliveries:
        return []
    _allow_many(by, deliveries)
    for _, place, _ in deliveries:
        refuse_hands(place)
    supplier, lots = end_place(by.workshop, End.SUPPLIER), lock(lot for lot, _, _ in deliveries)
    held = held_of(lots)
    changed: dict[tuple[int, int], Decimal] = {}
    movements = []
    for (lot, place, quantity), own_ref in zip(deliveries, refs or [ref] * len(deliveries), strict=True):
        given, spot, line = positive(quantity), (lot.pk, place.pk), Line(on, by, note, own_ref)
        changed[spot] = changed.get(spot, held.get(spot, queries.NOTHING)) + given
        refuse_too_much(lots[lot.pk], place, changed[spot])
        movements.append(line.movement(lots[lot.pk], given, supplier, place))
    return post_many(by, movements, changed)


@transaction.atomic
def count_many(
    *,
    counts: Sequence[tuple[Lot, Place, Decimal]],
    on: date,
    by: Member,
    note: str = "",
    ref: str = "",
) -> list[Movement]:
    """`adjust` for each (lot, place, counted), all of it or nothing; only what differs is moved. One count for each lot and place."""
    if not counts:
        return []
    _allow_many(by, counts)
    _refuse_twice(counts)
    counted, lots = end_place(by.workshop, End.COUNTED), lock(lot for lot, _, _ in counts)
    line, held = Line(on, by, note, ref), held_of(lots)
    changed: dict[tuple[int, int], Decimal] = {}
    movements = []
    for lot, place, quantity in counts:
        spot, found = (lot.pk, place.pk), not_negative(quantity)
        if more := found - held.get(spot, queries.NOTHING):
            refuse_hands(place)  # a count that agrees with the loans changes nothing, and may stand in a file
            source, target = (counted, place) if more > 0 else (place, counted)
            movements.append(line.movement(lots[lot.pk], abs(more), source, target))
            changed[spot] = found
    return post_many(by, movements, changed)


def allow(by: Member, permission: str, lot: Lot, *places: Place) -> None:
    """Raise where the member's role doesn't cover this, a row is another workshop's, or a place is no storage."""
    policy.require(by, permission, lot.bench)
    policy.own(by, lot, *places)
    for place in places:
        refuse_end(place)
        refuse_hands(place)


def _allow_many(by: Member, rows: Sequence[tuple[Lot, Place, Decimal]]) -> None:
    policy.require(by, "keep_stock")
    for lot, place, _ in rows:
        policy.own(by, lot, place)
        refuse_end(place)


def refuse_hands(place: Place) -> None:
    """Raise `BadPlace` where what lies there is lent: the loan must know what becomes of it."""
    if place.hands_id is not None:
        raise BadPlace(f"what lies in {place.path} is lent: take it in first, on the page Club or by a scan, then carry or count it")


def refuse_end(place: Place) -> None:
    """Raise `BadPlace` where nothing can lie."""
    if place.end != End.STORAGE:
        raise BadPlace(f"{place.path} is an end of the ledger, where nothing lies: name a storage place")


def _refuse_twice(counts: Sequence[tuple[Lot, Place, Decimal]]) -> None:
    seen = Counter((lot.pk, place.pk) for lot, place, _ in counts)
    for lot, place, _ in counts:
        if seen[lot.pk, place.pk] > 1:
            raise BadQuantity(f"{named(lot)} in {place.path} is counted twice: add the counts up")


def refuse_unusable(lot: Lot, on: date) -> None:
    """Raise `NotUsable` for a lot that isn't good, can't serve on that day or has no known end of life where it must have one."""
    if lot.state != State.GOOD:
        raise NotUsable(f"{named(lot)} is {lot.state}: only a good lot is used")
    try:
        reason = calc.why_not(queries.rule_of(lot.item), queries.life_of(lot), on)
    except ValueError as error:
        raise BadDates(f"{named(lot)}: {error}") from error
    if reason:
        raise NotUsable(f"{named(lot)} {reason}. {what_lifts(lot)}")


def what_lifts(lot: Lot) -> str:
    """What would let a lot be used whose life has ended or isn't known, as a sentence."""
    return calc.lifts(queries.rule_of(lot.item), queries.life_of(lot))


def refuse_set_aside(lot: Lot, used: Decimal, left: Decimal, others: Decimal) -> None:
    """Raise `SetAsideForOthers` where what is `left` after a use doesn't cover what others hold."""
    if left < others:
        unit, there = lot.item.unit, left + used
        free = max(there - others, queries.NOTHING)
        raise SetAsideForOthers(
            f"{named(lot)}: of {plain(there)} {unit} on hand {plain(others)} {unit} are set aside for other steps, "
            f"so {plain(free)} {unit} are free and not {plain(used)}",
        )


def _draw_down(lot: Lot, step_ref: str, used: Decimal, by: Member) -> None:
    row = SetAside.objects.filter(lot=lot, ref=step_ref).first() if step_ref else None
    if row is None:
        return
    changed_by(row, by)
    if row.quantity <= used:
        row.delete()
        return
    row.quantity -= used
    row.save(update_fields=["quantity"])


def _by_builders(movement: Movement) -> bool:
    """Whether builders make such movements, and so may take them back: uses, and moves within storage."""
    return movement.source.end == End.STORAGE and movement.target.end in {End.STORAGE, End.USED}


def _refuse_reversed(movement: Movement) -> None:
    if End.PASSED in {movement.source.end, movement.target.end}:
        raise PassedOn("this passed from bench to bench: undone on one side alone it would be there twice or not at all. Pass it back")
    if movement.reverses_id is not None:
        raise AlreadyReversed("this movement undoes another one: move the goods instead")
    undone = Movement.objects.filter(reverses=movement).first()
    if undone is not None:
        raise AlreadyReversed(f"this movement was reversed on {undone.on} already")


def _post(  # noqa: PLR0913 - private: from where to where, and what is said of it
    lot: Lot,
    quantity: Decimal,
    source: Place,
    target: Place,
    line: Line,
    reverses: Movement | None = None,
) -> Movement:
    """Write one line of the ledger and change both holdings. `lot` is locked."""
    if source.end == End.STORAGE:
        _take(lot, source, quantity)
    if target.end == End.STORAGE:
        _put(lot, target, quantity)
    movement = line.movement(lot, quantity, source, target, reverses)
    movement.save(force_insert=True)
    return movement


def _take(lot: Lot, place: Place, quantity: Decimal) -> None:
    """Lower a holding. The condition stands in the UPDATE itself: it holds even where an engine has no row locks."""
    enough = Holding.objects.filter(lot=lot, place=place, quantity__gte=quantity)
    if enough.update(quantity=F("quantity") - _amount(quantity)):
        return
    there = Holding.objects.filter(lot=lot, place=place).values_list("quantity", flat=True).first() or queries.NOTHING
    raise not_enough(lot, place, there, quantity)


def not_enough(lot: Lot, place: Place, there: Decimal, wanted: Decimal) -> NotEnough:
    """What is said where a place holds less than was to be taken."""
    unit = lot.item.unit
    return NotEnough(f"{named(lot)}: {place.path} holds {plain(there)} {unit}, and {plain(wanted)} {unit} were to be taken")


def _put(lot: Lot, place: Place, quantity: Decimal) -> None:
    there = Holding.objects.filter(lot=lot, place=place)
    if there.filter(quantity__lte=LIMIT - quantity).update(quantity=F("quantity") + _amount(quantity)):
        return
    held = there.values_list("quantity", flat=True).first()
    refuse_too_much(lot, place, (held or queries.NOTHING) + quantity)
    Holding.objects.create(workshop_id=lot.workshop_id, lot=lot, place=place, quantity=quantity)


def _amount(quantity: Decimal) -> Value:
    return Value(quantity, output_field=QuantityField())  # a bare Decimal would be subtracted from thousandths


def refuse_too_much(lot: Lot, place: Place, total: Decimal) -> None:
    """Raise `BadQuantity` where a place would hold more than a row can keep."""
    if total > LIMIT:
        raise BadQuantity(f"{named(lot)}: {place.path} would hold {plain(total)} {lot.item.unit}, past 10^12: check the quantity")


def held_of(lots: Iterable[int]) -> dict[tuple[int, int], Decimal]:
    """What each place holds of locked lots, by lot and place. One query for each 500."""
    found: dict[tuple[int, int], Decimal] = {}
    for batch in batches(lots):
        rows = Holding.objects.filter(lot_id__in=batch).values_list("lot_id", "place_id", "quantity")
        found.update(((lot, place), quantity) for lot, place, quantity in rows)
    return found


def post_many(by: Member, movements: list[Movement], changed: Mapping[tuple[int, int], Decimal]) -> list[Movement]:
    """Write many lines and what the holdings then are. The lots are locked, so what was read of them still holds."""
    rows = [
        Holding(workshop_id=by.workshop_id, lot_id=lot, place_id=place, quantity=quantity) for (lot, place), quantity in changed.items()
    ]
    Holding.objects.bulk_create(
        rows,
        batch_size=BATCH,
        update_conflicts=True,
        unique_fields=["lot", "place"],
        update_fields=["quantity"],
    )
    return Movement.objects.bulk_create(movements, batch_size=BATCH)


# Set-asides


@transaction.atomic
def set_aside(*, lot: Lot, ref: str, quantity: Decimal, by: Member) -> SetAside:
    """Hold `quantity` of a good lot for the step `ref`, instead of what it held for it before.

    Refuses more than is on hand and not held for others. A later count or scrapping may leave less on hand than is set aside.
    """
    policy.require(by, "plan", lot.bench)
    policy.own(by, lot)
    ref, quantity = filled("reference", ref, MOST_REF), positive(quantity)
    locked = _locked(lot)
    if locked.state != State.GOOD:
        raise NotUsable(f"{named(locked)} is {locked.state}: only a good lot is set aside")
    _refuse_beyond(locked, ref, quantity)
    row = SetAside.objects.filter(lot=locked, ref=ref).first() or SetAside(workshop_id=lot.workshop_id, lot=locked, ref=ref)
    row.quantity = quantity
    changed_by(row, by).save()
    return row


@transaction.atomic
def release(*, lot: Lot, ref: str, by: Member) -> bool:
    """Give back what is set aside of a lot for the step `ref`; whether anything was."""
    policy.require(by, "plan", lot.bench)
    policy.own(by, lot)
    row = SetAside.objects.filter(lot=_locked(lot), ref=ref).first()
    if row is None:
        return False
    changed_by(row, by).delete()
    return True


def _refuse_beyond(lot: Lot, ref: str, quantity: Decimal) -> None:
    there, others = queries.on_hand(lot), queries.set_aside_for_others(lot, ref)
    if others + quantity > there:
        unit, free = lot.item.unit, max(there - others, queries.NOTHING)
        raise NotEnough(
            f"{named(lot)}: {plain(there)} {unit} on hand, {plain(others)} {unit} of it set aside for other steps: "
            f"{plain(free)} {unit} are free and not {plain(quantity)}",
        )
