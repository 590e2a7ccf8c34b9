"""Hands, conflicts and match marks of the demo: one conflict open and one settled, and a skin whose third frame was replaced."""

from datetime import date, timedelta
from typing import Any
from uuid import UUID, uuid5

from buildplan.fitting import services
from buildplan.fitting.models import Mark, Position
from buildplan.fitting.services import Done, Piece
from buildplan.plan.models import Project, Step
from inventory.models import Item, Member

NAMES = UUID("f1770000-5a17-4000-8000-000000000000")  # keys are made from it, so that making the demo again makes none
PROJECT, BUILDER, INSPECTOR = "TERN-1", "Wren of Tern", "Amos Reed"
PAIRS = (("FLT.101", "FLT.102"), ("FLT.150", "FLT.151"))
FALSE = ("FLT.113", "FLT.114", "frame 5 is 6 mm lower and has one lightening hole less")
OPEN: dict[str, Any] = {
    "title": "Which way the strut brackets face",
    "kind": "hand",
    "text_says": "bolt each bracket with its long flange to the left",
    "text_where": "step U1-01, third sentence",
    "drawing_says": "the long flange stands to the right on both sides",
    "drawing_where": "sheet 21, view D",
}
SETTLED: dict[str, Any] = {
    "title": "First hole of the keel row at frame 4",
    "kind": "position",
    "text_says": "start 10 mm from the frame",
    "text_where": "step F1-02, table of pitches",
    "drawing_says": "the first hole is drawn at 12 mm",
    "drawing_where": "sheet 6, section C-C",
}
ANSWER = ("Drill at 12 mm. The table will be corrected.", "letter 14 of an invented maker")
PHASES = (("F1-01", "fit_up"), ("F1-02", "match_drill"), ("F1-03", "deburr"), ("F3-01", "fit_up"), ("F3-04", "final"))
FRAMES = 5
REPLACED = 3


def make_fitting(*, today: date) -> None:
    """All of it. Made again it is the same."""
    people = {member.name: member for member in Member.objects.filter(active=True)}
    builder, inspector = people[BUILDER], people[INSPECTOR]
    items = {item.code: item for item in Item.objects.filter(code__in=[*sum(PAIRS, ()), *FALSE[:2], "FUS.501"])}
    for left, right in PAIRS:
        services.pair(left=items[left], right=items[right], by=builder)
    services.set_false_mirror(one=items[FALSE[0]], other=items[FALSE[1]], told_apart=FALSE[2], by=builder)
    project = Project.objects.select_related("bench__workshop").get(code=PROJECT)
    rests: dict[str, Any] = {"steps": _steps(project, "U1-01"), "items": [items["FUS.501"]]}
    services.record_conflict(project=project, **OPEN, **rests, by=builder, key=_key("open"))
    _settled(project, builder, inspector, today)
    _assembly(project, builder, today)


def _settled(project: Project, builder: Member, inspector: Member, today: date) -> None:
    row = services.record_conflict(project=project, **SETTLED, steps=_steps(project, "F1-02"), by=builder, key=_key("settled"))
    answered, decided = today - timedelta(days=34), today - timedelta(days=32)
    text, reference = ANSWER
    services.add_answer(conflict=row, text=text, on=answered, reference=reference, by=builder, today=today, key=_key("answer"))
    if not row.settlements.exists():
        services.settle(conflict=row, right="drawing", on=decided, by=inspector, today=today)


def _assembly(project: Project, by: Member, today: date) -> None:
    phased = [(step, phase) for code, phase in PHASES for step in _steps(project, code)]
    row = services.make_assembly(project=project, name="Left bottom skin and frames", steps=phased, by=by, key=_key("skin"))
    if row.positions.exists():
        return
    services.add_positions(assembly=row, parts=["skin", "frame"], first=1, last=FRAMES, by=by)
    fitted, drilled, bent = (today - timedelta(days=days) for days in (55, 30, 9))
    for position in Position.objects.filter(assembly=row).order_by("number", "pk"):
        words = f"frame {position.number} of bag 7A" if position.part == "frame" else "the skin from the rack"
        services.mark(position=position, piece=Piece(words=words), on=fitted, by=by, today=today, key=_key(f"{position}"))
    done = Done("drilled", drilled, drill="40", note="pilot holes, clecoed every third")
    services.note_deed(assembly=row, first=1, last=FRAMES, done=done, by=by, today=today, key=_key("drilled"))
    old = Mark.objects.select_related("position").get(position__assembly=row, position__part="frame", position__number=REPLACED)
    new = Piece(words="the spare frame, drilled through the skin's holes")
    services.replace(mark=old, why="edge distance gone at the chine", piece=new, on=bent, by=by, today=today, key=_key("replaced"))


def _steps(project: Project, code: str) -> list[Step]:
    return list(Step.objects.filter(project=project, code=code).select_related("project__bench"))


def _key(name: str) -> UUID:
    return uuid5(NAMES, name)
