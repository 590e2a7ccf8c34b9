"""Writing the ledger. A movement and the holdings it changes are one transaction that has locked the lot."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction
from django.db.models import F, Value
from django.utils import timezone

from inventory.common.fields import LIMIT, QuantityField, plain
from inventory.common.history import changed_by
from inventory.common.quantities import BadQuantity, not_negative, part_of_piece, pieces, positive
from inventory.common.rows import BATCH, batches
from inventory.common.texts import optional
from inventory.stock import calc, queries
from inventory.stock.lots import lock, lock_lot, named
from inventory.stock.models import End, Holding, Lot, Movement, Place, SetAside, State
from inventory.stock.places import end_place, refuse_end
from inventory.stock.problems import (
    MOST_NOTE,
    MOST_REF,
    AlreadyReversed,
    BadDates,
    BadPlace,
    CutUp,
    NotEnough,
    NotUsable,
    PassedOn,
    SetAsideForOthers,
)
from inventory.workshop import policy
from inventory.workshop.models import Member


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
    locked = lock_lot(lot)
    return post(locked, pieces(positive(quantity), locked.item), source, place, Line(on, by, note, ref))


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
    locked = lock_lot(lot)
    return post(locked, pieces_of(locked, quantity, source), source, target, Line(on, by, note, ref))


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
    target, locked = end_place(lot.workshop, End.USED), lock_lot(lot)
    quantity = pieces_of(locked, quantity, place)
    refuse_unusable(locked, on)
    movement = post(locked, quantity, place, target, Line(on, by, note, ref))
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
    locked = lock_lot(lot)
    return post(locked, pieces_of(locked, quantity, place), place, target, Line(on, by, note, ref))


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
    locked = lock_lot(lot)
    return post(locked, pieces_of(locked, quantity, place), place, target, Line(on, by, note, ref))


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
    locked = lock_lot(lot)
    if target.hands_id is not None:
        refuse_unusable(locked, on)
    return post(locked, pieces_of(locked, quantity, source), source, target, Line(on, by, note, ref))


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
    pieces(not_negative(counted), lot.item, field="counted")
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
    require_to_reverse(movement, by)
    locked = lock_lot(movement.lot)
    _refuse_reversed(movement)
    line = Line(on, by, note, movement.ref)
    return post(locked, movement.quantity, movement.target, movement.source, line, reverses=movement)


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


def pieces_of(lot: Lot, quantity: Decimal, place: Place) -> Decimal:
    """`quantity` as it may leave a place: whole pieces, or all that lies there, since a file may have said a half."""
    found = positive(quantity)
    if part_of_piece(found, lot.item.unit) and found != _there(lot, place):
        return pieces(found, lot.item)
    return found


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


def require_to_reverse(movement: Movement, by: Member) -> None:
    """Raise where the member may not undo such a movement. It has its lot, bench and both places."""
    policy.require(by, _needed_to_reverse(movement), movement.lot.bench)


def may_reverse(movement: Movement, by: Member) -> bool:
    """Whether the member may, for what offers it."""
    return policy.allowed(by, _needed_to_reverse(movement), movement.lot.bench)


def _needed_to_reverse(movement: Movement) -> str:
    return "use_stock" if _by_builders(movement) else "keep_stock"


def _by_builders(movement: Movement) -> bool:
    """Whether builders make such movements, and so may take them back: uses, and moves within storage."""
    return movement.source.end == End.STORAGE and movement.target.end in {End.STORAGE, End.USED}


def _refuse_reversed(movement: Movement) -> None:
    if End.PASSED in {movement.source.end, movement.target.end}:
        raise PassedOn("this passed from bench to bench: undone on one side alone it would be there twice or not at all. Pass it back")
    if End.CUT in {movement.source.end, movement.target.end}:
        raise CutUp("this was cut: a saw cut isn't undone. Write down what was spoiled on the cut's page, or count what is there")
    if movement.reverses_id is not None:
        raise AlreadyReversed("this movement undoes another one: move the goods instead")
    undone = Movement.objects.filter(reverses=movement).first()
    if undone is not None:
        raise AlreadyReversed(f"this movement was reversed on {undone.on} already")


def post(  # noqa: PLR0913 - from where to where, and what is said of it
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
    raise not_enough(lot, place, _there(lot, place), quantity)


def _there(lot: Lot, place: Place) -> Decimal:
    return Holding.objects.filter(lot=lot, place=place).values_list("quantity", flat=True).first() or queries.NOTHING


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
