"""Writing the list of a section, who ticked what, and that it is closed up or open again."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction

from buildplan.closeup import queries
from buildplan.closeup.knowing import known
from buildplan.closeup.models import Closing, GatePoint, GateTick
from buildplan.closeup.problems import AlreadyClosed, InspectorTicks, KeyUsed, NoSuchPoint, NotClosed, NotReady, ThereAlready
from buildplan.closeup.queries import PointRow
from buildplan.closeup.starting import START, Fact
from buildplan.logbook.services import may_sign
from buildplan.plan.models import Section
from inventory.common.history import assign, changed_by, create_many, update_many
from inventory.common.problems import FieldProblem
from inventory.common.texts import filled, optional
from inventory.models import Member
from inventory.workshop import policy

MOST_TEXT = 200
MOST_NOTE = 400
MOST_POINTS = 60  # of one list: a figure of ours
MOST_SAID = 400


@dataclass(frozen=True, slots=True)
class Edit:
    """A point of the list as it is to be: `name` is that of one that is there, blank for a new one. `drop` takes it off."""

    text: str
    name: str = ""
    position: int | None = None
    drop: bool = False


@transaction.atomic
def edit_list(*, section: Section, edits: Sequence[Edit], by: Member, now: datetime) -> Section:
    """Change the list of a section: texts, their order, new points, points taken off. What isn't named stays as it is.

    A new point with the text of one that is there is that one, so that sending it again adds none. A closing that stands keeps its list.
    """
    policy.require(by, "plan", section.project.bench)
    section = _locked(section)
    rows = {row.name: row for row in _started(section, by)}
    for edit in edits:
        if edit.name and edit.name not in rows:
            raise NoSuchPoint("points", f"the list has no point {edit.name} any more: look at it anew")
    kept = _kept(rows, edits)
    _refuse_alike(kept)
    gone = [rows[edit.name] for edit in edits if edit.name and edit.drop]
    _drop(gone, by, now)
    update_many(GatePoint, [row for row in kept if row.pk and row in rows.values()], ["text", "position"], by)
    create_many([row for row in kept if row.pk is None], by)
    return section


def _kept(rows: Mapping[str, GatePoint], edits: Sequence[Edit]) -> list[GatePoint]:
    """The list as it is to be, in order. A taken-off point of the starting list that is added anew is a point like any other."""
    dropped = {edit.name for edit in edits if edit.drop}
    kept = [row for name, row in rows.items() if name not in dropped]
    last = max((row.position for row in rows.values()), default=0)
    there = {row.text.casefold() for row in kept}
    first = next(iter(rows.values()))
    for edit in edits:
        if edit.drop:
            continue
        text = filled("point", edit.text, MOST_TEXT)
        if edit.name:
            assign(rows[edit.name], {"text": text, "position": rows[edit.name].position if edit.position is None else edit.position})
        elif text.casefold() not in there:
            last += 1
            there.add(text.casefold())
            place = last if edit.position is None else edit.position
            kept.append(GatePoint(workshop_id=first.workshop_id, section_id=first.section_id, text=text, position=place))
    if not kept:
        raise FieldProblem("points", "the list would be empty: keep one point at least")
    if len(kept) > MOST_POINTS:
        raise FieldProblem("points", f"the list would have {len(kept)} points: {MOST_POINTS} are the most")
    return kept


def _refuse_alike(rows: Sequence[GatePoint]) -> None:
    seen: set[str] = set()
    for row in rows:
        if row.text.casefold() in seen:
            raise ThereAlready("points", f'"{row.text}" would stand on the list twice')
        seen.add(row.text.casefold())


def _drop(rows: Sequence[GatePoint], by: Member, now: datetime) -> None:
    for row in rows:
        row.dropped_at, row.dropped_by = now, by
    update_many(GatePoint, rows, ["dropped_at", "dropped_by"], by)


@transaction.atomic
def tick(*, section: Section, point: str, by: Member, now: datetime) -> GateTick:
    """Say that a point is so. What the program knows of it then is kept beside it. A point that is ticked stays as it was ticked.

    That the inspector has seen it ticks an inspector, or an owner where nobody is inspector; every other point who writes the log of
    that bench.
    """
    section, row = _point(section, point, by)
    if (standing := _tick_of(row)) is not None:
        return standing
    found = known(section, now).get(row.code) if row.code in set(Fact) else None
    said = found.text[:MOST_SAID] if found else ""
    return GateTick.objects.create(workshop_id=section.workshop_id, point=row, by=by, at=now, said=said)


@transaction.atomic
def untick(*, section: Section, point: str, by: Member, now: datetime) -> None:
    """Take a tick off: it stays as the record that it was. Off already is off."""
    _, row = _point(section, point, by)
    if (standing := _tick_of(row)) is None:
        return
    standing.withdrawn_at, standing.withdrawn_by = now, by
    standing.save(update_fields=["withdrawn_at", "withdrawn_by"])


def _point(section: Section, point: str, by: Member) -> tuple[Section, GatePoint]:
    """The section, locked and open, and the point of a name on its list. Refused for who may not tick it."""
    seen = point == Fact.SEEN
    policy.require(by, "sign_log") if seen else policy.require(by, "write_log", section.project.bench)
    policy.own(by, section)
    if seen and not may_tick_seen(by):
        raise InspectorTicks("that the inspector has seen it ticks an inspector of this workshop: ask one")
    section = _locked(section)
    _refuse_closed(section)
    row = next((one for one in _started(section, by) if one.name == point), None)
    if row is None:
        raise NoSuchPoint("point", f"the list has no point {point} any more: look at it anew")
    return section, row


def may_tick_seen(member: Member) -> bool:
    """Whether a member may say that the inspector has seen it: who signs the log. One query for an owner."""
    return may_sign(member)


@transaction.atomic
def close(  # noqa: PLR0913 - what a closing says
    *, section: Section, reasons: Mapping[str, str], by: Member, now: datetime, key: UUID, note: str = ""
) -> Closing:
    """Close a section up: each point is ticked, or has its reason in `reasons`, by the point's name. The list is kept as it is now.

    What the program knows is kept beside it and hinders nothing. The same `key` again gives the first closing.
    """
    policy.require(by, "close_up", section.project.bench)
    policy.own(by, section)
    section = _locked(section)
    if (made := Closing.objects.filter(key=key).first()) is not None:
        if made.section_id != section.pk:
            raise KeyUsed("this form closed another section before: open it anew")
        return made
    _refuse_closed(section)
    _started(section, by)
    view = queries.gate_view(section, now=now)
    said = _reasons(view.open_points, reasons)
    kept = queries.as_kept(view.points, said, section, by, now)
    note = optional("note", note, MOST_NOTE)
    closing = Closing.objects.create(workshop_id=section.workshop_id, section=section, key=key, kept=kept, note=note, by=by, at=now)
    section.closed_at = now
    changed_by(section, by).save(update_fields=["closed_at"])
    return closing


def _reasons(points: Sequence[PointRow], reasons: Mapping[str, str]) -> dict[str, str]:
    said = {point.name: optional("reason", reasons.get(point.name, ""), MOST_NOTE) for point in points}
    if lacking := [point.text for point in points if not said[point.name]]:
        told = "; ".join(lacking)
        raise NotReady(f"these are neither ticked, nor is it said why not: {told}: tick them, or give the reason for each")
    return said


@transaction.atomic
def reopen(*, section: Section, why: str, by: Member, now: datetime) -> Closing:
    """Open a closed section again, with the reason. The closing stays on record; every tick is taken off, to be looked at anew."""
    policy.require(by, "close_up", section.project.bench)
    policy.own(by, section)
    section = _locked(section)
    closing = _standing(section)
    if closing is None:
        raise NotClosed(f"{section.name} is open: there is nothing to open again")
    closing.reopened_at, closing.reopened_by = now, by
    closing.reopened_why = filled("reason", why, MOST_NOTE)
    closing.save(update_fields=["reopened_at", "reopened_by", "reopened_why"])
    ticks = GateTick.objects.filter(point__section=section, withdrawn_at=None)
    ticks.update(withdrawn_at=now, withdrawn_by=by)
    section.closed_at = None
    changed_by(section, by).save(update_fields=["closed_at"])
    return closing


def _locked(section: Section) -> Section:
    """The section, held until the transaction ends."""
    return Section.objects.select_for_update(no_key=True, of=("self",)).select_related("project__bench__workshop").get(pk=section.pk)


def _started(section: Section, by: Member) -> list[GatePoint]:
    """The points that stand on the list; the first write makes the starting list's rows. The section is locked."""
    rows = list(GatePoint.objects.filter(section=section, dropped_at=None).order_by("position", "pk"))
    if rows:
        return rows
    shared = {"workshop_id": section.workshop_id, "section": section}
    return create_many([GatePoint(**shared, code=one.code, text=one.text, position=at) for at, one in enumerate(START, start=1)], by)


def _tick_of(point: GatePoint) -> GateTick | None:
    return GateTick.objects.filter(point=point, withdrawn_at=None).select_related("by").first()


def _standing(section: Section) -> Closing | None:
    return Closing.objects.filter(section=section, reopened_at=None).select_related("by").first()


def _refuse_closed(section: Section) -> None:
    if (closing := _standing(section)) is not None:
        raise AlreadyClosed(f"{section.name} was closed up by {closing.by.name} on {closing.at:%Y-%m-%d}: open it again to change that")
