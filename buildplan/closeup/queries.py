"""Reads of the lists of sections: their points, who ticked them, and what was closed up, each in a fixed number of queries."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Any

from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Subquery, Window
from django.db.models.functions import Coalesce

from buildplan.closeup.knowing import Known, known
from buildplan.closeup.leaks import LeakRow, leaks_of
from buildplan.closeup.models import Closing, GatePoint, GateTick
from buildplan.closeup.starting import START, Fact
from buildplan.plan.models import Project, Section, Step
from inventory.models import Member

MOST_OFF = 60  # ticks that count no more, the latest: a page of ours


class How(StrEnum):
    """How a tick came to count no more."""

    BY_ITSELF = "by_itself"
    REOPENED = "reopened"
    WITH_POINT = "with_point"


@dataclass(frozen=True, slots=True)
class TickRow:
    """Who ticked a point, when, and what the program knew of it then."""

    by_id: int
    by: str
    at: datetime
    said: str


@dataclass(frozen=True, slots=True)
class PointRow:
    """A point of a list. One of the starting list has no row before somebody writes; `known` is None where the program knows nothing."""

    pk: int | None
    name: str
    code: str
    text: str
    position: int
    tick: TickRow | None = None
    known: Known | None = None

    @property
    def turned(self) -> bool:
        """It was ticked, and the program knows something else of it since."""
        return self.tick is not None and self.known is not None and bool(self.tick.said) and self.tick.said != self.known.text

    @property
    def by_inspector(self) -> bool:
        """Only an inspector ticks it, or an owner where nobody is inspector."""
        return self.code == Fact.SEEN


@dataclass(frozen=True, slots=True)
class KeptPoint:
    """A point as it was when its section was closed up: ticked by somebody, or not for a reason."""

    text: str
    code: str
    says: str
    known: str
    by: str
    at: datetime
    why: str

    @property
    def ticked(self) -> bool:
        """Somebody said that it is so."""
        return not self.why


@dataclass(frozen=True, slots=True)
class ClosingRow:
    """A closing with its list as it was."""

    pk: int
    by: str
    at: datetime
    note: str
    points: tuple[KeptPoint, ...]
    steps: tuple[str, ...]
    reopened_at: datetime | None
    reopened_by: str | None
    reopened_why: str


@dataclass(frozen=True, slots=True)
class OffRow:
    """A tick that counts no more: of which point, who ticked it and when, who took it off and when.

    `how` says whether it was taken off by itself, with all others as the section was opened again, or with its point.
    """

    point: str
    by: str
    at: datetime
    said: str
    off_by: str
    off_at: datetime
    how: str


@dataclass(frozen=True, slots=True)
class Off:
    """The latest ticks that count no more, the last one taken off first; `earlier` is how many more there are."""

    rows: tuple[OffRow, ...]
    earlier: int


@dataclass(frozen=True, slots=True)
class GateView:
    """A section with its list, its leak tests, what was closed up before, and the ticks that count no more."""

    section: Section
    points: tuple[PointRow, ...]
    closing: ClosingRow | None
    past: tuple[ClosingRow, ...]
    leaks: tuple[LeakRow, ...]
    off: Off
    started: bool

    @property
    def ticked(self) -> int:
        """How many points are ticked."""
        return sum(point.tick is not None for point in self.points)

    @property
    def open_points(self) -> tuple[PointRow, ...]:
        """Those that nobody ticked."""
        return tuple(point for point in self.points if point.tick is None)


# One section


def gate_view(section: Section, *, now: datetime, with_known: bool = True) -> GateView:
    """One section. Twenty-five queries at most, seven without what the program knows."""
    points = points_of(section)
    found = known(section, now) if with_known else {}
    rows = points or starting()
    closings = closings_of(section)
    return GateView(
        section,
        tuple(_knowing(point, found.get(point.code)) for point in rows),
        next((one for one in closings if one.reopened_at is None), None),
        tuple(one for one in closings if one.reopened_at is not None),
        leaks_of(section),
        off_of(section, closings),
        started=bool(points),
    )


def _knowing(point: PointRow, found: Known | None) -> PointRow:
    return PointRow(point.pk, point.name, point.code, point.text, point.position, point.tick, found)


def starting() -> tuple[PointRow, ...]:
    """The starting list, as it is shown before it has rows."""
    return tuple(PointRow(None, one.code, one.code, one.text, at) for at, one in enumerate(START, start=1))


def points_of(section: Section) -> tuple[PointRow, ...]:
    """The points that stand on a section's list, with their ticks; none where nobody wrote yet. Two queries."""
    rows = list(GatePoint.objects.filter(section=section, dropped_at=None).order_by("position", "pk"))
    ticks = ticks_of(rows)
    return tuple(PointRow(row.pk, row.name, row.code, row.text, row.position, ticks.get(row.pk)) for row in rows)


def ticks_of(points: Sequence[GatePoint]) -> dict[int, TickRow]:
    """The standing ticks of some points, by the point's id. One query."""
    rows = GateTick.objects.filter(point__in=[point.pk for point in points], withdrawn_at=None)
    return {
        point: TickRow(by, name, at, said) for point, by, name, at, said in rows.values_list("point_id", "by_id", "by__name", "at", "said")
    }


def off_of(section: Section, closings: Iterable[ClosingRow] = ()) -> Off:
    """The ticks of a section that were taken off, or went off with their point. One query.

    Opening a section again takes all of its ticks off in one moment, by which its closings tell them.
    """
    reopened = {closing.reopened_at for closing in closings}
    gone = GateTick.objects.filter(point__section=section).exclude(withdrawn_at=None, point__dropped_at=None)
    found = gone.annotate(
        off_at=Coalesce("withdrawn_at", "point__dropped_at"),
        off_by=Coalesce("withdrawn_by__name", "point__dropped_by__name"),
        number=Window(Count("pk")),
    )
    columns = ("point__text", "by__name", "at", "said", "off_by", "off_at", "withdrawn_at", "number")
    rows = list(found.order_by("-off_at", "-pk").values_list(*columns)[:MOST_OFF])
    shown = tuple(
        OffRow(point, by, at, said, off_by, off_at, _how(withdrawn, reopened)) for point, by, at, said, off_by, off_at, withdrawn, _ in rows
    )
    return Off(shown, earlier=rows[0][-1] - len(rows) if rows else 0)


def _how(withdrawn: datetime | None, reopened: Collection[datetime | None]) -> str:
    if withdrawn is None:
        return How.WITH_POINT
    return How.REOPENED if withdrawn in reopened else How.BY_ITSELF


def closings_of(section: Section) -> tuple[ClosingRow, ...]:
    """The closings of a section, the last one first. Two queries."""
    rows = list(Closing.objects.filter(section=section).select_related("by", "reopened_by").order_by("-pk"))
    names = _names({point["by"] for row in rows for point in row.kept["points"]})
    return tuple(_closing(row, names) for row in rows)


def _names(ids: Collection[int]) -> dict[int, str]:
    """A member is kept by id: who leaves may have their name forgotten."""
    return dict(Member.objects.filter(pk__in=ids).values_list("pk", "name")) if ids else {}


def _closing(row: Closing, names: Mapping[int, str]) -> ClosingRow:
    points = tuple(
        KeptPoint(**{**point, "by": names.get(point["by"], ""), "at": datetime.fromisoformat(point["at"])}) for point in row.kept["points"]
    )
    reopened_by = row.reopened_by.name if row.reopened_by else None
    steps = tuple(row.kept["steps"])
    return ClosingRow(row.pk, row.by.name, row.at, row.note, points, steps, row.reopened_at, reopened_by, row.reopened_why)


def as_kept(points: Sequence[PointRow], reasons: Mapping[str, str], section: Section, by: Member, now: datetime) -> dict[str, Any]:
    """A list as a closing keeps it: each point with who ticked it, or why nobody did, and the steps as they are. One query."""
    steps = Step.objects.filter(section=section).order_by("position").values_list("code", "done", "done_on")
    return {
        "points": [_kept(point, reasons, by, now) for point in points],
        "steps": [f"{code}: {_state(on) if done else 'not done'}" for code, done, on in steps],
    }


def _state(on: date | None) -> str:
    return f"done {on}" if on else "done"


def _kept(point: PointRow, reasons: Mapping[str, str], by: Member, now: datetime) -> dict[str, Any]:
    who, at = (point.tick.by_id, point.tick.at) if point.tick else (by.pk, now)
    return {
        "text": point.text,
        "code": point.code,
        "says": point.known.says if point.known else "",
        "known": point.known.text if point.known else "",
        "by": who,
        "at": at.isoformat(),
        "why": "" if point.tick else reasons[point.name],
    }


# All sections


def gates() -> QuerySet[Section]:
    """Every section that has steps, with how far its list is, in plan order by project."""
    here: dict[str, Any] = {"section": OuterRef("pk")}
    standing = GatePoint.objects.filter(**here, dropped_at=None)
    ticked = GateTick.objects.filter(point__section=OuterRef("pk"), point__dropped_at=None, withdrawn_at=None)
    closing = Closing.objects.filter(**here, reopened_at=None)
    return (
        Section.objects.select_related("project__bench__workshop")
        .annotate(
            all_steps=Count("steps"),
            done_steps=Count("steps", filter=Q(steps__done=True)),
            all_points=Coalesce(_counted(standing, "section"), len(START)),
            ticked_points=Coalesce(_counted(ticked, "point__section"), 0),
            closed_by=Subquery(closing.values("by__name")[:1]),
            was_closed=Exists(Closing.objects.filter(**here)),
        )
        .filter(Q(all_steps__gt=0) | Q(was_closed=True))
        .order_by("project__code", F("position"), "pk")
    )


def _counted(rows: QuerySet[Any], by: str) -> Subquery:
    return Subquery(rows.order_by().values(by).annotate(number=Count("pk")).values("number"))


@dataclass(frozen=True, slots=True)
class ClosedNow:
    """Who closed a section up, and when."""

    section: int
    by: str
    at: datetime


def closed_now(section: Section) -> ClosedNow | None:
    """The closing that stands; no query where the section is open, else one."""
    if section.closed_at is None:
        return None
    row = Closing.objects.filter(section=section, reopened_at=None).values_list("by__name", "at").first()
    return ClosedNow(section.pk, *row) if row else None


def closed_steps(project: Project) -> dict[str, list[tuple[str, bool]]]:
    """The steps of a project's closed sections, by the section's name: code, and whether it is done. One query."""
    rows = Step.objects.filter(project=project, section__closed_at__isnull=False).order_by("position")
    found: dict[str, list[tuple[str, bool]]] = defaultdict(list)
    for section, code, done in rows.values_list("section__name", "code", "done"):
        found[section].append((code, done))
    return found
