"""The only writer of notices, of sweeps for them, of what was looked at, and of the letters."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from buildplan.fitting.kept import put_these
from buildplan.trace import letters, sweeping
from buildplan.trace.models import Notice, NoticeItem, NoticeLetter, Sweep, Task, Where
from buildplan.trace.problems import AlreadyTicked, NoticeInUse, NotOnShelf, NotSwept, NotTicked
from buildplan.trace.sweeping import ToLook
from inventory.claims.calc import as_facts, as_text
from inventory.common.history import assign, changed_by, create_many, update_many
from inventory.common.problems import FieldProblem
from inventory.common.rows import find_or_make
from inventory.common.texts import filled, optional
from inventory.models import Item, Lot, Member, Workshop
from inventory.stock import services as stock
from inventory.stock.models import State
from inventory.workshop import policy

MOST_REFERENCE, MOST_MAKER, MOST_TITLE, MOST_TEXT, MOST_NOTE, MOST_OUTCOME, MOST_CODE = 80, 120, 200, 8000, 400, 300, 80
QUARANTINED = "put into quarantine"
MOST_CODES, MOST_ITEMS = 200, 100


@dataclass(frozen=True, slots=True)
class NoticeData:
    """What a notice says, as it is entered."""

    reference: str
    title: str
    text: str
    issued_on: date
    maker: str = ""
    codes: Sequence[str] = ()
    made_from: date | None = None
    made_to: date | None = None
    packed_from: date | None = None
    packed_to: date | None = None
    note: str = ""


@transaction.atomic
def add_notice(*, workshop: Workshop, said: NoticeData, items: Collection[Item], key: UUID, by: Member) -> Notice:
    """Write down a maker's notice. The same `key` again gives the first one."""
    policy.own(by, workshop, *items)
    policy.require(by, "notices")

    def known() -> Notice | None:
        return Notice.objects.filter(key=key).first()

    if (there := known()) is not None:
        return there
    row = Notice(workshop=workshop, key=key, by=by, **_checked(said, items))
    made, new = find_or_make(known, lambda: _saved(row, by))
    if new:
        _put_items(made, items, by)
    return made


@transaction.atomic
def edit_notice(*, notice: Notice, said: NoticeData, items: Collection[Item], by: Member) -> Notice:
    """Say anew what a notice says. What was found stays until the next sweep, which finds by the new words."""
    policy.own(by, notice, *items)
    policy.require(by, "notices")
    row = Notice.objects.select_for_update(no_key=True).get(pk=notice.pk)
    if assign(row, _checked(said, items)):
        changed_by(row, by).save()
    _put_items(row, items, by)
    return row


@transaction.atomic
def remove_notice(*, notice: Notice, by: Member) -> None:
    """Remove a notice that was entered by mistake, with its sweeps. Refused where somebody looked at something, or a letter went out."""
    policy.own(by, notice)
    policy.require(by, "notices")
    row = Notice.objects.select_for_update().get(pk=notice.pk)
    if row.letters.exists():
        raise NoticeInUse(f"notice {row.reference} stays: letters of it were written")
    if row.tasks.exclude(ticked_at=None).exists():
        raise NoticeInUse(f"notice {row.reference} stays: what was looked at because of it is on record")
    for task in row.tasks.all():
        changed_by(task, by).delete()
    for named in row.items.all():
        changed_by(named, by).delete()
    changed_by(row, by).delete()


def _saved(row: Notice, by: Member) -> Notice:
    changed_by(row, by).save()
    return row


def _checked(said: NoticeData, items: Collection[Item]) -> dict[str, Any]:
    codes = list(dict.fromkeys(filled("lot code", code, MOST_CODE) for code in said.codes if code.strip()))
    if not items and not codes:
        raise FieldProblem("items", "say what it is about: an item of the catalogue, or the maker's lot codes")
    if len(codes) > MOST_CODES or len(items) > MOST_ITEMS:
        raise FieldProblem("codes", f"at most {MOST_CODES} lot codes and {MOST_ITEMS} items: write the rest as a second notice")
    for what in ("made", "packed"):
        first, last = getattr(said, f"{what}_from"), getattr(said, f"{what}_to")
        if first and last and last < first:
            raise FieldProblem(f"{what}_to", f"{what} up to {last} is before {what} from {first}: put one of the two right")
    text = "\n".join(line.rstrip() for line in said.text.strip().splitlines())
    if not text or len(text) > MOST_TEXT:
        raise FieldProblem("text", f"write down what the notice says, in at most {MOST_TEXT} characters")
    return {
        "reference": filled("number of the notice", said.reference, MOST_REFERENCE),
        "maker": optional("maker", said.maker, MOST_MAKER),
        "title": filled("title", said.title, MOST_TITLE),
        "text": text,
        "issued_on": said.issued_on,
        "codes": codes,
        "note": optional("note", said.note, MOST_NOTE),
        **{name: getattr(said, name) for name in ("made_from", "made_to", "packed_from", "packed_to")},
    }


def _put_items(notice: Notice, items: Collection[Item], by: Member) -> None:
    present = {row.item_id: row for row in NoticeItem.objects.filter(notice=notice)}
    shared = {"workshop_id": notice.workshop_id, "notice_id": notice.pk}
    put_these(NoticeItem, present, {item.pk: {**shared, "item_id": item.pk} for item in items}, by)


# Sweeps


@transaction.atomic
def sweep(*, notice: Notice, by: Member, now: datetime) -> Sweep:
    """Look through all benches and aeroplanes for what a notice means, and put what is new on its work list.

    What an earlier sweep found keeps its tick; what is not found any more stays on the list, as no longer found.
    """
    policy.own(by, notice)
    policy.require(by, "notices")
    row = Notice.objects.select_for_update(no_key=True).get(pk=notice.pk)
    found = sweeping.sweep(row)
    number = row.sweeps.count() + 1
    made = Sweep.objects.create(workshop_id=row.workshop_id, notice=row, number=number, counts=found.counts, by=by, at=now)
    known = {task.subject: task for task in Task.objects.filter(notice=row)}
    new = [one for one in found.to_look if one.subject not in known]
    create_many([_task(row, made, one) for one in new], by)
    again = [(known[one.subject], one) for one in found.to_look if one.subject in known]
    for task, one in again:
        assign(task, {**_told(one), "last_id": made.pk})
    if again:
        update_many(Task, [task for task, _ in again], TOLD, by)
    return made


TOLD = ("where", "verdict", "text", "facts", "reasons", "bench", "holder", "last")  # what a sweep says of a task anew


def _told(one: ToLook) -> dict[str, Any]:
    reasons = [{"text": reason.text, "source": reason.source} for reason in one.reasons]
    said = {"where": str(one.where), "verdict": one.verdict.value, "text": one.text, "facts": dict(one.facts), "reasons": reasons}
    return {**said, "bench_id": one.bench_id, "holder_id": one.holder_id}


def _task(notice: Notice, made: Sweep, one: ToLook) -> Task:
    ids = {"lot_id": one.lot_id, "place_id": one.place_id, "step_id": one.step_id, "line_id": one.line_id}
    return Task(workshop_id=notice.workshop_id, notice=notice, subject=one.subject, first=made, last=made, **ids, **_told(one))


# What was looked at


@transaction.atomic
def tick(*, task: Task, outcome: str, by: Member, now: datetime) -> Task:
    """Write down that somebody looked at it, and what came of it. Builders do so at their bench."""
    row = _locked(task, by)
    if row.ticked_at is not None:
        day, who = timezone.localdate(row.ticked_at), row.ticked_by.name if row.ticked_by else "somebody"
        raise AlreadyTicked(f"{who} looked at it on {day}: {row.outcome}. Take that back first to write something else")
    return _ticked(row, filled("what came of it", outcome, MOST_OUTCOME), by, now)


def _ticked(row: Task, outcome: str, by: Member, now: datetime) -> Task:
    row.ticked_at, row.ticked_by, row.ticked_as, row.outcome = now, by, row.verdict, outcome
    changed_by(row, by).save(update_fields=["ticked_at", "ticked_by", "ticked_as", "outcome"])
    return row


@transaction.atomic
def untick(*, task: Task, by: Member) -> Task:
    """Take a tick back; its history keeps it."""
    row = _locked(task, by)
    if row.ticked_at is None:
        raise NotTicked("nobody has ticked it: there is nothing to take back")
    return _unticked(row, by)


def _unticked(row: Task, by: Member) -> Task:
    row.ticked_at, row.ticked_by, row.ticked_as, row.outcome = None, None, "", ""
    changed_by(row, by).save(update_fields=["ticked_at", "ticked_by", "ticked_as", "outcome"])
    return row


@transaction.atomic
def quarantine(*, task: Task, by: Member, now: datetime) -> Lot:
    """Put the lot that lies on the shelf into quarantine, all of it, and tick every line of the list that is about it there."""
    row = _locked(task, by)
    lot = row.lot
    if row.where != Where.SHELF or lot is None:
        raise NotOnShelf("this is not on a shelf: look at it where it is, and tick it with what came of it")
    if lot.state != State.GOOD:
        raise NotOnShelf(f"{stock.named(lot)} is {lot.state} already: tick the line with what came of it")
    kept = stock.set_state(lot=lot, state=State.QUARANTINED, by=by, note=f"notice {row.notice.reference}"[:100])
    same = Task.objects.select_for_update(no_key=True).filter(notice=row.notice_id, lot=lot, where=Where.SHELF, ticked_at=None)
    for one in same.order_by("pk"):
        _ticked(one, QUARANTINED, by, now)
    return kept


@transaction.atomic
def release(*, task: Task, by: Member) -> Lot:
    """Take a quarantine back that was pressed by mistake: the lot is good again, and its lines are to be looked at."""
    row = _locked(task, by)
    if row.lot is None or row.outcome != QUARANTINED or row.lot.state != State.QUARANTINED:
        raise NotTicked("it was not put into quarantine from here, or has been judged since: judge the lot on its own page")
    kept = stock.set_state(lot=row.lot, state=State.GOOD, by=by, note=f"notice {row.notice.reference}: taken back"[:100])
    same = Task.objects.select_for_update(no_key=True).filter(notice=row.notice_id, lot=row.lot, outcome=QUARANTINED)
    for one in same.order_by("pk"):
        _unticked(one, by)
    return kept


def _locked(task: Task, by: Member) -> Task:
    policy.own(by, task)
    rows = Task.objects.select_for_update(no_key=True, of=("self",))
    row = rows.select_related("bench", "notice", "ticked_by", "lot__item", "lot__bench").get(pk=task.pk)
    policy.require(by, "look_into", row.bench)
    return row


# Letters


@transaction.atomic
def write_letters(*, notice: Notice, by: Member, now: datetime) -> list[NoticeLetter]:
    """Write to each member whom the last sweep concerns, once a sweep: written again it gives the letters that are there."""
    policy.own(by, notice)
    policy.require(by, "notices")
    row = Notice.objects.select_for_update(no_key=True).get(pk=notice.pk)
    last = row.sweeps.order_by("-number").first()
    if last is None:
        raise NotSwept(f"sweep for notice {row.reference} first: a letter tells what was found")
    there = {letter.member_id: letter for letter in NoticeLetter.objects.filter(sweep=last)}
    of_members = letters.concerned(Task.objects.filter(notice=row, last=last).order_by("pk"))
    members = Member.objects.select_related("workshop").in_bulk(list(of_members))
    for pk, tasks in of_members.items():
        if pk not in there:
            there[pk] = _letter(row, last, members[pk], tasks, by, now)
    return sorted(there.values(), key=lambda letter: letter.pk)


def _letter(notice: Notice, last: Sweep, to: Member, tasks: Sequence[Task], by: Member, now: datetime) -> NoticeLetter:  # noqa: PLR0913
    made = letters.compose(notice, tasks, to=to, on=timezone.localdate(now), by=by)
    said: Mapping[str, Any] = {"text": as_text(made), "facts": as_facts(made), "by": by, "at": now}
    return NoticeLetter.objects.create(workshop_id=notice.workshop_id, notice=notice, sweep=last, member=to, **said)
