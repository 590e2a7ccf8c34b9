"""The only writer of scans, and of what they do: once for each uuid, however often it is sent."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID, uuid5

from django.db import IntegrityError, OperationalError, connection, transaction
from django.utils import timezone

from inventory.common.fields import plain
from inventory.common.inserts import insert
from inventory.pool import services as pool
from inventory.pool.models import Loan
from inventory.scanning import problems
from inventory.scanning.acting import Done, Order, carry_out, look_up
from inventory.scanning.models import Scan
from inventory.stock.models import Movement
from inventory.tallying import services as tallying
from inventory.tallying.models import Tally
from inventory.workshop import policy
from inventory.workshop.models import Device, Member
from inventory.workshop.services import lock

MOST_SKEW = timedelta(days=1)  # a clock further off was set wrong: what it says of the past can't be corrected by one difference
AHEAD = timedelta(minutes=10)  # how far a scan may lie after it was sent: two clocks of one device
OLDEST = timedelta(days=366)  # no outbox waits longer
TRIES = 12
_AGAIN = frozenset({"40001", "40P01"})  # PostgreSQL: serialization failure, deadlock


@dataclass(frozen=True, slots=True)
class ScanData:
    """One scan as it was sent. `at` is when it was scanned and `device_time` when it was sent, both by the device's clock."""

    uuid: UUID
    code: str
    action: str
    at: datetime
    device_time: datetime
    place: str = ""
    bag: str = ""
    lot: int | None = None
    quantity: Decimal | None = None
    note: str = ""

    def asked(self) -> dict[str, Any]:
        """What is kept of it beside code and action."""
        return {
            "at": self.at.isoformat(),
            "device_time": self.device_time.isoformat(),
            "place": self.place,
            "bag": self.bag,
            "lot": self.lot,
            "quantity": None if self.quantity is None else plain(self.quantity),
            "note": self.note,
        }

    def fingerprint(self) -> str:
        """What tells it from another scan. `device_time` isn't in it: the same scan sent again is sent at another time."""
        asked = {**self.asked(), "at": self.at.timestamp(), "code": self.code, "action": self.action}
        del asked["device_time"]
        return hashlib.sha256(json.dumps(asked, sort_keys=True).encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Answer:
    """What a scan is answered: `body` is what was done, or a problem document."""

    uuid: UUID
    outcome: str
    status: int
    body: dict[str, Any]


def act(*, scans: Sequence[ScanData], by: Member, device: Device | None, now: datetime) -> list[Answer]:
    """Act on each scan, in order; a bad one doesn't spoil the others. An answer for each, in order.

    A uuid that the workshop has had is answered as the first time, and moves nothing. All is written in one transaction: where the
    same uuid came in at the same time, or two batches stood in each other's way, this one is begun anew.
    """
    seen = [(scan, scan.fingerprint()) for scan in scans]
    try:
        return _act(seen, by, device, now)
    except (IntegrityError, OperationalError) as error:
        if not _met_another(error):
            raise
    return _act_in_line(seen, by, device, now)


def _act_in_line(seen: Sequence[tuple[ScanData, str]], by: Member, device: Device | None, now: datetime) -> list[Answer]:
    """Begin anew, one after the other: of all that met others, one at a time can only meet those that come for the first time."""
    for _ in range(TRIES):
        try:
            with transaction.atomic():
                lock(by.workshop)
                return _act(seen, by, device, now)
        except (IntegrityError, OperationalError) as error:
            if not _met_another(error):
                raise
    raise problems.Busy("these scans met others again and again: send them again")


def _met_another(error: Exception) -> bool:
    """Whether another request was at the same uuid, or the same rows."""
    return isinstance(error, IntegrityError) or getattr(error.__cause__, "sqlstate", None) in _AGAIN


def _act(seen: Sequence[tuple[ScanData, str]], by: Member, device: Device | None, now: datetime) -> list[Answer]:
    kept = _kept({scan.uuid for scan, _ in seen}, by)
    fresh: dict[UUID, _Fresh] = {}
    clocks: dict[UUID, Answer] = {}
    for scan, fingerprint in seen:
        if scan.uuid in kept or scan.uuid in fresh or scan.uuid in clocks:
            continue
        try:
            fresh[scan.uuid] = _Fresh(scan, fingerprint, _order(scan, now))
        except problems.WrongClock as problem:
            clocks[scan.uuid] = _clock_answer(scan, problem)
    if fresh:
        kept |= _carry_out(list(fresh.values()), by, device, now)
    return [clocks.get(scan.uuid) or _answer(scan, fingerprint, kept[scan.uuid]) for scan, fingerprint in seen]


@dataclass(frozen=True, slots=True)
class _Fresh:
    """A scan that wasn't seen before."""

    scan: ScanData
    fingerprint: str
    order: Order


@dataclass(frozen=True, slots=True)
class _Kept:
    fingerprint: str
    outcome: str
    status: int
    body: dict[str, Any]


_SEEN = "SELECT uuid, fingerprint, outcome, status, answer FROM {table} WHERE workshop_id = %s AND uuid IN ({marks})"


def _kept(uuids: set[UUID], by: Member) -> dict[UUID, _Kept]:
    """What these were answered, of those that the workshop has had. SQL of our own, for the reason that `inventory.stock.batch` gives."""
    column = Scan._meta.get_field("uuid")  # noqa: SLF001 - Django's documented API
    values = [by.workshop_id, *(column.get_db_prep_value(uuid, connection) for uuid in uuids)]
    with connection.cursor() as cursor:
        cursor.execute(_SEEN.format(table=Scan._meta.db_table, marks=", ".join(["%s"] * len(uuids))), values)  # noqa: SLF001 - likewise
        rows = cursor.fetchall()
    return {_uuid(uuid): _Kept(fingerprint, outcome, status, _object(answer)) for uuid, fingerprint, outcome, status, answer in rows}


def _uuid(value: UUID | str) -> UUID:
    return value if isinstance(value, UUID) else UUID(value)


def _object(value: Any) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(value) if isinstance(value, str) else value
    return found


def _answer(scan: ScanData, seen: str, kept: _Kept) -> Answer:
    if seen == kept.fingerprint:
        return Answer(scan.uuid, kept.outcome, kept.status, kept.body)
    problem = problems.UuidReused("this uuid stood for another scan before: use a new one for each scan. Nothing was done")
    return Answer(scan.uuid, Scan.Outcome.REFUSED, problem.status, problems.as_document(problem))


def _order(scan: ScanData, now: datetime) -> Order:
    """The scan with its time corrected by how far the device's clock was off when it was sent."""
    skew = now - scan.device_time
    if abs(skew) > MOST_SKEW:
        days = abs(skew).days
        years = f", some {days // 365} years" if days >= 2 * 365 else ", about a year" if days >= 300 else ""  # noqa: PLR2004
        way = "behind" if skew > timedelta(0) else "ahead"
        raise problems.WrongClock(
            f"the device's clock is {days} days{years} {way}: it says {scan.device_time:%Y-%m-%d %H:%M}. Set it, then send this again; "
            "nothing was done"
        )
    if scan.at - scan.device_time > AHEAD:
        raise problems.WrongClock("this was scanned after it was sent, by the device's own clock: set the clock, then send this again")
    if scan.device_time - scan.at > OLDEST:
        raise problems.WrongClock(f"this was scanned on {scan.at:%Y-%m-%d}, over a year before it was sent: the clock was wrong then")
    return _order_at(scan, min(scan.at + skew, now))


def _order_at(scan: ScanData, at: datetime) -> Order:
    asked = (scan.place, scan.bag, scan.lot, scan.quantity, scan.note)
    return Order(scan.uuid, scan.code, scan.action, at, timezone.localdate(at), *asked)


def _clock_answer(scan: ScanData, problem: problems.WrongClock) -> Answer:
    """It isn't kept: the same scan sent with the clock put right is then acted on."""
    return Answer(scan.uuid, Scan.Outcome.REFUSED, problem.status, problems.as_document(problem))


def _carry_out(fresh: Sequence[_Fresh], by: Member, device: Device | None, now: datetime) -> dict[UUID, _Kept]:
    orders = [one.order for one in fresh]
    known = look_up(orders, timezone.localdate(now))
    with transaction.atomic():
        done = carry_out(orders=orders, known=known, by=by, now=now)
        kept = {
            one.scan.uuid: _Kept(one.fingerprint, found.outcome, found.status, found.body()) for one, found in zip(fresh, done, strict=True)
        }
        # In one order everywhere: who waits for another's uuid holds none that the other waits for.
        rows = [_row(one, kept[one.scan.uuid]) for one in sorted(fresh, key=lambda one: one.scan.uuid)]
        same = {"workshop_id": by.workshop_id, "member_id": by.pk, "device_id": device.pk if device else None, "received_at": now}
        insert(Scan, same, _COLUMNS, rows)
    return kept


_COLUMNS = ("uuid", "fingerprint", "code", "action", "asked", "at", "outcome", "status", "answer")


def _row(one: _Fresh, kept: _Kept) -> Sequence[Any]:
    scan = one.scan
    asked, at = scan.asked(), one.order.at
    return (scan.uuid, one.fingerprint, scan.code, scan.action, asked, at, str(kept.outcome), kept.status, kept.body)


# Conflicts


@transaction.atomic
def apply(*, scan: Scan, by: Member, now: datetime) -> Scan:
    """Do now what a conflict was kept for: as if it were scanned now, by the person who looked at it.

    What is refused now stays a conflict, and the refusal is raised. The device that asks again is told what became of it.
    """
    scan = _locked_conflict(scan, by)
    order = replace(_order_of(scan), at=now, on=timezone.localdate(now))
    (done,) = carry_out(orders=[order], known=look_up([order], order.on), by=by, now=now)
    if done.outcome != Scan.Outcome.DONE:
        refused = problems.ScanProblem(done.says.get("detail", "this can't be done now"))
        refused.status, refused.title = done.status, done.says["title"]
        raise refused
    return _settle(scan, done, by, now)


@transaction.atomic
def let_go(*, scan: Scan, by: Member, now: datetime) -> Scan:
    """Decide against a conflict: nothing is done, and that is kept."""
    scan = _locked_conflict(scan, by)
    problem = problems.LetGo(f"{by.name} looked at this and let it go on {timezone.localdate(now)}: it was older than a correction")
    return _settle(scan, Done(Scan.Outcome.REFUSED, problem.status, problems.as_document(problem)), by, now)


def _settle(scan: Scan, done: Done, by: Member, now: datetime) -> Scan:
    scan.outcome, scan.status, scan.answer = done.outcome, done.status, done.body()
    scan.settled_at, scan.settled_by = now, by
    scan.save(update_fields=["outcome", "status", "answer", "settled_at", "settled_by"])
    return scan


def _locked_conflict(scan: Scan, by: Member) -> Scan:
    policy.own(by, scan)
    policy.require(by, "tally")
    locked = Scan.objects.select_for_update(no_key=True).get(pk=scan.pk)
    if locked.outcome != Scan.Outcome.CONFLICT:
        raise problems.AlreadySettled("this is no conflict any more: somebody settled it, or it never was one")
    return locked


def _order_of(scan: Scan) -> Order:
    asked = scan.asked
    quantity = None if asked.get("quantity") is None else Decimal(asked["quantity"])
    said = (asked.get("place", ""), asked.get("bag", ""), asked.get("lot"), quantity, asked.get("note", ""))
    return Order(scan.uuid, scan.code, scan.action, scan.at, timezone.localdate(scan.at), *said)


# Undoing


@transaction.atomic
def undo(*, scan: Scan, by: Member, now: datetime) -> Scan:
    """Take back what a scan did, once: its movements are reversed, its tally is undone.

    Refuses a scan that changed nothing, and what can't be taken back: a lot stays open, and a bag lies where it was laid.
    """
    policy.own(by, scan)
    locked = Scan.objects.select_for_update(of=("self",), no_key=True).get(pk=scan.pk)
    if locked.undone_at is not None:
        raise problems.AlreadyUndone(f"this scan was undone on {timezone.localdate(locked.undone_at)} already")
    movements, tally = _effects(locked)
    if not movements and tally is None:
        raise problems.NotUndone(_nothing_to_undo(locked))
    if locked.action in _OF_LOANS:
        _take_back(locked, by, now)
    else:
        for movement in movements:
            tallying.reverse(movement=movement, on=timezone.localdate(now), by=by, note="scan undone")
    if tally is not None:
        tallying.undo(tally=tally, by=by, at=now, request_key=uuid5(locked.uuid, "undo"))
    locked.undone_at, locked.undone_by = now, by
    locked.save(update_fields=["undone_at", "undone_by"])
    return locked


_OF_LOANS = frozenset({"lend", "return"})


def _take_back(scan: Scan, by: Member, now: datetime) -> None:
    """A loan that nothing has come back of comes back as a whole. What was lent and returned really moved, and stays told."""
    loan = Loan.objects.filter(pk=scan.answer.get("loan")).select_related("lot__item", "lot__bench", "member").first()
    if scan.action == "return" or loan is None:
        raise problems.NotUndone("what came back is back: lend it again where it is out after all")
    if loan.open != loan.quantity:
        raise problems.NotUndone("some of it came back already: take in the rest on the loan's page")
    key = uuid5(scan.uuid, f"{scan.workshop_id} undo")
    on, note = timezone.localdate(now), "scan undone"
    pool.take_in(loan=loan, kind="returned", quantity=loan.quantity, note=note, key=key, on=on, by=by, now=now)


def _effects(scan: Scan) -> tuple[list[Movement], Tally | None]:
    if scan.outcome != Scan.Outcome.DONE:
        return [], None
    movements = list(Movement.objects.filter(pk__in=scan.answer.get("movements", [])).order_by("pk"))
    tally = scan.answer.get("tally")
    return movements, Tally.objects.select_related("crate").filter(pk=tally).first() if tally else None


def _nothing_to_undo(scan: Scan) -> str:
    if scan.outcome != Scan.Outcome.DONE:
        return "this scan did nothing: there is nothing to undo"
    if scan.action == "open":
        return "a lot that is open stays open: its opened life runs"
    return "this scan changed nothing in the ledger: there is nothing to undo"
