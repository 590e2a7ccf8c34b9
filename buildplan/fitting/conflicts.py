"""Writing down where text and drawing disagree, what the maker answered, and which side turned out right."""

from collections.abc import Collection, Mapping
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from buildplan.fitting.calc import Source
from buildplan.fitting.kept import known, put_these, refuse_ahead, saved
from buildplan.fitting.models import Conflict, ConflictItem, ConflictStep, MakerAnswer, Matter, Settlement
from buildplan.fitting.problems import AlreadySettled, ElsewhereRow, NothingToGoBy, NotSettled
from buildplan.plan.models import Project, Step
from inventory.common.history import assign, changed_by
from inventory.common.rows import find_or_make
from inventory.common.texts import filled, optional
from inventory.models import Item, Member
from inventory.workshop import policy

LENGTHS = {"title": 200, "text_says": 400, "text_where": 200, "drawing_says": 400, "drawing_where": 200}
MOST_ANSWER, MOST_REFERENCE, MOST_NOTE = 600, 200, 400
WORDS = {
    "title": "title",
    "text_says": "reading of the text",
    "text_where": "place in the text",
    "drawing_says": "reading of the drawing",
    "drawing_where": "place in the drawing",
}


@transaction.atomic
def record_conflict(  # noqa: PLR0913 - both readings, and what rests on them
    *,
    project: Project,
    title: str,
    kind: str,
    text_says: str,
    text_where: str,
    drawing_says: str,
    drawing_where: str,
    by: Member,
    steps: Collection[Step] = (),
    items: Collection[Item] = (),
    key: UUID | None = None,
) -> Conflict:
    """Write down that text and drawing disagree. What rests on it is held from now on. The same `key` again gives the first one."""
    policy.require(by, "plan", project.bench)
    if (there := known(Conflict, key)) is not None:
        return there
    said = {
        "title": title,
        "text_says": text_says,
        "text_where": text_where,
        "drawing_says": drawing_says,
        "drawing_where": drawing_where,
    }
    row = Conflict(workshop_id=project.workshop_id, project=project, kind=Matter(kind).value, by=by, key=key, **_texts(said))
    made, new = find_or_make(lambda: known(Conflict, key), lambda: saved(row, by))
    if new:
        _rest(made, steps, items, by)
    return made


@transaction.atomic
def edit_conflict(*, conflict: Conflict, changes: Mapping[str, Any], by: Member) -> Conflict:
    """Correct a reading, the title or the kind, while it is open."""
    policy.require(by, "plan", conflict.project.bench)
    row = _open(conflict)
    given = {name: changes[name] for name in LENGTHS if name in changes}
    kind = {"kind": Matter(changes["kind"]).value} if "kind" in changes else {}
    if assign(row, {**_texts(given), **kind}):
        changed_by(row, by).save()
    return row


@transaction.atomic
def set_resting(*, conflict: Conflict, steps: Collection[Step], items: Collection[Item], by: Member) -> Conflict:
    """Say what rests on an open conflict: these steps and these items, and nothing else."""
    policy.require(by, "plan", conflict.project.bench)
    row = _open(conflict)
    _rest(row, steps, items, by)
    return row


@transaction.atomic
def add_answer(  # noqa: PLR0913 - what the maker said, when and where
    *, conflict: Conflict, text: str, on: date, reference: str, by: Member, today: date, key: UUID | None = None
) -> MakerAnswer:
    """Write down what the maker answered. It settles nothing by itself: a person decides. The same `key` again gives the first one."""
    policy.require(by, "plan", conflict.project.bench)
    if (there := known(MakerAnswer, key)) is not None:
        return there
    refuse_ahead(on, today)
    row = MakerAnswer(
        workshop_id=conflict.workshop_id,
        conflict=conflict,
        text=filled("answer", text, MOST_ANSWER),
        on=on,
        reference=filled("reference", reference, MOST_REFERENCE),
        by=by,
        key=key,
    )
    return find_or_make(lambda: known(MakerAnswer, key), lambda: saved(row, by))[0]


@transaction.atomic
def settle(*, conflict: Conflict, right: str, on: date, by: Member, today: date, note: str = "") -> Settlement:  # noqa: PLR0913 - a decision
    """Say which side turned out right. What rests on it is free again.

    Without an answer of the maker the note must say what the decision rests on: nobody settles by a guess.
    """
    policy.require(by, "settle", conflict.project.bench)
    row = _open(conflict)
    refuse_ahead(on, today)
    note = optional("note", note, MOST_NOTE)
    if not note and not row.answers.exists():
        text = "the maker hasn't answered: write down what the decision rests on, such as a part measured, or enter the answer first"
        raise NothingToGoBy("note", text)
    return Settlement.objects.create(workshop_id=row.workshop_id, conflict=row, right=Source(right).value, note=note, on=on, by=by)


@transaction.atomic
def reopen(*, conflict: Conflict, why: str, by: Member, now: datetime) -> Settlement:
    """Open a settled conflict again; the decision stays on record. What rests on it and isn't done is held again."""
    policy.require(by, "settle", conflict.project.bench)
    row = _locked(conflict)
    settlement = standing(row)
    if settlement is None:
        raise NotSettled(f'"{row.title}" is open: there is no decision to take back')
    settlement.reopened_at, settlement.reopened_by = now, by
    settlement.reopened_why = filled("reason", why, MOST_NOTE)
    settlement.save(update_fields=["reopened_at", "reopened_by", "reopened_why"])
    return settlement


def standing(conflict: Conflict) -> Settlement | None:
    """The decision that stands; None: it is open."""
    return Settlement.objects.filter(conflict=conflict, reopened_at=None).select_related("by").first()


def _locked(conflict: Conflict) -> Conflict:
    return Conflict.objects.select_for_update(no_key=True, of=("self",)).select_related("project__bench").get(pk=conflict.pk)


def _open(conflict: Conflict) -> Conflict:
    """The conflict, held until the transaction ends; refused where it is settled."""
    row = _locked(conflict)
    found = standing(row)
    if found is not None:
        text = f'"{row.title}" was settled on {found.on} by {found.by.name}, {found.right} being right: open it again to change that'
        raise AlreadySettled(text)
    return row


def _rest(conflict: Conflict, steps: Collection[Step], items: Collection[Item], by: Member) -> None:
    policy.own(by, *items, *steps)
    for step in steps:
        if step.project_id != conflict.project_id:
            raise ElsewhereRow("steps", f"{step.code} is a step of another project than the conflict: record one there too")
    shared: dict[str, Any] = {"workshop_id": conflict.workshop_id, "conflict_id": conflict.pk}
    put_these(
        ConflictStep,
        {row.step_id: row for row in ConflictStep.objects.filter(conflict=conflict)},
        {step.pk: {**shared, "step_id": step.pk} for step in steps},
        by,
    )
    put_these(
        ConflictItem,
        {row.item_id: row for row in ConflictItem.objects.filter(conflict=conflict)},
        {item.pk: {**shared, "item_id": item.pk} for item in items},
        by,
    )


def _texts(given: Mapping[str, Any]) -> dict[str, str]:
    return {name: filled(WORDS[name], text, LENGTHS[name]) for name, text in given.items()}
