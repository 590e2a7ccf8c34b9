"""Reads of assemblies: their steps, positions and marked pieces, each in a fixed number of queries."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby
from typing import Any

from django.db.models import Count, Q, QuerySet

from buildplan.fitting.calc import Drilling, Phase, PieceHoles, holes, mark_text
from buildplan.fitting.models import Assembly, AssemblyStep, Deed, Mark, MarkEvent, Position
from buildplan.fitting.phases import Handling, Phased, Row, handling
from buildplan.hardware.models import RivetRow
from inventory.common.reasons import Reason
from inventory.labels.drawing import Words


@dataclass(frozen=True, slots=True)
class MarkRow:
    """A piece that was marked for a position, standing or gone, with its mark as written on it."""

    pk: int
    text: str
    lot: int | None
    lot_code: str
    item: str
    words: str
    reason: str
    on: date
    by: str
    ended_on: date | None
    ended_by: str
    ended_why: str
    events: tuple[MarkEvent, ...]

    @property
    def piece(self) -> str:
        """Which piece it is, in words."""
        lot = f"{self.item}, {f'lot {self.lot_code}' if self.lot_code else 'a lot without a code'}" if self.lot else ""
        return "; ".join(part for part in (lot, self.words) if part)

    @property
    def holes(self) -> PieceHoles:
        """Its drillings."""
        drilled = tuple(Drilling(one.mates, one.drill, one.final, one.on, one.by.name) for one in self.events if one.deed == Deed.DRILLED)
        return PieceHoles(self.text, drilled, self.ended_on, self.ended_by, self.ended_why)


@dataclass(frozen=True, slots=True)
class PositionRow:
    """A position with its pieces, the first first, and what its holes went through."""

    pk: int
    number: int
    part: str
    item: str
    marks: tuple[MarkRow, ...]
    holes: tuple[Reason, ...] = ()

    @property
    def standing(self) -> MarkRow | None:
        """The piece that is there."""
        return next((mark for mark in self.marks if mark.ended_on is None), None)

    @property
    def text(self) -> str:
        """Its number, as text."""
        return str(self.number)

    @property
    def next_text(self) -> str:
        """What is written on the next piece."""
        return mark_text(self.number, len(self.marks))


@dataclass(frozen=True, slots=True)
class PhaseRow:
    """A step of an assembly, and a phase it is there for."""

    step_id: int
    code: str
    title: str
    position: int
    phase: str
    done: bool


@dataclass(frozen=True, slots=True)
class AssemblyView:
    """An assembly with its steps, its positions and how often it comes apart."""

    assembly: Assembly
    steps: tuple[PhaseRow, ...]
    positions: tuple[PositionRow, ...]
    handling: Handling

    @property
    def marked(self) -> int:
        """How many positions have a piece."""
        return sum(position.standing is not None for position in self.positions)

    @property
    def numbers(self) -> list[tuple[int, list[PositionRow]]]:
        """The positions by number: those of one number are drilled together."""
        return [(number, list(of)) for number, of in groupby(self.positions, key=lambda one: one.number)]


@dataclass(frozen=True, slots=True)
class AssemblyRow:
    """An assembly as the list shows it."""

    pk: int
    name: str
    project: str
    project_name: str
    positions: int
    marked: int


def assembly_rows() -> QuerySet[Assembly]:
    """Assemblies with how many positions they have, and how many of these hold a piece, by project and name."""
    return (
        Assembly.objects.select_related("project__bench__workshop")
        .annotate(
            position_count=Count("positions", distinct=True),
            marked_count=Count("positions__marks", filter=Q(positions__marks__ended_on=None), distinct=True),
        )
        .order_by("project__code", "name", "pk")
    )


def assemblies(*, step: int | None = None) -> list[AssemblyRow]:
    """All assemblies of the workshop, or those of a step. One query."""
    rows: Any = (
        assembly_rows() if step is None else assembly_rows().filter(pk__in=AssemblyStep.objects.filter(step=step).values("assembly"))
    )
    return [AssemblyRow(row.pk, row.name, row.project.code, row.project.name, row.position_count, row.marked_count) for row in rows]


def assembly_view(assembly: Assembly) -> AssemblyView:
    """One assembly. Five queries."""
    steps = tuple(
        PhaseRow(*row)
        for row in AssemblyStep.objects.filter(assembly=assembly)
        .order_by("step__position", "pk")
        .values_list("step_id", "step__code", "step__title", "step__position", "phase", "step__done")
    )
    phased = [Phased(row.position, row.code, Phase(row.phase)) for row in steps]
    return AssemblyView(assembly, steps, tuple(_positions(assembly)), handling(phased, _rivet_rows({row.step_id for row in steps})))


def _rivet_rows(steps: Collection[int]) -> list[Row]:
    rows = RivetRow.objects.filter(step__in=steps, cleco__isnull=False).order_by("step__position", "position", "pk")
    columns = ("step__position", "cleco__code", "holes", "cleco_every", "clecos_until__position")
    return [Row(*row) for row in rows.values_list(*columns)]


def _positions(assembly: Assembly) -> list[PositionRow]:
    events: dict[int, list[MarkEvent]] = defaultdict(list)
    for event in MarkEvent.objects.filter(mark__position__assembly=assembly).select_related("by").order_by("on", "pk"):
        events[event.mark_id].append(event)
    marks: dict[int, list[MarkRow]] = defaultdict(list)
    rows = Mark.objects.filter(position__assembly=assembly).select_related("position", "lot", "item", "by", "ended_by")
    for row in rows.order_by("position", "serial"):
        marks[row.position_id].append(_mark(row, events[row.pk]))
    found = [
        PositionRow(row.pk, row.number, row.part, row.item.code if row.item else "", tuple(marks[row.pk]))
        for row in Position.objects.filter(assembly=assembly).select_related("item").order_by("number", "pk")
    ]
    return [replace(row, holes=_holes(row, found)) for row in found]


def _mark(row: Mark, events: Iterable[MarkEvent]) -> MarkRow:
    return MarkRow(
        row.pk,
        mark_text(row.position.number, row.serial),
        row.lot_id,
        row.lot.code if row.lot else "",
        row.item.code if row.item else "",
        row.words,
        row.reason,
        row.on,
        row.by.name,
        row.ended_on,
        row.ended_by.name if row.ended_by else "",
        row.ended_why,
        tuple(events),
    )


def _holes(position: PositionRow, others: Iterable[PositionRow]) -> tuple[Reason, ...]:
    mates = [(one.part, one.standing.holes) for one in others if one.number == position.number and one.pk != position.pk and one.standing]
    return holes(position.part, [mark.holes for mark in position.marks], mates)


def mark_labels(view: AssemblyView) -> list[Words]:
    """A label for the piece of each position: its mark, or the next one where it has none yet, and where it belongs."""
    return [
        Words(
            one.standing.text if one.standing else one.next_text,
            (str(one.part), view.assembly.name, str(view.assembly.project.code), one.standing.piece if one.standing else one.item),
        )
        for one in view.positions
    ]
