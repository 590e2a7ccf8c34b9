"""The only writers of the builder's log: entries with their hours, photos of entries and steps, signatures.

Locks: the entry, or the step that is signed. An entry is looked at once it is locked, so that nobody changes what another signs.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet

from buildplan.logbook import queries
from buildplan.logbook.calc import MOST_MINUTES, prose
from buildplan.logbook.keeping import STRUCK, seen_text
from buildplan.logbook.models import LogEntry, LogHours, Signature
from buildplan.plan.calc import step_ref
from buildplan.plan.models import Project, Step
from inventory.common.history import assign, changed_by
from inventory.common.problems import FieldProblem, Problem
from inventory.common.rows import find_or_make
from inventory.common.texts import filled, optional
from inventory.models import Member, Photo
from inventory.photos import services as photos
from inventory.photos.services import Picture
from inventory.workshop import policy
from inventory.workshop.models import Role

MOST_TEXT = 4000
MOST_NAME = 120
MOST_WHY = 200
MOST_LICENCE = 120
MOST_STATEMENT = 400
MOST_PEOPLE = 30
HOURS = "its hours too"  # what the history says of a change; the hours' own history has the figures
STATEMENT = "I have seen the work that this tells of."


class KeyUsed(Problem):
    """A form's key that stands for something else already."""

    status = 409
    title = "This form was used before"


class SeenAlready(Problem):
    """An entry that somebody signed changes no more."""

    status = 409
    title = "Seen and signed"


class Struck(Problem):
    """An entry that was struck out is a record: nothing more is done with it."""

    status = 409
    title = "Struck out"


class InspectorHere(Problem):
    """An owner signs only where nobody is inspector."""

    status = 409
    title = "An inspector signs here"


class SignedAlready(Problem):
    """Somebody signs a thing once; withdrawn, they may sign it again."""

    status = 409
    title = "Signed already"


class OthersSignature(Problem):
    """A signature is its signer's own."""

    status = 409
    title = "Somebody else signed"


@dataclass(frozen=True, slots=True)
class Worked:
    """How long somebody worked: a member, or a helper by name."""

    minutes: int
    member: Member | None = None
    name: str = ""


@transaction.atomic
def write_entry(  # noqa: PLR0913 - what an entry says
    *,
    project: Project,
    on: date,
    text: str,
    key: UUID,
    by: Member,
    today: date,
    step: Step | None = None,
    hours: Sequence[Worked] = (),
) -> LogEntry:
    """Write down what was done on a day, of `step` or of the project in general. A key that is known gives its entry, as it is now."""
    policy.require(by, "write_log", project.bench)
    policy.own(by, project)
    if step is not None and step.project_id != project.pk:
        raise FieldProblem("step", f"{step.code} is no step of {project.code}")
    said = {"on": _day(on, today), "text": _text(text)}
    worked = _checked(hours, by)

    def make() -> LogEntry:
        entry = LogEntry(workshop_id=project.workshop_id, project=project, step=step, key=key, by=by, **said)
        changed_by(entry, by).save(force_insert=True)
        _put_hours(entry, worked, by)
        return entry

    found, _ = find_or_make(lambda: LogEntry.objects.filter(key=key).first(), make)
    if found.project_id != project.pk:
        raise KeyUsed("this form wrote an entry of another project before: open it anew")
    return found


@transaction.atomic
def change_entry(  # noqa: PLR0913 - what an entry says
    *,
    entry: LogEntry,
    on: date,
    text: str,
    hours: Sequence[Worked],
    by: Member,
    today: date,
) -> LogEntry:
    """Correct an entry; its history keeps what it said before. Refused once it is signed, or struck out."""
    policy.require(by, "write_log", entry.project.bench)
    entry = _open_entry(entry)
    differs = assign(entry, {"on": _day(on, today), "text": _text(text)})
    worked = _put_hours(entry, _checked(hours, by), by)
    if differs or worked:
        changed_by(entry, by, HOURS if worked else "").save(update_fields=["on", "text"])
    return entry


@transaction.atomic
def strike_entry(*, entry: LogEntry, why: str, by: Member, now: datetime) -> LogEntry:
    """Strike a mistaken entry out: it stays and can be read, its hours count no more. Refused once it is signed."""
    policy.require(by, "write_log", entry.project.bench)
    entry = _open_entry(entry)
    entry.struck_at, entry.struck_by, entry.struck_why = now, by, _field("why", "reason", why, MOST_WHY)
    changed_by(entry, by).save(update_fields=["struck_at", "struck_by", "struck_why"])
    return entry


def add_photo(*, of: LogEntry | Step, picture: Picture, caption: str, at: datetime, by: Member) -> Photo:
    """Keep a photo of an entry or of a step. Refused for an entry that is signed or struck out: what was seen stays what it was.

    Like all keeping of photos it is a transaction of its own.
    """
    policy.require(by, "write_log", of.project.bench)
    policy.own(by, of)
    if isinstance(of, LogEntry):
        _refuse_closed(LogEntry.objects.get(pk=of.pk))
        return photos.keep(ref=of.ref, picture=picture, caption=caption, at=at, by=by)
    return photos.keep(ref=step_ref(of.pk), picture=picture, caption=caption, at=at, by=by)


@transaction.atomic
def sign(  # noqa: PLR0913 - what a signature says
    *,
    of: LogEntry | Step,
    key: UUID,
    by: Member,
    now: datetime,
    statement: str = STATEMENT,
    licence: str = "",
    name: str = "",
) -> Signature:
    """Say that `by` has seen an entry, or a step, as it stands now. It approves nothing.

    Where the workshop has no inspector an owner signs, and may name who looked at it for them. A key that is known gives its signature.
    """
    policy.require(by, "sign_log")
    policy.own(by, of)
    _refuse_owner_beside_inspector(by)
    if (found := Signature.objects.filter(key=key).first()) is not None:
        if of.pk not in {found.entry_id, found.step_id}:
            raise KeyUsed("this form signed something else before: open it anew")
        return found
    of = _locked(of)
    where = {"step": of} if isinstance(of, Step) else {"entry": of}
    if (before := Signature.objects.filter(**where, by=by, withdrawn_at=None).first()) is not None:
        raise SignedAlready(f"{before.name} signed this on {before.at:%Y-%m-%d} already: to sign it anew, withdraw that first")
    signature = Signature(workshop_id=by.workshop_id, key=key, by=by, at=now, role=by.role, seen=queries.as_seen(of), **where)
    signature.name = by.name if by.role == Role.INSPECTOR else _field("name", "name", name or by.name, MOST_NAME)
    signature.licence = _optional("licence", "licence", licence, MOST_LICENCE)
    signature.statement = _field("statement", "statement", statement, MOST_STATEMENT)
    changed_by(signature, by).save(force_insert=True)
    return signature


@transaction.atomic
def withdraw(*, signature: Signature, why: str, by: Member, now: datetime) -> Signature:
    """Take a signature back, with the reason: it stays on record. Whoever signed does; once they are gone, an owner. Twice is once."""
    policy.require(by, "sign_log")
    policy.own(by, signature)
    signature = Signature.objects.select_for_update(of=("self",)).select_related("by").get(pk=signature.pk)
    if signature.withdrawn_at is not None:
        return signature
    if signature.by_id != by.pk and (signature.by.active or by.role != Role.OWNER):
        raise OthersSignature(f"{signature.by.name} signed this: ask them to withdraw it")
    signature.withdrawn_at, signature.withdrawn_by = now, by
    signature.withdrawn_why = _field("why", "reason", why, MOST_WHY)
    changed_by(signature, by).save(update_fields=["withdrawn_at", "withdrawn_by", "withdrawn_why"])
    return signature


def may_sign(member: Member) -> bool:
    """Whether a member signs here: an inspector, or an owner where nobody is inspector. One query for an owner."""
    if not policy.allowed(member, "sign_log"):
        return False
    return member.role == Role.INSPECTOR or not _inspectors().exists()


def _inspectors() -> QuerySet[Member]:
    return Member.objects.filter(role=Role.INSPECTOR, active=True)


def _refuse_owner_beside_inspector(by: Member) -> None:
    if by.role == Role.INSPECTOR:
        return
    if names := " or ".join(_inspectors().order_by("name", "pk").values_list("name", flat=True)):
        raise InspectorHere(f"{names} is inspector here: they sign, an owner only where there is none")


def _locked(of: LogEntry | Step) -> LogEntry | Step:
    """What a signature is of, as it is now, locked until the transaction ends."""
    if isinstance(of, Step):
        return Step.objects.select_for_update(of=("self",)).get(pk=of.pk)
    entry = LogEntry.objects.select_for_update(of=("self",)).get(pk=of.pk)
    if entry.struck_at is not None:
        raise Struck("this entry was struck out: there is nothing to sign")
    return entry


def _open_entry(entry: LogEntry) -> LogEntry:
    """The entry, locked; refused where it may not be changed any more."""
    found = LogEntry.objects.select_for_update(of=("self",)).select_related("project__bench").get(pk=entry.pk)
    _refuse_closed(found)
    return found


def _refuse_closed(entry: LogEntry) -> None:
    if entry.struck_at is not None:
        raise Struck(STRUCK)
    signature = Signature.objects.filter(entry=entry, withdrawn_at=None).first()
    if signature is not None:
        raise SeenAlready(seen_text(signature.name, signature.at))


def _checked(hours: Sequence[Worked], by: Member) -> list[Worked]:
    """Each within a day, each person once."""
    if len(hours) > MOST_PEOPLE:
        raise FieldProblem("hours", f"{len(hours)} people are more than {MOST_PEOPLE}, the most of one entry")
    found: dict[object, Worked] = {}
    for one in hours:
        if not 1 <= one.minutes <= MOST_MINUTES:
            raise FieldProblem("hours", f"{one.minutes} minutes: give 1 to {MOST_MINUTES}, an entry is of one day")
        if one.member is not None:
            policy.own(by, one.member)
        kept = one if one.member is not None else Worked(one.minutes, name=_field("hours", "name of a helper", one.name, MOST_NAME))
        who = one.member.pk if one.member is not None else kept.name.casefold()
        if who in found:
            raise FieldProblem("hours", f"{one.member.name if one.member else kept.name} stands twice: give each person's time once")
        found[who] = kept
    return list(found.values())


def _put_hours(entry: LogEntry, wanted: Sequence[Worked], by: Member) -> bool:
    """Make the hours of an entry what is wanted, in place, and say whether any differed."""
    present = {_who(row.member_id, row.name): row for row in LogHours.objects.filter(entry=entry)}
    named = {_who(one.member.pk if one.member else None, one.name): one for one in wanted}
    gone = [row for who, row in present.items() if who not in named]
    for row in gone:
        changed_by(row, by).delete()
    put = [_put_row(present.get(who), one, entry, by) for who, one in named.items()]
    return bool(gone) or any(put)


def _put_row(row: LogHours | None, one: Worked, entry: LogEntry, by: Member) -> bool:
    if row is None:
        row = LogHours(workshop_id=entry.workshop_id, entry=entry, member=one.member, name=one.name)
    if row.minutes == one.minutes:
        return False
    row.minutes = one.minutes
    changed_by(row, by).save()
    return True


def _who(member: int | None, name: str) -> tuple[int | None, str]:
    return member, "" if member is not None else name


def _day(on: date, today: date) -> date:
    if on > today:
        raise FieldProblem("on", f"{on} is still to come: give a day up to {today}")
    return on


def _text(text: str) -> str:
    try:
        return prose(text, MOST_TEXT)
    except ValueError as error:
        raise FieldProblem("text", str(error)) from error


def _field(field: str, what: str, text: str, most: int) -> str:
    try:
        return filled(what, text, most)
    except Problem as error:
        raise FieldProblem(field, str(error)) from error


def _optional(field: str, what: str, text: str, most: int) -> str:
    try:
        return optional(what, text, most)
    except Problem as error:
        raise FieldProblem(field, str(error)) from error
