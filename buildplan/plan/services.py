"""Writing plans."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal

from django.db import models, transaction
from django.utils import timezone
from simple_history.utils import bulk_create_with_history, bulk_update_with_history, get_history_manager_for_model

from buildplan.plan.models import CallOut, Finish, Project, Section, Step, StepAfter
from inventory.common.history import changed_by
from inventory.models import Member, Movement, SetAside

BATCH = 1000


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


def steps_with_history(steps: Collection[Step]) -> set[int]:
    """Those of `steps` that are done, or were, or that stock was set aside for or moved for: they are part of the record."""
    refs = {f"step:{step.pk}": step.pk for step in steps}
    found = {step.pk for step in steps if step.done}
    found.update(Finish.objects.filter(step__in=refs.values()).values_list("step_id", flat=True))
    for model in (SetAside, Movement):
        found.update(refs[ref] for ref in model.objects.filter(ref__in=refs).values_list("ref", flat=True))
    return found


@transaction.atomic
def put_plan(*, project: Project, plan: Plan, by: Member) -> PlanChanges:
    """Make the project's steps and call-outs what `plan` says, in place: a step keeps its identity by its code.

    `done` is set, never undone. Steps that the plan leaves out are removed: the caller has made sure that they have no history.
    Only rows that differ are written, in bulk.
    """
    changes = PlanChanges()
    present = {step.code.upper(): step for step in Step.objects.filter(project=project)}
    _remove_steps(present, plan, by, changes)
    sections = _put_sections(project, plan.steps, by)
    steps = _put_steps(project, plan, present, sections, by, changes)
    if "after" in plan.stated:
        _put_afters(project, plan.steps, steps)
    if plan.needs is not None:
        _put_call_outs(project, plan.needs, steps, by, changes)
    _drop_empty_sections(project, sections, by)
    return changes


def _remove_steps(present: dict[str, Step], plan: Plan, by: Member, changes: PlanChanges) -> None:
    stated = {step.code.upper() for step in plan.steps}
    gone = [present.pop(code) for code in list(present) if code not in stated]
    if not gone:
        return
    changes.removed = [step.code for step in gone]
    _delete(CallOut, CallOut.objects.filter(step__in=gone), by)
    for step in gone:
        changed_by(step, by).delete()


def _put_sections(project: Project, steps: Iterable[PlannedStep], by: Member) -> dict[str, Section]:
    present = {section.name.upper(): section for section in Section.objects.filter(project=project)}
    new, moved, sections = [], [], {}
    for position, (key, name) in enumerate(_first_named(steps).items(), start=1):
        section = present.get(key)
        if section is None:
            section = Section(workshop_id=project.workshop_id, project=project, name=name, position=position)
            new.append(section)
        elif _assign(section, {"name": name, "position": position}):
            moved.append(section)
        sections[key] = section
    _create(Section, new, by)
    _update(Section, moved, ["name", "position"], by)
    return sections


def _first_named(steps: Iterable[PlannedStep]) -> dict[str, str]:
    names: dict[str, str] = {}
    for step in steps:
        names.setdefault(step.section.upper(), step.section)
    return names


def _drop_empty_sections(project: Project, kept: Mapping[str, Section], by: Member) -> None:
    for section in Section.objects.filter(project=project).exclude(pk__in=[section.pk for section in kept.values()]):
        changed_by(section, by).delete()


def _put_steps(
    project: Project,
    plan: Plan,
    present: Mapping[str, Step],
    sections: Mapping[str, Section],
    by: Member,
    changes: PlanChanges,
) -> dict[str, Step]:
    steps, new, changed = {}, [], []
    for position, planned in enumerate(plan.steps, start=1):
        fields = _fields(planned, plan.stated) | {"section_id": sections[planned.section.upper()].pk, "position": position}
        step = present.get(planned.code.upper())
        if step is None:
            step = Step(workshop_id=project.workshop_id, project=project, **fields)
            new.append(step)
        else:
            _note_cleared_date(step, fields, changes)
            if _assign(step, fields):
                changed.append(step)
        steps[planned.code.upper()] = step
    _create(Step, new, by)
    _update(Step, changed, ["code", "title", "section", "position", "planned_on", "minutes", "hand", "done", "done_on"], by)
    changes.made, changes.changed = len(new), len(changed)
    return steps


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


def _assign(row: models.Model, fields: Mapping[str, object]) -> bool:
    """Set `fields` on `row`; whether that changes any."""
    differing = {name: value for name, value in fields.items() if getattr(row, name) != value}
    for name, value in differing.items():
        setattr(row, name, value)
    return bool(differing)


def _put_afters(project: Project, planned: Iterable[PlannedStep], steps: Mapping[str, Step]) -> None:
    present = {(row[1], row[2]): row[0] for row in StepAfter.objects.filter(step__project=project).values_list("pk", "step_id", "after_id")}
    wanted = {(steps[step.code.upper()].pk, steps[after.upper()].pk) for step in planned for after in step.after}
    gone = [pk for pair, pk in present.items() if pair not in wanted]
    for start in range(0, len(gone), BATCH):
        StepAfter.objects.filter(pk__in=gone[start : start + BATCH]).delete()
    new = [StepAfter(workshop_id=project.workshop_id, step_id=step, after_id=after) for step, after in sorted(wanted - present.keys())]
    StepAfter.objects.bulk_create(new, batch_size=BATCH)


def _put_call_outs(project: Project, needs: Iterable[Need], steps: Mapping[str, Step], by: Member, changes: PlanChanges) -> None:
    present = {(row.step_id, row.item_id): row for row in CallOut.objects.filter(step__project=project)}
    new, changed = [], []
    for need in needs:
        step = steps[need.step.upper()]
        row = present.pop((step.pk, need.item_id), None)
        fields = {"quantity": need.quantity, "rounding": need.rounding}
        if row is None:
            new.append(CallOut(workshop_id=project.workshop_id, step=step, item_id=need.item_id, **fields))
        elif _assign(row, fields):
            changed.append(row)
    changes.call_outs_removed = _named(present.values(), steps)
    _delete(CallOut, present.values(), by)
    _update(CallOut, changed, ["quantity", "rounding"], by)
    _create(CallOut, new, by)


def _named(call_outs: Collection[CallOut], steps: Mapping[str, Step]) -> list[tuple[str, int]]:
    if not call_outs:
        return []
    codes = {step.pk: step.code for step in steps.values()}
    return [(codes[row.step_id], row.item_id) for row in call_outs]


def _create(model: type[models.Model], rows: list[models.Model], by: Member) -> None:
    if rows:
        bulk_create_with_history(rows, model, batch_size=BATCH, default_user=by)


def _update(model: type[models.Model], rows: list[models.Model], fields: list[str], by: Member) -> None:
    if rows:
        bulk_update_with_history(rows, model, fields, batch_size=BATCH, default_user=by)


def _delete(model: type[models.Model], rows: Iterable[models.Model], by: Member) -> None:
    """Delete rows that nothing refers to and keep their history, in bulk: Django would note the end of each by itself."""
    gone, history, now = list(rows), get_history_manager_for_model(model), timezone.now()
    tracked = [item.attname for item in history.model.tracked_fields]
    ends = [_end(history.model, row, tracked, by, now) for row in gone]
    history.bulk_create(ends, batch_size=BATCH)
    for start in range(0, len(gone), BATCH):
        # Not delete(), which would send the signal that notes each end once more.
        batch = model._default_manager.filter(pk__in=[row.pk for row in gone[start : start + BATCH]])
        batch._raw_delete(batch.db)


def _end(history: type[models.Model], row: models.Model, tracked: Iterable[str], by: Member, now: datetime) -> models.Model:
    fields = {name: getattr(row, name) for name in tracked}
    return history(history_type="-", history_date=now, history_user=by, **fields)
