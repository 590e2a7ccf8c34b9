"""Writing plans."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Model, QuerySet

from buildplan.plan.models import CallOut, Finish, Hand, Project, Section, Step, StepAfter
from inventory.common.history import assign, changed_by, create_many, delete_many, update_many
from inventory.common.problems import Problem
from inventory.common.rows import BATCH, batches, find_or_make, referring
from inventory.common.texts import filled
from inventory.models import Bench, Member, Movement, SetAside
from inventory.workshop import policy

MOST_CODE = 40
STEP_FIELDS = ("code", "title", "section", "position", "planned_on", "minutes", "hand", "done", "done_on")


class StepDone(Problem):
    """A step that is done is planned no more."""

    status = 409
    title = "Already done"


class SectionClosed(Problem):
    """A step of a section that is closed up stays as it is."""

    status = 409
    title = "Its section is closed up"
    kind = "section-closed"


@dataclass(frozen=True, slots=True)
class PlannedStep:
    """A step as a plan states it. `after` names steps of the same plan, in any case."""

    code: str
    section: str
    title: str
    planned_on: date | None = None
    after: tuple[str, ...] = ()
    minutes: int | None = None
    done: bool = False
    done_on: date | None = None
    hand: str = ""


@dataclass(frozen=True, slots=True)
class Need:
    """What a step needs of an item, in its stock unit."""

    step: str
    item_id: int
    quantity: Decimal
    rounding: str = ""


@dataclass(frozen=True, slots=True)
class Plan:
    """All steps of a project in plan order, and what they need: `needs` is None where the plan does not say.

    `stated` names the fields of a step, besides code, section and title, that the plan states: the others stay as they are.
    """

    steps: Sequence[PlannedStep]
    needs: Sequence[Need] | None
    stated: frozenset[str]


@dataclass(slots=True)
class PlanChanges:
    """What `put_plan` did. What was lost stands in full, so that a person can be told."""

    made: int = 0
    changed: int = 0
    removed: list[str] = field(default_factory=list)
    dates_cleared: list[tuple[str, date]] = field(default_factory=list)
    call_outs_removed: list[tuple[str, int]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Put:
    """One plan being put: where, by whom, and what that changed so far."""

    project: Project
    by: Member
    changes: PlanChanges = field(default_factory=PlanChanges)


@transaction.atomic
def ensure_project(*, bench: Bench, code: str, by: Member) -> tuple[Project, bool]:
    """The project of `code` (matched ignoring case), made at `bench` where there is none, and whether it was made.

    One that is there keeps its bench.
    """
    policy.require(by, "plan", bench)
    code = filled("project code", code, MOST_CODE)

    def make() -> Project:
        project = changed_by(Project(workshop_id=bench.workshop_id, bench=bench, code=code, name=code), by)
        project.save()
        return project

    return find_or_make(lambda: Project.objects.filter(code__iexact=code).select_related("bench").first(), make)


@transaction.atomic
def set_bench(*, project: Project, bench: Bench, by: Member) -> Project:
    """Say whose project it is."""
    policy.require(by, "plan", bench)
    policy.own(by, project)
    if project.bench_id != bench.pk:
        project.bench = bench
        changed_by(project, by).save(update_fields=["bench"])
    return project


def steps_with_history(steps: Collection[Step]) -> set[int]:
    """Those of `steps` that are done, or were, or that stock was set aside for or moved for: they are part of the record."""
    refs = {f"step:{step.pk}": step.pk for step in steps}
    found = {step.pk for step in steps if step.done}
    for batch in batches(refs):
        found.update(Finish.objects.filter(step__in=[refs[ref] for ref in batch]).values_list("step_id", flat=True))
        for model in (SetAside, Movement):
            found.update(refs[ref] for ref in model.objects.filter(ref__in=batch).values_list("ref", flat=True))
    return found


@transaction.atomic
def put_plan(*, project: Project, plan: Plan, by: Member) -> PlanChanges:
    """Make the project's steps and call-outs what `plan` says, in place: a step keeps its identity by its code.

    `done` is set, never undone. Steps that the plan leaves out are removed: the caller has made sure that they have no history.
    Only rows that differ are written, in bulk.
    """
    policy.require(by, "plan", project.bench)
    put = _Put(project, by)
    present = {step.code.upper(): step for step in Step.objects.filter(project=project)}
    _remove_steps(put, present, plan)
    sections = _put_sections(put, plan.steps)
    steps = _put_steps(put, plan, present, sections)
    if "after" in plan.stated:
        _put_afters(put, plan.steps, steps)
    if plan.needs is not None:
        _put_call_outs(put, plan.needs, steps)
    _drop_empty_sections(put, sections)
    return put.changes


def _remove_steps(put: _Put, present: dict[str, Step], plan: Plan) -> None:
    stated = {step.code.upper() for step in plan.steps}
    gone = [present.pop(code) for code in list(present) if code not in stated]
    if not gone:
        return
    put.changes.removed = [step.code for step in gone]
    delete_many(CallOut, _call_outs_of(gone), put.by)
    for step in gone:
        changed_by(step, put.by).delete()


def _call_outs_of(steps: Iterable[Step]) -> list[CallOut]:
    return [row for batch in batches(step.pk for step in steps) for row in CallOut.objects.filter(step__in=batch)]


def _put_sections(put: _Put, steps: Iterable[PlannedStep]) -> dict[str, Section]:
    present = {section.name.upper(): section for section in Section.objects.filter(project=put.project)}
    new: list[Section] = []
    moved: list[Section] = []
    sections: dict[str, Section] = {}
    for position, (key, name) in enumerate(_first_named(steps).items(), start=1):
        section = present.get(key)
        if section is None:
            section = Section(workshop_id=put.project.workshop_id, project=put.project, name=name, position=position)
            new.append(section)
        elif assign(section, {"name": name, "position": position}):
            moved.append(section)
        sections[key] = section
    create_many(new, put.by)
    update_many(Section, moved, ["name", "position"], put.by)
    return sections


def _first_named(steps: Iterable[PlannedStep]) -> dict[str, str]:
    names: dict[str, str] = {}
    for step in steps:
        names.setdefault(step.section.upper(), step.section)
    return names


def _drop_empty_sections(put: _Put, kept: Mapping[str, Section]) -> None:
    """Delete the sections that have no step any more. One that something was written down of stays, without steps."""
    for section in Section.objects.filter(project=put.project).exclude(pk__in=[section.pk for section in kept.values()]):
        if not referring(section):
            changed_by(section, put.by).delete()


def _put_steps(put: _Put, plan: Plan, present: Mapping[str, Step], sections: Mapping[str, Section]) -> dict[str, Step]:
    new: list[Step] = []
    changed: list[Step] = []
    for position, planned in enumerate(plan.steps, start=1):
        fields = _fields(planned, plan.stated) | {"section_id": sections[planned.section.upper()].pk, "position": position}
        step = present.get(planned.code.upper())
        if step is None:
            new.append(Step(workshop_id=put.project.workshop_id, project=put.project, **fields))
            continue
        _note_cleared_date(step, fields, put.changes)
        if assign(step, fields):
            changed.append(step)
    create_many(new, put.by)
    update_many(Step, changed, STEP_FIELDS, put.by)
    put.changes.made, put.changes.changed = len(new), len(changed)
    return {**present, **{step.code.upper(): step for step in new}}


def _fields(planned: PlannedStep, stated: frozenset[str]) -> dict[str, object]:
    """What to set on the step's row: blank or no never undoes done, and done without a day keeps the day there is."""
    fields: dict[str, object] = {"code": planned.code, "title": planned.title}
    fields |= {name: getattr(planned, name) for name in ("planned_on", "minutes", "hand") if name in stated}
    if planned.done:
        fields["done"] = True
    if planned.done_on is not None:
        fields["done_on"] = planned.done_on
    return fields


def _note_cleared_date(step: Step, fields: Mapping[str, object], changes: PlanChanges) -> None:
    if step.planned_on is not None and fields.get("planned_on", step.planned_on) is None:
        changes.dates_cleared.append((step.code, step.planned_on))


def _put_afters(put: _Put, planned: Iterable[PlannedStep], steps: Mapping[str, Step]) -> None:
    rows = StepAfter.objects.filter(step__project=put.project).values_list("pk", "step_id", "after_id")
    present = {(step, after): pk for pk, step, after in rows}
    wanted = {(steps[step.code.upper()].pk, steps[after.upper()].pk) for step in planned for after in step.after}
    gone = [pk for pair, pk in present.items() if pair not in wanted]
    for batch in batches(gone):
        StepAfter.objects.filter(pk__in=batch).delete()
    workshop = put.project.workshop_id
    new = [StepAfter(workshop_id=workshop, step_id=step, after_id=after) for step, after in sorted(wanted - present.keys())]
    StepAfter.objects.bulk_create(new, batch_size=BATCH)


def _put_call_outs(put: _Put, needs: Iterable[Need], steps: Mapping[str, Step]) -> None:
    needs = list(needs)
    present = {(row.step_id, row.item_id): row for row in CallOut.objects.filter(step__project=put.project)}
    wanted = {(steps[need.step.upper()].pk, need.item_id): {"quantity": need.quantity} for need in needs}
    refuse_closed_rows(put.project, present, wanted, "what is called out")
    new: list[CallOut] = []
    changed: list[CallOut] = []
    for need in needs:
        step = steps[need.step.upper()]
        row = present.pop((step.pk, need.item_id), None)
        if row is None:
            said = {"quantity": need.quantity, "rounding": need.rounding}
            new.append(CallOut(workshop_id=put.project.workshop_id, step_id=step.pk, item_id=need.item_id, **said))
        elif assign(row, {"quantity": need.quantity, "rounding": need.rounding}):
            changed.append(row)
    put.changes.call_outs_removed = _named(present.values(), steps)
    delete_many(CallOut, list(present.values()), put.by)
    update_many(CallOut, changed, ["quantity", "rounding"], put.by)
    create_many(new, put.by)


def _named(call_outs: Collection[CallOut], steps: Mapping[str, Step]) -> list[tuple[str, int]]:
    if not call_outs:
        return []
    codes = {step.pk: step.code for step in steps.values()}
    return [(codes[row.step_id], row.item_id) for row in call_outs]


@transaction.atomic
def set_planned(*, step: Step, planned_on: date | None, by: Member) -> Step:
    """Plan `step` for a day; None where it has none. Refuses a step that is done: its day is past."""
    policy.require(by, "plan", step.project.bench)
    locked = Step.objects.select_for_update(no_key=True).get(pk=step.pk)
    if locked.done:
        raise StepDone(f"{locked.code} is done: its planned day no longer counts")
    locked.planned_on = planned_on
    changed_by(locked, by).save(update_fields=["planned_on"])
    return locked


@transaction.atomic
def set_people(*, step: Step, people: int | None, by: Member) -> Step:
    """Say how many people `step` takes at once; None where nobody knows, which counts as one."""
    policy.require(by, "plan", step.project.bench)
    locked = Step.objects.select_for_update(no_key=True).get(pk=step.pk)
    locked.people = people
    changed_by(locked, by).save(update_fields=["people"])
    return locked


@transaction.atomic
def set_hand(*, step: Step, hand: str, by: Member) -> Step:
    """Say which hand `step` is of; blank where nobody says. A step that is done is put right too, as by its plan loaded again."""
    policy.require(by, "plan", step.project.bench)
    locked = Step.objects.select_for_update(no_key=True).get(pk=step.pk)
    if assign(locked, {"hand": Hand(hand) if hand else ""}):
        changed_by(locked, by).save(update_fields=["hand"])
    return locked


def refuse_if_closed(*steps: Step, unless: QuerySet[Any] | None = None) -> None:
    """Refuse where the section of one of `steps` is closed up. Who closes it up meanwhile is waited for. One query.

    Every service asks that writes what a step took, what was done to its pieces, or what it needs: that was looked at when the section
    was closed up. What only adds to the record, or is no work, stays possible: the log, signatures, notes, new photos, conflicts and
    their settling, readings of a leak test, what was left of a batch, the day that a step is planned for, and giving up what was only
    planned.

    Ask before steps, pieces or lots are locked: who loads a plan writes the sections first, then the steps. Rows in `unless` say that
    this was written down before: the same key sent again gives them, closed up or not.
    """
    rows = Section.objects.select_for_update(no_key=True).filter(pk__in={step.section_id for step in steps}).order_by("pk")
    closed = {section.pk: section.name for section in rows if section.closed_at is not None}
    if not closed or (unless is not None and unless.exists()):
        return
    step = next(step for step in steps if step.section_id in closed)
    name = closed[step.section_id]
    raise SectionClosed(f"{name} is closed up, so {step.code} stays as it is: open the section again first, with the reason")


def refuse_closed_rows(
    project: Project, present: Mapping[tuple[int, Any], Model], wanted: Mapping[tuple[int, Any], Mapping[str, object]], what: str
) -> None:
    """Refuse to load other rows for steps of closed-up sections: rows by step and code, such as seams, as they are and as they are to be.

    Only their place in the order may be another. One query; the sections are the loader's, who writes them first.
    """
    closed = Step.objects.filter(project=project, section__closed_at__isnull=False)
    names = {pk: (section, code) for pk, section, code in closed.values_list("pk", "section__name", "code")}
    keys = [key for key in {**present, **wanted} if key[0] in names]
    changed = sorted({names[key[0]] for key in keys if _differs(present.get(key), wanted.get(key))})
    if changed:
        section = changed[0][0]
        codes = ", ".join(code for name, code in changed if name == section)
        raise SectionClosed(
            f"{section} is closed up, and the file changes {what} of {codes}: open the section again first, with the reason"
        )


def _differs(row: Model | None, fields: Mapping[str, object] | None) -> bool:
    if row is None or fields is None:
        return True
    return any(getattr(row, name) != value for name, value in fields.items() if name != "position")
