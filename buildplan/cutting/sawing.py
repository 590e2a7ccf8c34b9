"""Writing down that a cut was sawn: the pieces, the offcuts that are kept, and later what was spoiled."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from uuid import UUID, uuid5

from django.db import transaction
from django.db.models import Sum

from buildplan.cutting import queries
from buildplan.cutting.models import Blank, Cut, CutPiece, Form, Measured, Spoiled
from buildplan.cutting.planning import first_step, free, lock_cut, reserve, write_lines
from buildplan.cutting.problems import DoesNotFit, NotThatMany
from buildplan.cutting.stating import checked_grain, checked_unit, size_of
from buildplan.cutting.stranding import yields_left
from buildplan.fitting.services import refuse_if_held
from inventory.common.history import changed_by
from inventory.common.problems import FieldProblem
from inventory.common.rows import find_or_make
from inventory.common.texts import filled, optional
from inventory.models import Holding, Lot, Member, Place
from inventory.stock import services as stock
from inventory.workshop import policy

MOST_CAUSE = 200
MOST_CERTIFICATE = 120
MOST_KEPT = 50
ONE = Decimal(1)


@dataclass(frozen=True, slots=True)
class Kept:
    """An offcut that is kept: as measured, in `unit`. Sizes may be missing where nobody has measured it yet."""

    length: Fraction | None = None
    width: Fraction | None = None
    unit: str = "mm"
    grain: str = ""


@transaction.atomic
def saw_cut(  # noqa: PLR0913 - what is said of a sawn cut
    *,
    cut: Cut,
    source: Place,
    target: Place,
    kept: Sequence[Kept],
    on: date,
    now: datetime,
    by: Member,
    certificate: str = "",
) -> Cut:
    """Write down that a planned cut was sawn on a day; there is no undoing it.

    The blank leaves `source`. Pieces that are something in the catalogue become lots, and each offcut that is kept becomes one, laid in
    `target`: with the mother's code, dates and certificate. What was promised for later is planned on the first offcut, and that is held.
    Sawn once more it is refused; a step held by a conflict is not sawn for.
    """
    policy.own(by, source, target)
    found = lock_cut(cut, by, "use_stock")
    lines = list(found.pieces.select_related("piece__step__project", "piece__item").order_by("pk"))
    for step in {line.piece.step_id: line.piece.step for line in lines if not line.later}.values():
        refuse_if_held(step)
    sawn, later = [line for line in lines if not line.later], [line for line in lines if line.later]
    _refuse_nothing_sawn(sawn, later, kept)
    offcut = found.blank.offcut
    locked = stock.lock_lot(found.lot)
    free(found, by)
    made = [line for line in sawn if line.piece.item is not None]
    parts = [stock.Part(line.piece.item, Decimal(line.count), target) for line in made if line.piece.item]
    parts += [stock.Part(offcut, ONE, target) for _ in kept if offcut]
    lots = stock.cut_up(lot=locked, quantity=found.quantity, place=source, parts=parts, on=on, by=by, ref=found.ref)
    for line, lot in zip(made, lots, strict=False):
        line.lot = lot
        line.save(update_fields=["lot"])
    _measure_all(found, made, lots, kept, sawn, certificate, by)
    found.sawn_on, found.sawn_at, found.sawn_by = on, now, by
    changed_by(found, by).save(update_fields=["sawn_on", "sawn_at", "sawn_by"])
    if later:
        _promise(found, lots[len(made)], later, by)
    return found


def _refuse_nothing_sawn(sawn: Sequence[CutPiece], later: Sequence[CutPiece], kept: Sequence[Kept]) -> None:
    if not sawn:
        raise FieldProblem("kept", "all of this cut is promised for later: there is nothing to saw yet")
    if later and not kept:
        names = ", ".join(f"{line.count} of {line.piece.code} for {line.piece.step.code}" for line in later)
        raise FieldProblem("kept", f"{names} are promised from what is left: keep an offcut and write down its size")
    if len(kept) > MOST_KEPT:
        raise FieldProblem("kept", f"at most {MOST_KEPT} offcuts of one blank are kept")


def _measure_all(  # noqa: PLR0913 - one cut's rows
    found: Cut, made: Sequence[CutPiece], lots: Sequence[Lot], kept: Sequence[Kept], sawn: Sequence[CutPiece],
    certificate: str, by: Member,
) -> None:  # fmt: skip
    before = Measured.objects.filter(lot=found.lot_id).first()
    paper = optional("certificate", certificate, MOST_CERTIFICATE) or (before.certificate if before else "")
    thick = (before.thickness if before else None) or found.blank.thickness
    for line, lot in zip(made, lots, strict=False):
        piece = line.piece
        sizes = {"unit": piece.unit or "mm", "length": piece.length, "width": piece.width}
        _note(found, lot, by, certificate=paper, **sizes)
    rest = _yields(found, before, sawn)
    for at, (one, lot) in enumerate(zip(kept, lots[len(made) :], strict=True)):
        said = _checked(one, found.blank)
        _refuse_larger(found, before, said)
        _note(found, lot, by, certificate=paper, thickness=_in_unit(thick, found.blank, said), yields=rest if at == 0 else [], **said)


def _in_unit(thick: Fraction | None, blank: Blank, said: dict[str, object]) -> Fraction | None:
    return thick if said["unit"] == blank.unit else None


def _note(found: Cut, lot: Lot, by: Member, **fields: object) -> None:
    row = Measured(workshop_id=found.workshop_id, lot=lot, mother=found.lot, cut=found, **fields)
    changed_by(row, by).save()


def _checked(one: Kept, blank: Blank) -> dict[str, object]:
    unit = checked_unit(one.unit)
    if blank.form == Form.BAR and one.width is not None:
        raise FieldProblem("kept", "an offcut of a bar has a length alone")
    if blank.form == Form.SHEET and (one.length is None) != (one.width is None):
        raise FieldProblem("kept", "give the length and the width of an offcut, or neither")
    sizes = {name: None if (size := getattr(one, name)) is None else size_of("kept", size, unit) for name in ("length", "width")}
    return {"unit": unit, "grain": checked_grain(one.grain) or blank.grain, **sizes}


def _refuse_larger(found: Cut, before: Measured | None, said: dict[str, object]) -> None:
    """An offcut is no larger than what it came from: else it was measured in another unit."""
    whole = queries.material_of(
        found.lot, before, queries.sizes_of(found.blank, queries.Rules()), whole=found.lot.item_id == found.blank.item_id
    )
    sides = [queries.mm(said[name], str(said["unit"])) for name in ("length", "width")]  # type: ignore[arg-type]
    room = [size for size in (whole.length, whole.width) if size is not None]
    given = sorted(size for size in sides if size is not None)
    if any(side > most for side, most in zip(given, sorted(room), strict=False)):
        raise DoesNotFit("an offcut is larger than the blank it came from: check its size and unit")


def _yields(found: Cut, before: Measured | None, lines: Sequence[CutPiece]) -> list[list[object]]:
    """What the first offcut still gives by yield, what is promised of it among that."""
    needs = [queries.need_of(line.piece, line.count, queries.Rules()) for line in lines]
    if not needs or any(not one.per_blank for one in needs):
        return []
    whole = found.lot.item_id == found.blank.item_id
    used = queries.material_of(found.lot, before, queries.sizes_of(found.blank, queries.Rules()), whole=whole)
    siblings = queries.group_needs(found.blank, needs[0].group)
    return [[*one] for one in yields_left([*siblings, *needs], used, needs)]


def _promise(found: Cut, lot: Lot, later: Sequence[CutPiece], by: Member) -> None:
    """What this cut promised, as a cut of its own that is planned on the offcut. Its key follows from this one's."""
    step = first_step(line.piece for line in later)
    said = {"quantity": ONE, "step": step, "key": uuid5(found.key, "later"), "mother": found, "by": by}
    row = Cut(workshop_id=found.workshop_id, blank=found.blank, lot=lot, note=found.note, **said)
    changed_by(row, by).save()
    write_lines(row, {line.piece_id: line.count for line in later}, {})
    reserve(row, by)


@transaction.atomic
def spoil_pieces(*, line: CutPiece, count: int, cause: str, on: date, key: UUID, by: Member) -> Spoiled:  # noqa: PLR0913
    """Write down that sawn pieces are no good, and why; they are wanted anew from this moment. The same `key` again makes no second one.

    Where they lie on a shelf as a lot they are scrapped from there.
    """
    policy.own(by, line)
    line = (
        CutPiece.objects.select_for_update(of=("self",)).select_related("cut", "piece__step__project__bench", "lot__bench").get(pk=line.pk)
    )
    policy.require(by, "use_stock", line.piece.step.project.bench)
    if (made := Spoiled.objects.filter(key=key).first()) is not None:
        return made
    good = line.count - (line.spoiled.aggregate(total=Sum("count"))["total"] or 0)
    if line.cut.sawn_on is None or line.later:
        raise NotThatMany("this isn't sawn yet: nothing of it can be spoiled")
    if not 0 < count <= good:
        raise NotThatMany(f"{count} of {line.piece.code} can't be spoiled: {good} of this cut are good")
    said = {"count": count, "cause": filled("cause", cause, MOST_CAUSE), "on": on, "key": key, "by": by}
    row = Spoiled(workshop_id=line.workshop_id, line=line, **said)
    made, is_new = find_or_make(lambda: Spoiled.objects.filter(key=key).first(), lambda: _saved(row))
    if is_new and line.lot is not None:
        _scrap(line, count, on, by, made.cause)
    return made


def _saved(row: Spoiled) -> Spoiled:
    row.save()
    return row


def _scrap(line: CutPiece, count: int, on: date, by: Member, cause: str) -> None:
    """From where they lie, place by place; what a step has taken meanwhile isn't there any more, and is scrapped nowhere."""
    if line.lot is None:
        return
    left = Decimal(count)
    for held in Holding.objects.filter(lot=line.lot, quantity__gt=0, place__hands=None).select_related("place").order_by("place__path"):
        took = min(left, held.quantity)
        if took:
            stock.spoil(lot=line.lot, quantity=took, place=held.place, on=on, by=by, note=cause, ref=line.cut.ref)
        left -= took


@transaction.atomic
def measure(*, lot: Lot, said: Kept, by: Member, thickness: Fraction | None = None, certificate: str = "") -> Measured:
    """Write down how large a lot really is, and its certificate. Where it was cut from something, that stays as it was."""
    policy.require(by, "use_stock", lot.bench)
    policy.own(by, lot)
    locked = stock.lock_lot(lot)
    blank = Blank.objects.filter(item=locked.item_id).first() or Blank.objects.filter(offcut=locked.item_id).first()
    if blank is None:
        raise FieldProblem("length", f"{locked.item.code} is no blank: say first that pieces are cut from it")
    fields = _checked(said, blank) | {
        "thickness": None if thickness is None else size_of("thickness", thickness, said.unit),
        "certificate": optional("certificate", certificate, MOST_CERTIFICATE),
    }
    found = Measured.objects.filter(lot=locked).first() or Measured(workshop_id=locked.workshop_id, lot=locked)
    for name, value in fields.items():
        setattr(found, name, value)
    changed_by(found, by).save()
    return found
