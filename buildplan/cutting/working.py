"""What is done to pieces: trim, flute, dimple, prime. So many of them are meant; what was really done is counted."""

from datetime import date, datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Sum

from buildplan.cutting.models import Operation, OperationDone, Piece
from buildplan.cutting.problems import CutHere, NotThatMany
from buildplan.hardware.services import lock_to_do
from buildplan.plan.models import Hand
from buildplan.plan.services import refuse_if_closed
from inventory.common.history import assign, changed_by
from inventory.common.problems import FieldProblem
from inventory.common.rows import find_or_make
from inventory.common.texts import BadText, filled, optional
from inventory.models import Member
from inventory.workshop import policy

MOST_NAME = 40
MOST_NOTE = 200


@transaction.atomic
def save_operation(  # noqa: PLR0913 - what an operation says
    *, piece: Piece, name: str, hand: str, count: int, by: Member, note: str = "", operation: Operation | None = None
) -> Operation:
    """Say that so many of a piece, of one hand or of none, are to be trimmed or fluted. All hands together are no more than there are."""
    policy.require(by, "plan", piece.step.project.bench)
    policy.own(by, piece)
    lock_to_do(piece.step, "what is done to its pieces")
    found = operation or Operation(workshop_id=piece.workshop_id, piece=piece)
    said = {"name": _name(name), "hand": _hand(hand), "count": count, "note": optional("note", note, MOST_NOTE)}
    others = Operation.objects.filter(piece=piece, name__iexact=said["name"]).exclude(pk=found.pk)
    if others.filter(hand=said["hand"]).exists():
        raise FieldProblem("hand", f"{said['name']} is there for {said['hand']} already: change that one")
    meant = count + (others.aggregate(total=Sum("count"))["total"] or 0)
    if count < 1 or meant > piece.count:
        raise FieldProblem("count", f"{meant} of {piece.code} would be worked on, and the step has {piece.count}: give 1 to {piece.count}")
    if assign(found, said) or found.pk is None:
        changed_by(found, by).save()
    return found


@transaction.atomic
def remove_operation(*, operation: Operation, by: Member) -> None:
    """Take it out. Refused once it was done to a piece: that is a record."""
    policy.require(by, "plan", operation.piece.step.project.bench)
    policy.own(by, operation)
    lock_to_do(operation.piece.step, "what is done to its pieces")
    if OperationDone.objects.filter(operation=operation).exists():
        raise CutHere(f"{operation.name} was done already: that is a record, so it stays. Change the number instead")
    changed_by(operation, by).delete()


@transaction.atomic
def note_done(*, operation: Operation, count: int, on: date, key: UUID, by: Member) -> OperationDone:
    """Count pieces that it was done to. More than were meant is written down too: it happened, and the pages show it.

    The same `key` again counts nothing twice. No more than there are pieces. Refused where the section of their step is closed up.
    """
    policy.require(by, "use_stock", operation.piece.step.project.bench)
    policy.own(by, operation)
    refuse_if_closed(operation.piece.step, unless=OperationDone.objects.filter(key=key))
    piece = Piece.objects.select_for_update().get(pk=operation.piece_id)
    if (made := OperationDone.objects.filter(key=key).first()) is not None:
        return made
    same = OperationDone.objects.filter(operation__piece=piece, operation__name__iexact=operation.name, undone_at=None)
    left = piece.count - (same.aggregate(total=Sum("count"))["total"] or 0)
    if not 0 < count <= left:
        raise NotThatMany(f"{count} of {piece.code} can't have had {operation.name}: {left} of {piece.count} are as they were")
    row = OperationDone(workshop_id=operation.workshop_id, operation=operation, count=count, on=on, key=key, by=by)
    made, _ = find_or_make(lambda: OperationDone.objects.filter(key=key).first(), lambda: _saved(row))
    return made


@transaction.atomic
def take_back_done(*, done: OperationDone, now: datetime, by: Member) -> OperationDone:
    """It was counted by mistake: it counts no more, and stays on record. Twice is once. Refused where its section is closed up."""
    policy.require(by, "use_stock", done.operation.piece.step.project.bench)
    policy.own(by, done)
    refuse_if_closed(done.operation.piece.step)
    found = OperationDone.objects.select_for_update().get(pk=done.pk)
    if found.undone_at is None:
        found.undone_at = now
        found.save(update_fields=["undone_at"])
    return found


def _saved(row: OperationDone) -> OperationDone:
    row.save()
    return row


def _name(name: str) -> str:
    try:
        return filled("name", name, MOST_NAME)
    except BadText as error:
        raise FieldProblem("name", str(error)) from error


def _hand(hand: str) -> str:
    if hand not in Hand.values:
        raise FieldProblem("hand", f"{hand!r} is no hand: there are {', '.join(Hand.values)}")
    return hand
