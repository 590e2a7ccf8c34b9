"""Writing down assemblies: their steps, their numbered positions, and the pieces that are marked for them.

An assembly that a step of a closed-up section names stays as it is, save its name and note: that every piece is at its position was
looked at when the section was closed up.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models.functions import Upper

from buildplan.fitting.calc import Phase, mark_text, next_serial
from buildplan.fitting.kept import known, put_these, refuse_ahead, saved
from buildplan.fitting.models import Assembly, AssemblyStep, Deed, Mark, MarkEvent, Position
from buildplan.fitting.problems import ElsewhereRow, InUse, NameTaken, NoPiece, PieceGone, PositionTaken
from buildplan.hardware.calc import drill_size
from buildplan.plan.models import Project, Step
from buildplan.plan.services import refuse_if_closed
from inventory.common.history import assign, changed_by, create_many
from inventory.common.problems import FieldProblem
from inventory.common.rows import find_or_make
from inventory.common.texts import filled, optional
from inventory.models import Item, Lot, Member
from inventory.workshop import policy

MOST_NAME, MOST_NOTE, MOST_PART, MOST_WORDS, MOST_REASON = 120, 400, 60, 200, 300
MOST_NUMBER, MOST_AT_ONCE = 999, 400
DONE_TOGETHER = (Deed.TOGETHER, Deed.DRILLED)
DEEDS = (Deed.TOGETHER, Deed.DRILLED, Deed.APART, Deed.DEBURRED)


@dataclass(frozen=True, slots=True)
class Piece:
    """Which piece is meant: one of a lot, or one in words. `reason` says why it is here where it is no piece of the position's own item."""

    lot: Lot | None = None
    words: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Done:
    """What was done to pieces of an assembly: `drill` and `final` where they were drilled."""

    deed: str
    on: date
    drill: str = ""
    final: bool = False
    note: str = ""


# Assemblies


@transaction.atomic
def make_assembly(  # noqa: PLR0913 - what is said of it
    *,
    project: Project,
    name: str,
    by: Member,
    note: str = "",
    steps: Collection[tuple[Step, str]] = (),
    key: UUID | None = None,
) -> Assembly:
    """An assembly of a project, with its steps by phase. The same `key` again gives the first one."""
    policy.require(by, "plan", project.bench)
    if (there := known(Assembly, key)) is not None:
        return there
    row = Assembly(workshop_id=project.workshop_id, project=project, key=key)
    row.name, row.note = filled("name", name, MOST_NAME), optional("note", note, MOST_NOTE)
    Project.objects.select_for_update(no_key=True).get(pk=project.pk)  # nobody gives the name to another between look and save
    _refuse_name(row)
    refuse_if_closed(*(step for step, _ in steps))
    made, new = find_or_make(lambda: known(Assembly, key), lambda: saved(row, by))
    if new:
        _put_steps(made, steps, by)
    return made


@transaction.atomic
def edit_assembly(*, assembly: Assembly, changes: Mapping[str, Any], by: Member) -> Assembly:
    """Change its name or note."""
    row = _locked(assembly, by)
    said = {}
    if "name" in changes:
        said["name"] = filled("name", changes["name"], MOST_NAME)
    if "note" in changes:
        said["note"] = optional("note", changes["note"], MOST_NOTE)
    if assign(row, said):
        _refuse_name(row)
        changed_by(row, by).save()
    return row


@transaction.atomic
def set_steps(*, assembly: Assembly, steps: Collection[tuple[Step, str]], by: Member) -> Assembly:
    """Say in which steps it is put together, drilled, taken apart and closed: these, and no others."""
    row = _locked(assembly, by)
    _refuse_closed(row, coming=[step for step, _ in steps])
    _put_steps(row, steps, by)
    return row


@transaction.atomic
def add_positions(  # noqa: PLR0913 - parts, numbers, item
    *, assembly: Assembly, parts: Sequence[str], first: int, last: int, by: Member, item: Item | None = None
) -> list[Position]:
    """Number the positions of some parts from `first` to `last`; those that are there already stay as they are."""
    row = _locked(assembly, by)
    _refuse_closed(row)
    names = list(dict.fromkeys(filled("part", part, MOST_PART) for part in parts if part.strip()))
    _check_numbers(names, first, last)
    if item is not None:
        policy.own(by, item)
    there = {(number, part.upper()) for number, part in Position.objects.filter(assembly=row).values_list("number", "part")}
    wanted = [(number, part) for number in range(first, last + 1) for part in names if (number, part.upper()) not in there]
    if not wanted:
        raise NameTaken("parts", f"{', '.join(names)} {first} to {last}: all of these positions are there already")
    made = [Position(workshop_id=row.workshop_id, assembly=row, number=number, part=part, item=item) for number, part in wanted]
    return create_many(made, by)


@transaction.atomic
def remove_position(*, position: Position, by: Member) -> None:
    """Remove a position that no piece was ever marked for."""
    _refuse_closed(_locked(position.assembly, by))
    if position.marks.exists():
        raise InUse(f"{position}: pieces were marked for it, and their history stays")
    changed_by(position, by).delete()


def _check_numbers(parts: Sequence[str], first: int, last: int) -> None:
    if not parts:
        raise NoPiece("parts", "name at least one part, such as skin, stiffener")
    if not 1 <= first <= last <= MOST_NUMBER:
        raise ElsewhereRow("last", f"numbers run from 1 to {MOST_NUMBER}, the first not after the last: {first} to {last} doesn't")
    if (last - first + 1) * len(parts) > MOST_AT_ONCE:
        raise ElsewhereRow("last", f"{(last - first + 1) * len(parts)} positions at once: {MOST_AT_ONCE} are the most")


def _put_steps(assembly: Assembly, steps: Collection[tuple[Step, str]], by: Member) -> None:
    for step, _ in steps:
        if step.project_id != assembly.project_id:
            raise ElsewhereRow("steps", f"{step.code} is a step of another project than the assembly")
    shared: dict[str, Any] = {"workshop_id": assembly.workshop_id, "assembly_id": assembly.pk}
    wanted = {(step.pk, Phase(phase).value): {**shared, "step_id": step.pk, "phase": Phase(phase).value} for step, phase in steps}
    present = {(row.step_id, row.phase): row for row in AssemblyStep.objects.filter(assembly=assembly)}
    put_these(AssemblyStep, present, wanted, by)


def _refuse_name(row: Assembly) -> None:
    others = Assembly.objects.filter(project=row.project_id).exclude(pk=row.pk).annotate(upper=Upper("name"))
    if others.filter(upper=row.name.upper()).exists():
        raise NameTaken("name", f"there is an assembly {row.name} already: give this one another name")


# Pieces


@transaction.atomic
def mark(*, position: Position, piece: Piece, on: date, by: Member, today: date, key: UUID | None = None) -> Mark:  # noqa: PLR0913 - a mark
    """Mark a piece for a position that has none. The same `key` again gives the first mark."""
    (held,) = _hold(by, [position])
    if (there := known(Mark, key)) is not None:
        return there
    _refuse_closed(held.assembly)
    refuse_ahead(on, today)
    if (standing := _standing(held)) is not None:
        raise PositionTaken(f"{_name(standing)} is marked for it: replace it, or take it away first")
    return _put(held, piece, on, by, key)


@transaction.atomic
def replace(  # noqa: PLR0913 - what goes, what comes, why
    *, mark: Mark, why: str, piece: Piece, on: date, by: Member, today: date, key: UUID | None = None
) -> Mark:
    """Put a new piece in the place of a marked one. It gets a mark of its own, and the old one's history stays."""
    (held,) = _hold(by, [mark.position])
    if (there := known(Mark, key)) is not None:
        return there
    _refuse_closed(held.assembly)
    refuse_ahead(on, today)
    _end(_still(mark, held), why, on, by)
    return _put(held, piece, on, by, key)


@transaction.atomic
def take_away(*, mark: Mark, why: str, on: date, by: Member, today: date) -> Mark:
    """Take a marked piece out of its position; the position is empty then."""
    (held,) = _hold(by, [mark.position])
    _refuse_closed(held.assembly)
    refuse_ahead(on, today)
    row = _still(mark, held)
    _end(row, why, on, by)
    return row


@transaction.atomic
def take_for(  # noqa: PLR0913 - which, for what, why
    *, mark: Mark, position: Position, reason: str, on: date, by: Member, today: date, key: UUID | None = None
) -> Mark:
    """Take a marked piece for another position of its project, with a reason: its holes were drilled with others.

    A piece that is there changes places with it. Both get a new mark.
    """
    here, target = _hold(by, [mark.position, position])
    if (there := known(Mark, key)) is not None:
        return there
    _refuse_closed(here.assembly, target.assembly)
    refuse_ahead(on, today)
    if here.pk == target.pk:
        raise ElsewhereRow("position", f"{mark.position} is where it is: choose another position")
    if here.assembly.project_id != target.assembly.project_id:
        raise ElsewhereRow("position", f"{target} is of another project")
    said = filled("reason", reason, MOST_REASON - MOST_PART - 20)
    going, coming = _still(mark, here), _standing(target)
    for row, to in ((going, target), (coming, here)):
        if row is not None:
            _end(row, f"taken for {to}: {said}", on, by)
    if coming is not None:
        _put(here, _same(coming, said), on, by, None, came_from=coming)
    return _put(target, _same(going, said), on, by, key, came_from=going)


@transaction.atomic
def note_deed(  # noqa: PLR0913 - what was done to which
    *, assembly: Assembly, first: int, last: int, done: Done, by: Member, today: date, key: UUID | None = None
) -> list[MarkEvent]:
    """Write down what was done to all pieces of these numbers at once: they are put together and drilled together.

    The same `key` again writes nothing.
    """
    policy.require(by, "use_stock", assembly.project.bench)
    refuse_ahead(done.on, today)
    drill = _drill(done)
    numbers = Position.objects.filter(assembly=assembly, number__gte=first, number__lte=last)
    positions = _hold(by, numbers.order_by("pk"))
    standing = list(Mark.objects.filter(position__in=positions, ended_on=None).select_related("position").order_by("position"))
    if key is not None and (there := list(MarkEvent.objects.filter(mark__position__assembly=assembly, key=key))):
        return there
    _refuse_closed(assembly)
    if not standing:
        raise NoPiece("first", f"no piece is marked for a position from {first} to {last}: mark the pieces first")
    final = done.final and done.deed == Deed.DRILLED
    shared = {"deed": Deed(done.deed), "drill": drill, "final": final, "on": done.on, "by": by, "key": key}
    note = optional("note", done.note, MOST_REASON)
    rows = [
        MarkEvent(workshop_id=row.workshop_id, mark=row, mates=_mates(row, standing, done.deed), note=note, **shared) for row in standing
    ]
    return MarkEvent.objects.bulk_create(rows)


def _drill(done: Done) -> str:
    if done.deed != Deed.DRILLED:
        return ""
    name = optional("drill", done.drill, 10).lstrip("#")
    if name:
        try:
            drill_size(name)
        except ValueError as error:
            raise FieldProblem("drill", f"{done.drill}: {error}") from error
    return name


def _mates(row: Mark, standing: Iterable[Mark], deed: str) -> str:
    if deed not in DONE_TOGETHER:
        return ""
    others = [one for one in standing if one.position.number == row.position.number and one.pk != row.pk]
    return ", ".join(_name(one) for one in others)[:MOST_NOTE]


def _hold(by: Member, positions: Iterable[Position]) -> list[Position]:
    """The positions, locked in one order and given back in the order asked for."""
    asked = list(positions)
    rows = Position.objects.select_for_update(no_key=True, of=("self",)).select_related("assembly__project__bench", "item")
    found = {row.pk: row for row in rows.filter(pk__in=[one.pk for one in asked]).order_by("pk")}
    for row in found.values():
        policy.require(by, "use_stock", row.assembly.project.bench)
    return [found[one.pk] for one in asked]


def _refuse_closed(*assemblies: Assembly, coming: Collection[Step] = ()) -> None:
    """Refuse where a step of these, or one that is to come to them, is of a section that is closed up.

    Rows of this slice are locked before: nothing else that locks a section wants them.
    """
    refuse_if_closed(*Step.objects.filter(assemblies__assembly__in=assemblies).distinct(), *coming)


def _standing(position: Position) -> Mark | None:
    return Mark.objects.filter(position=position, ended_on=None).select_related("position").first()


def _still(mark: Mark, position: Position) -> Mark:
    """The mark as it is now; refused where the piece is gone."""
    row = Mark.objects.select_related("position", "lot", "item").get(pk=mark.pk)
    if row.ended_on is not None:
        raise PieceGone(f"{_name(row)} was taken away on {row.ended_on}: {row.ended_why}. What is at {position} now is another piece")
    return row


def _put(  # noqa: PLR0913 - a mark as it is saved
    position: Position, piece: Piece, on: date, by: Member, key: UUID | None, came_from: Mark | None = None
) -> Mark:
    words = optional("piece", piece.words, MOST_WORDS)
    reason = optional("reason", piece.reason, MOST_REASON)
    _refuse_piece(position, piece, words, reason)
    used = Mark.objects.filter(position=position).values_list("serial", flat=True)
    made = Mark.objects.create(
        workshop_id=position.workshop_id,
        position=position,
        serial=next_serial(used),
        item_id=piece.lot.item_id if piece.lot else position.item_id,
        lot=piece.lot,
        words=words,
        reason=reason,
        came_from=came_from,
        on=on,
        by=by,
        key=key,
    )
    came = f"was {_name(came_from)}" if came_from else ""
    MarkEvent.objects.create(workshop_id=made.workshop_id, mark=made, deed=Deed.MARKED, note=came, on=on, by=by)
    return made


def _refuse_piece(position: Position, piece: Piece, words: str, reason: str) -> None:
    if piece.lot is None and not words:
        raise NoPiece("words", "say which piece: its lot, or a few words that find it")
    if piece.lot is None:
        return
    if piece.lot.workshop_id != position.workshop_id:
        raise NoPiece("lot", "this lot is another workshop's")
    if position.item is not None and piece.lot.item_id != position.item_id and not reason:
        wanted = position.item.code
        text = f"the lot is {piece.lot.item.code}, and {position} takes {wanted}: say why it is taken here, or choose another lot"
        raise NoPiece("reason", text)


def _same(mark: Mark, reason: str) -> Piece:
    row = Mark.objects.select_related("lot__item").get(pk=mark.pk)
    return Piece(row.lot, row.words, reason)


def _end(row: Mark, why: str, on: date, by: Member) -> None:
    row.ended_on, row.ended_by, row.ended_why = on, by, filled("reason", why, MOST_REASON)
    row.save(update_fields=["ended_on", "ended_by", "ended_why"])
    MarkEvent.objects.create(workshop_id=row.workshop_id, mark=row, deed=Deed.ENDED, note=row.ended_why, on=on, by=by)


def _name(mark: Mark) -> str:
    return f"{mark.position.part} {mark_text(mark.position.number, mark.serial)}"


def _locked(assembly: Assembly, by: Member) -> Assembly:
    policy.require(by, "plan", assembly.project.bench)
    return Assembly.objects.select_for_update(no_key=True, of=("self",)).select_related("project__bench").get(pk=assembly.pk)
