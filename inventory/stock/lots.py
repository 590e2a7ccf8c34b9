"""Writing lots: made, dated, judged, opened, removed."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Protocol

from django.db import transaction
from django.db.models import Q

from inventory.catalogue.models import Item
from inventory.catalogue.queries import items_by_id
from inventory.common.history import MOST_WHY, changed_by, create_many
from inventory.common.problems import FieldProblem
from inventory.common.rows import batches, referring
from inventory.common.texts import BadText, optional
from inventory.shelflife.calc import StatedDate, first_day
from inventory.stock import queries
from inventory.stock.models import End, Lot, Movement, State
from inventory.stock.problems import FAILED_BATCH, MOST_CODE, AlreadyOpen, BadDates, LotInUse, NotUsable, OtherDates, StaysFailed
from inventory.workshop import policy
from inventory.workshop.models import Bench, Member


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
        refuse_other_dates(siblings, data)
        made, expires = made or siblings[0].made, expires or siblings[0].expires
        data = LotData(item.pk, data.code, made, expires, opened, state, rounding)
    for lot in siblings:
        if (lot.opened_on, lot.state) == (opened, state) and (lot.made, lot.expires) == (made, expires) and not apart(lot):
            return lot, False
    return make_lots(bench=bench, lots=[data], by=by)[0], True


def apart(lot: Lot) -> bool:
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
            if not apart(lot):
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
    """Judge a lot good, quarantined, disputed or failed. `note` is kept as the reason in its history; to fail a lot takes one.

    A failed lot stays failed, save by an inspector's word with its reason: what failed is not used because somebody corrects a list.
    """
    policy.require(by, "judge_lots", lot.bench)
    note = optional("reason", note, MOST_WHY)
    locked = lock_lot(lot)
    if locked.state == State.FAILED != _checked_state(state):
        _refuse_revival(locked, note, by)
    if state == State.FAILED != locked.state and not note:
        raise FieldProblem("note", f"{named(locked)}: say why it failed, such as a test or what was seen, since nobody may use it any more")
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
    locked = lock_lot(lot)
    state_dates(locked, made, expires)
    _refuse_bad_dates(locked)
    changed_by(locked, by, note).save(update_fields=["made_on", "made_as", "expires_on", "expires_as"])
    return locked


@transaction.atomic
def open_lot(*, lot: Lot, on: date, by: Member, why: str = "") -> Lot:
    """Start the opened life of a lot. Refuses one that is open, so that a second scan can't restart it. `why` is kept in its history."""
    policy.require(by, "use_stock", lot.bench)
    locked = lock_lot(lot)
    if locked.opened_on is not None:
        raise AlreadyOpen(f"{named(locked)} was opened on {locked.opened_on}: its opened life runs from then")
    locked.opened_on = on
    _refuse_bad_dates(locked)
    changed_by(locked, by, why).save(update_fields=["opened_on"])
    return locked


@transaction.atomic
def unopen(*, lot: Lot, whys: Collection[str], because: str, by: Member) -> Lot:
    """Undo an opening of which the history says one of `whys`, where it is the last and nothing that stands was taken of the lot since.

    Nothing happens otherwise: what somebody else opened, or used since, is open. `because` is kept as the reason.
    """
    policy.require(by, "use_stock", lot.bench)
    locked = lock_lot(lot)
    opened = next(iter(queries.openings(locked)), None)
    if locked.opened_on is not None and opened is not None and opened.why in whys and not _taken_since(locked, opened.at):
        locked.opened_on = None
        changed_by(locked, by, because).save(update_fields=["opened_on"])
    return locked


def _taken_since(lot: Lot, at: datetime) -> bool:
    taken = Movement.objects.filter(lot=lot, target__end__in=(End.USED, End.CUT, End.PASSED), at__gte=at)
    return taken.filter(reverses=None, reversed_by=None).exists()


@transaction.atomic
def correct_opened(*, lot: Lot, opened: date | None, note: str, today: date, by: Member) -> Lot:
    """Put right when a lot was opened; None is never. `note` says why, and stays in its history.

    Refused: a day to come, one before it was made, one before it came in. Saying what it says already changes nothing.
    """
    policy.require(by, "keep_stock", lot.bench)
    note = optional("reason", note, MOST_WHY)
    if not note:
        raise FieldProblem("note", "say why it is put right, such as a scan of the wrong tube: it stays in the lot's history")
    locked = lock_lot(lot)
    if opened is not None:
        _refuse_unlikely(locked, opened, today)
    if locked.opened_on != opened:
        locked.opened_on = opened
        _refuse_bad_dates(locked)
        changed_by(locked, by, note).save(update_fields=["opened_on"])
    return locked


def _refuse_unlikely(lot: Lot, opened: date, today: date) -> None:
    if opened > today:
        raise FieldProblem("opened", f"{opened} is still to come: give the day on which it was opened, up to {today}")
    if lot.made is not None and opened < (first := first_day(lot.made)):
        raise FieldProblem("opened", f"{named(lot)} was made {lot.made}: it can't have been opened before {first}")
    if (came := queries.came_on(lot)) is not None and opened < came:
        raise FieldProblem("opened", f"{named(lot)} came in on {came}: it can't have been opened here before that")


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


def lock_lot(lot: Lot) -> Lot:
    """The lot as it is now, held until the transaction ends."""
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


def refuse_other_dates(siblings: Sequence[Lot], data: LotData) -> None:
    """One code has one set of dates."""
    for lot in siblings:
        if data.made not in {None, lot.made} or data.expires not in {None, lot.expires}:
            dates = f"made {lot.made or 'unknown'}, expires {lot.expires or 'unknown'}"
            raise OtherDates(f"{named(lot)} is here with other dates ({dates}): one code has one set of dates")


def _checked_state(state: str) -> str:
    if state not in State.values:
        raise BadText(f"{state!r} is no state of a lot: there are {', '.join(State.values)}")
    return state
