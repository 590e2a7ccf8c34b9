"""Reads of the builder's log: entries with hours, what their steps took, photos and signatures."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.db.models import Q, QuerySet

from buildplan.logbook.calc import clock
from buildplan.logbook.models import LogEntry, LogHours, Signature, entry_ref
from buildplan.logbook.took import Took, took
from buildplan.plan.calc import step_ref
from buildplan.plan.models import Project, Section, Step
from inventory.common.rows import batches
from inventory.models import Member
from inventory.photos.queries import PhotoRow
from inventory.photos.queries import of as photos_of
from inventory.workshop.models import Role


@dataclass(frozen=True, slots=True)
class HoursRow:
    """Who worked how long. A helper has no member."""

    member_id: int | None
    who: str
    minutes: int

    @property
    def time(self) -> str:
        """As hours and minutes."""
        return clock(self.minutes)


@dataclass(frozen=True, slots=True)
class SignatureRow:
    """Who saw something. `changed` names what stands there otherwise than when it was signed."""

    id: int
    entry_id: int | None
    step_id: int | None
    name: str
    role: str
    licence: str
    statement: str
    seen: Mapping[str, Any]
    by_id: int
    by: str
    at: datetime
    withdrawn_at: datetime | None
    withdrawn_by: str | None
    withdrawn_why: str
    changed: tuple[str, ...] = ()

    @property
    def stands(self) -> bool:
        """It isn't withdrawn."""
        return self.withdrawn_at is None

    @property
    def label(self) -> str:
        """In words, as it stands in files: seen, never approved."""
        licence = f", {self.licence}" if self.licence else ""
        through = f", written down by {self.by}" if self.by != self.name else ""
        back = f"; withdrawn {self.withdrawn_at:%Y-%m-%d}: {self.withdrawn_why}" if self.withdrawn_at else ""
        return f"seen by {self.name} ({Role(self.role).label}{licence}{through}) on {self.at:%Y-%m-%d}: {self.statement}{back}"


@dataclass(frozen=True, slots=True)
class EntryRow:
    """An entry with all that belongs to it. `took` is what its step took, so it is the same for all entries of a step."""

    id: int
    project: str
    section: str
    step_id: int | None
    step: str
    title: str
    on: date
    text: str
    by: str
    at: datetime
    struck_at: datetime | None
    struck_by: str | None
    struck_why: str
    hours: tuple[HoursRow, ...] = ()
    took: tuple[Took, ...] = ()
    photos: tuple[PhotoRow, ...] = ()
    signatures: tuple[SignatureRow, ...] = ()

    @property
    def minutes(self) -> int:
        """Of all people; one that is struck out counts none."""
        return 0 if self.struck_at else sum(row.minutes for row in self.hours)

    @property
    def time(self) -> str:
        """The same as hours and minutes."""
        return clock(self.minutes)

    @property
    def signed(self) -> bool:
        """A signature stands: it changes no more."""
        return any(signature.stands for signature in self.signatures)

    @property
    def open(self) -> bool:
        """It may be changed."""
        return not self.signed and self.struck_at is None


@dataclass(frozen=True, slots=True)
class Asked:
    """Which part of the log. None is all."""

    project: Project | None = None
    section: int | None = None
    first: date | None = None
    last: date | None = None
    member: int | None = None
    step: int | None = None

    def entries(self) -> QuerySet[LogEntry]:
        """The entries, the latest day first."""
        wanted = {
            "project": self.project,
            "step": self.step,
            "step__section": self.section,
            "on__gte": self.first,
            "on__lte": self.last,
            "hours__member": self.member,
        }
        return LogEntry.objects.filter(**{name: value for name, value in wanted.items() if value is not None}).order_by("-on", "-pk")


_ENTRY = (
    *("id", "project__code", "step__section__name", "step_id", "step__code", "step__title", "on", "text", "by__name", "at"),
    *("struck_at", "struck_by__name", "struck_why"),
)
_NAMES = (
    *("id", "project", "section", "step_id", "step", "title", "on", "text", "by", "at"),
    *("struck_at", "struck_by", "struck_why"),
)
_SIGNATURE = (
    *("id", "entry_id", "step_id", "name", "role", "licence", "statement", "seen", "by_id", "by__name", "at"),
    *("withdrawn_at", "withdrawn_by__name", "withdrawn_why"),
)


def entries(step: int, lots: tuple[Took, ...]) -> tuple[EntryRow, ...]:
    """The entries of a step, which took these lots, the first day first. Four queries at most."""
    return rows(LogEntry.objects.filter(step=step).order_by("on", "pk"), lots={step: lots})


def entry(pk: int) -> EntryRow | None:
    """One entry; None where there is none. Seven queries at most."""
    return next(iter(rows(LogEntry.objects.filter(pk=pk))), None)


def rows(
    found: QuerySet[LogEntry] | Sequence[LogEntry], *, with_lots: bool = True, lots: Mapping[int, tuple[Took, ...]] | None = None
) -> tuple[EntryRow, ...]:
    """Entries with all that belongs to them, in their order. Seven queries at most, whatever their number.

    `lots` are what their steps took, where that is known already.
    """
    plain = list(_rows_of(found))
    ids = [row[0] for row in plain]
    if not ids:
        return ()
    hours, signatures = _hours(ids), _signatures(entry__in=ids)
    if lots is None:
        lots = took({row[3] for row in plain if row[3] is not None}) if with_lots else {}
    photos = photos_of(entry_ref(pk) for pk in ids)
    return tuple(_entry(row, hours, lots, photos, signatures) for row in plain)


def _rows_of(found: QuerySet[LogEntry] | Sequence[LogEntry]) -> Iterable[tuple[Any, ...]]:
    if isinstance(found, QuerySet):
        return found.values_list(*_ENTRY)
    order = [one.pk for one in found]
    by_id = {row[0]: row for row in LogEntry.objects.filter(pk__in=order).values_list(*_ENTRY)}
    return [by_id[pk] for pk in order]


def _entry(
    row: tuple[Any, ...],
    hours: Mapping[int, list[HoursRow]],
    lots: Mapping[int, tuple[Took, ...]],
    photos: Mapping[str, list[PhotoRow]],
    signatures: Mapping[int, list[SignatureRow]],
) -> EntryRow:
    pk, _, section, step_id, step, title = row[:6]
    said = dict(zip(_NAMES, row, strict=True)) | {"section": section or "", "step": step or "", "title": title or ""}
    people, took_, kept = tuple(hours.get(pk, ())), lots.get(step_id, ()), tuple(photos.get(entry_ref(pk), ()))
    now = _seen_of(said["on"], said["text"], people, took_, kept)
    signed = tuple(_compared(signature, now) for signature in signatures.get(pk, ()))
    return EntryRow(**said, hours=people, took=took_, photos=kept, signatures=signed)


def _hours(ids: Collection[int]) -> dict[int, list[HoursRow]]:
    found: dict[int, list[HoursRow]] = defaultdict(list)
    columns = ("entry_id", "member_id", "member__name", "name", "minutes")
    for entry_id, member, called, name, minutes in LogHours.objects.filter(entry__in=ids).order_by("pk").values_list(*columns):
        found[entry_id].append(HoursRow(member, called or name, minutes))
    return found


def _signatures(**where: Any) -> dict[int, list[SignatureRow]]:
    """Signatures of entries or of steps, by the id of what they are of. One query."""
    found: dict[int, list[SignatureRow]] = defaultdict(list)
    for row in Signature.objects.filter(**where).order_by("at", "pk").values_list(*_SIGNATURE):
        found[row[1] or row[2]].append(SignatureRow(*row))
    return found


# What is seen when something is signed

WORDS = {
    "on": "the day",
    "text": "the text",
    "hours": "the hours",
    "took": "what it took of stock",
    "photos": "the photos",
    "done": "the finish",
}


def as_seen(of: LogEntry | Step) -> dict[str, Any]:
    """What stands there to be seen: kept with a signature, so that a later change shows."""
    if isinstance(of, Step):
        return _step_seen(of, took([of.pk]).get(of.pk, ()), photos_of([step_ref(of.pk)]).get(step_ref(of.pk), ()))
    hours = tuple(_hours([of.pk]).get(of.pk, ()))
    lots = took([of.step_id]).get(of.step_id, ()) if of.step_id else ()
    return _seen_of(of.on, of.text, hours, lots, photos_of([of.ref]).get(of.ref, ()))


def _seen_of(on: date, text: str, hours: Iterable[HoursRow], lots: Iterable[Took], photos: Iterable[PhotoRow]) -> dict[str, Any]:
    """A member is named by id: who leaves may have their name forgotten."""
    people = [[row.member_id or row.who, row.minutes] for row in hours]
    return {"on": on.isoformat(), "text": text, "hours": sorted(people, key=str), **_kept(lots, photos)}


def _step_seen(step: Step, lots: Iterable[Took], photos: Iterable[PhotoRow]) -> dict[str, Any]:
    done = str(step.done_on or "done") if step.done else ""
    return {"done": done, "text": f"{step.code} {step.title}", **_kept(lots, photos)}


def _kept(lots: Iterable[Took], photos: Iterable[PhotoRow]) -> dict[str, Any]:
    return {"took": sorted(one.label for one in lots), "photos": [photo.id for photo in photos]}


def _compared(signature: SignatureRow, now: Mapping[str, Any]) -> SignatureRow:
    """With what differs from what was seen. Photos that came later are no change of what was there."""
    differs = [name for name, value in now.items() if name != "photos" and signature.seen.get(name) != value]
    if set(signature.seen.get("photos", ())) - set(now["photos"]):
        differs.append("photos")
    return replace(signature, changed=tuple(WORDS[name] for name in differs))


def signature(pk: int) -> SignatureRow:
    """One signature, not compared with what stands there now. One query."""
    return SignatureRow(*Signature.objects.values_list(*_SIGNATURE).get(pk=pk))


def signatures_about(step: Step) -> list[tuple[SignatureRow, date | None]]:
    """Who saw a step or an entry of it, the first first, with the entry's day. One query."""
    found = Signature.objects.filter(Q(step=step) | Q(entry__step=step)).order_by("at", "pk")
    return [(SignatureRow(*row), on) for *row, on in found.values_list(*_SIGNATURE, "entry__on")]


def step_signatures(
    step: Step, signed: Iterable[SignatureRow], lots: Iterable[Took], photos: Iterable[PhotoRow]
) -> tuple[SignatureRow, ...]:
    """Those of these signatures that are of the step as such, compared with what stands there now. No query."""
    now = _step_seen(step, lots, photos)
    return tuple(_compared(one, now) for one in signed if one.step_id == step.pk)


def signatures_of_steps(steps: Collection[int]) -> dict[int, list[SignatureRow]]:
    """Who saw these steps as such. One query."""
    return _signatures(step__in=steps)


def steps_logged(steps: Collection[int]) -> set[int]:
    """Those of some steps that the log tells of, or that somebody signed. Two queries for each 500."""
    found: set[int] = set()
    for batch in batches(steps):
        for model in (LogEntry, Signature):
            found.update(model.objects.filter(step__in=batch).values_list("step_id", flat=True))
    return found


@dataclass(frozen=True, slots=True)
class Version:
    """What an entry said before it was changed."""

    at: datetime
    who: str
    on: date
    text: str
    why: str


def versions(found: LogEntry) -> tuple[Version, ...]:
    """All versions of an entry, the first one first; what is struck out changed nothing of it. One query."""
    rows = found.history.order_by("history_date", "history_id")
    columns = ("history_date", "history_user__name", "on", "text", "history_change_reason")
    return tuple(Version(at, who or "", on, text, why or "") for at, who, on, text, why in rows.values_list(*columns))


def section_choices(project: Project | None) -> list[tuple[int, str]]:
    """Sections to choose from, in plan order; with their project where it isn't one alone. One query."""
    found = Section.objects.order_by("project__code", "position")
    if project is not None:
        return list(found.filter(project=project).values_list("pk", "name"))
    return [(pk, f"{code}: {name}") for pk, code, name in found.values_list("pk", "project__code", "name")]


def people(also: Collection[int] = ()) -> dict[int, str]:
    """The workshop's people by id, by name, and members of these ids. Where two have one name, their numbers stand behind. One query."""
    here = Q(user__isnull=False, active=True) | Q(pk__in=also)
    found = list(Member.objects.filter(here).order_by("name", "pk").values_list("pk", "name"))
    names = [name.casefold() for _, name in found]
    return {pk: name if names.count(name.casefold()) == 1 else f"{name}, no. {pk}" for pk, name in found}
