"""Writing down that a cut was sawn: the pieces, the offcuts that are kept, and later what was spoiled.

What is promised from an offcut must fit in it, as planning reckons; else it is refused, unless a reason is given: then it is wanted again.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from uuid import UUID, uuid5

from django.db import transaction
from django.db.models import Sum
from django.utils import timezone

from buildplan.cutting import queries
from buildplan.cutting.keeping import used_by
from buildplan.cutting.leavings import enough, listed, overrun, shared
from buildplan.cutting.measuring import MOST_CERTIFICATE, Kept, Release, checked
from buildplan.cutting.models import Blank, Cut, CutPiece, Measured, Spoiled
from buildplan.cutting.planning import (
    first_step,
    free,
    give_up,
    lock_cut,
    reserve,
    steps_of,
    write_lines,
)
from buildplan.cutting.problems import DoesNotFit, NotThatMany
from buildplan.cutting.stranding import Material, Need, Saw, yields_left
from buildplan.fitting.services import refuse_if_held
from buildplan.plan.services import refuse_if_closed
from inventory.common.exact import decimal_text
from inventory.common.history import MOST_WHY, changed_by
from inventory.common.problems import FieldProblem
from inventory.common.rows import find_or_make
from inventory.common.texts import filled, optional
from inventory.models import Holding, Lot, Member, Place
from inventory.stock import services as stock
from inventory.workshop import policy

MOST_CAUSE = 200
MOST_KEPT = 50
ONE = Decimal(1)
Counts = Mapping[int, int]  # of pieces, by id


@dataclass(frozen=True, slots=True)
class _Sawn:
    """One cut with what is said of it, checked: the blank it was, its lines, what is kept and, by offcut, what is promised from it."""

    cut: Cut
    before: Measured | None
    now: Sequence[CutPiece]
    later: Sequence[CutPiece]
    said: Sequence[Mapping[str, object]]
    rest: list[list[object]]
    promised: Sequence[Counts]


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
    release: str = "",
) -> Cut:
    """Write down that a planned cut was sawn on a day; there is no undoing it.

    The blank leaves `source`. Pieces that are something in the catalogue become lots, and each offcut that is kept becomes one, laid in
    `target`: with the mother's code, dates and certificate. What was promised for later is planned on the offcuts that give it, and those
    are held; `release` is the reason why all of that is given up instead, and wanted again at once. Refused: more pieces and offcuts than
    come out of the blank, a promise that no offcut gives, a day to come, a cut that is sawn already, a step held by a conflict or of a
    section that is closed up.
    """
    policy.own(by, cut, source, target)
    refuse_if_closed(*steps_of(CutPiece.objects.filter(cut=cut, later=False).values_list("piece_id", flat=True)))
    found = lock_cut(cut, by, "use_stock")
    _refuse_day_to_come(on, now)
    lines = list(found.pieces.select_related("piece__step__project", "piece__item").order_by("pk"))
    for step in {line.piece.step_id: line.piece.step for line in lines if not line.later}.values():
        refuse_if_held(step)
    locked = stock.lock_lot(found.lot)
    why = _reason(release, [line for line in lines if line.later])
    sawn = _sawn(found, lines, kept, given_up=bool(why))
    free(found, by)
    made = [line for line in sawn.now if line.piece.item is not None]
    parts = _parts(made, found.blank, len(kept), target)
    lots = stock.cut_up(lot=locked, quantity=found.quantity, place=source, parts=parts, on=on, by=by, ref=found.ref)
    for line, lot in zip(made, lots, strict=False):
        line.lot = lot
        line.save(update_fields=["lot"])
    _measure_all(sawn, made, lots, certificate, by)
    found.sawn_on, found.sawn_at, found.sawn_by = on, now, by
    changed_by(found, by).save(update_fields=["sawn_on", "sawn_at", "sawn_by"])
    left = lots[len(made) :]
    if why:
        _release(sawn, left[0] if left else found.lot, Release(why, now), by)
    else:
        _promise(sawn, left, by)
    return found


def _parts(made: Sequence[CutPiece], blank: Blank, kept: int, target: Place) -> list[stock.Part]:
    """What becomes a lot: the pieces that are something in the catalogue, then the offcuts."""
    pieces = [stock.Part(line.piece.item, Decimal(line.count), target) for line in made if line.piece.item]
    return pieces + [stock.Part(blank.offcut, ONE, target) for _ in range(kept) if blank.offcut]


def _refuse_day_to_come(on: date, now: datetime) -> None:
    if on > timezone.localtime(now).date():
        raise FieldProblem("on", f"{on} is still to come: give the day on which it was sawn")


def _reason(release: str, later: Sequence[CutPiece]) -> str:
    why = optional("release", release, MOST_WHY)
    if why and not later:
        raise FieldProblem("release", "this cut promises nothing for later: leave the reason out")
    return why


def _sawn(found: Cut, lines: Sequence[CutPiece], kept: Sequence[Kept], *, given_up: bool) -> _Sawn:
    """What is said of a saw, where it can be so. The lot is locked."""
    now, later = [line for line in lines if not line.later], [line for line in lines if line.later]
    _refuse_nothing_sawn(now, later, kept, given_up=given_up)
    before = Measured.objects.filter(lot=found.lot_id).first()
    saws = queries.rules()
    sizes = queries.sizes_of(found.blank, saws)
    used, saw = used_by(found, before, sizes), queries.saw_of(sizes)
    said = [checked(one, found.blank) for one in kept]
    rest = _yields(found, used, now)
    left = [_material(at, one, rest if at == 0 else []) for at, one in enumerate(said)]
    for one in left:
        _refuse_larger(used, one)
    if text := overrun(used, [queries.need_of(line.piece, line.count, saws) for line in now], left, saw):
        raise DoesNotFit(text)
    needs = [queries.need_of(line.piece, line.count, saws) for line in later]
    promised: Sequence[Counts] = () if given_up or not needs else _shared(needs, left, saw)
    return _Sawn(found, before, now, later, said, rest, promised)


def _refuse_nothing_sawn(sawn: Sequence[CutPiece], later: Sequence[CutPiece], kept: Sequence[Kept], *, given_up: bool) -> None:
    if not sawn:
        raise FieldProblem("kept", "all of this cut is promised for later: there is nothing to saw yet")
    if later and not kept and not given_up:
        names = ", ".join(f"{line.count} of {line.piece.code} for {line.piece.step.code}" for line in later)
        raise FieldProblem(
            "kept", f"{names} are promised from what is left: keep an offcut and write down its size, or say why the promise is given up"
        )
    if len(kept) > MOST_KEPT:
        raise FieldProblem("kept", f"at most {MOST_KEPT} offcuts of one blank are kept")


def _material(at: int, said: Mapping[str, object], rest: Sequence[Sequence[object]]) -> Material:
    """An offcut for the arithmetic. `at` is its place among those that are kept."""
    length, width = (queries.mm(said[name], str(said["unit"])) for name in ("length", "width"))  # type: ignore[arg-type]
    yields = tuple((str(group), str(code), int(str(many))) for group, code, many in rest)
    return Material(at, "the offcut", 1, whole=False, length=length, width=width, grain=str(said["grain"]), yields=yields)


def _shared(needs: Sequence[Need], left: Sequence[Material], saw: Saw) -> Sequence[Counts]:
    """By offcut, how many of which piece it is promised for."""
    try:
        found = shared(needs, left, saw)
    except ValueError as error:
        raise FieldProblem("kept", f"what is promised from the offcut doesn't fit: {error}") from error
    if not found.missing:
        return found.given
    unmeasured = [one for one in left if one.length is None]
    gives = "none of the offcuts is measured" if len(unmeasured) == len(left) else _gives(needs, found.missing, left)
    advice = "Measure the offcut that is kept" if unmeasured else "Keep one that does"
    text = (
        f"{listed(needs)} are promised from what is left, and {gives}; {enough(needs, saw)}. {advice}, or say why the promise is given up"
    )
    raise FieldProblem("kept", f"{text}: then the pieces are wanted again")


def _gives(needs: Sequence[Need], missing: Counts, left: Sequence[Material]) -> str:
    sizes = " and ".join(
        " x ".join(decimal_text(side) for side in (one.length, one.width) if side is not None) + " mm"
        for one in left
        if one.length is not None
    )
    count = sum(one.count for one in needs)
    given = count - sum(missing.values())
    return f"{sizes} {'give' if ' and ' in sizes else 'gives'} {given or 'none'} of the {count}"


def _measure_all(sawn: _Sawn, made: Sequence[CutPiece], lots: Sequence[Lot], certificate: str, by: Member) -> None:
    found, before = sawn.cut, sawn.before
    paper = optional("certificate", certificate, MOST_CERTIFICATE) or (before.certificate if before else "")
    thick = (before.thickness if before else None) or found.blank.thickness
    for line, lot in zip(made, lots, strict=False):
        piece = line.piece
        sizes = {"unit": piece.unit or "mm", "length": piece.length, "width": piece.width}
        _note(found, lot, by, certificate=paper, **sizes)
    for at, (said, lot) in enumerate(zip(sawn.said, lots[len(made) :], strict=True)):
        more = {"thickness": _in_unit(thick, found.blank, said), "yields": sawn.rest if at == 0 else []}
        _note(found, lot, by, certificate=paper, **more, **said)


def _in_unit(thick: Fraction | None, blank: Blank, said: Mapping[str, object]) -> Fraction | None:
    return thick if said["unit"] == blank.unit else None


def _note(found: Cut, lot: Lot, by: Member, **fields: object) -> None:
    row = Measured(workshop_id=found.workshop_id, lot=lot, mother=found.lot, cut=found, **fields)
    changed_by(row, by).save()


def _refuse_larger(used: Material, kept: Material) -> None:
    """An offcut is no larger than what it came from: else it was measured in another unit."""
    room = sorted(size for size in (used.length, used.width) if size is not None)
    given = sorted(size for size in (kept.length, kept.width) if size is not None)
    if any(side > most for side, most in zip(given, room, strict=False)):
        raise DoesNotFit("an offcut is larger than the blank it came from: check its size and unit")


def _yields(found: Cut, used: Material, lines: Sequence[CutPiece]) -> list[list[object]]:
    """What the first offcut still gives by yield, what is promised of it among that."""
    needs = [queries.need_of(line.piece, line.count, queries.Rules()) for line in lines]
    if not needs or any(not one.per_blank for one in needs):
        return []
    siblings = queries.group_needs(found.blank, needs[0].group)
    return [[*one] for one in yields_left([*siblings, *needs], used, needs)]


def _promise(sawn: _Sawn, lots: Sequence[Lot], by: Member) -> None:
    """What this cut promised, as cuts of their own that are planned on the offcuts. Their keys follow from this one's."""
    given = [(lot, counts) for lot, counts in zip(lots, sawn.promised, strict=False) if counts]
    for at, (lot, counts) in enumerate(given):
        reserve(_daughter(sawn, lot, counts, f"later {at}" if at else "later", by), by)


def _release(sawn: _Sawn, lot: Lot, release: Release, by: Member) -> None:
    """What this cut promised is given up, and that is on record with its reason as a cut that was never sawn."""
    row = _daughter(sawn, lot, {line.piece_id: line.count for line in sawn.later}, "later", by)
    give_up(row, release.at, by, release.why)


def _daughter(sawn: _Sawn, lot: Lot, counts: Counts, name: str, by: Member) -> Cut:
    found = sawn.cut
    step = first_step(line.piece for line in sawn.later if line.piece_id in counts)
    said = {"quantity": ONE, "step": step, "key": uuid5(found.key, name), "mother": found, "by": by}
    row = Cut(workshop_id=found.workshop_id, blank=found.blank, lot=lot, note=found.note, **said)
    changed_by(row, by).save()
    write_lines(row, counts, {})
    return row


@transaction.atomic
def spoil_pieces(*, line: CutPiece, count: int, cause: str, on: date, key: UUID, by: Member) -> Spoiled:  # noqa: PLR0913
    """Write down that sawn pieces are no good, and why; they are wanted anew from this moment. The same `key` again makes no second one.

    Where they lie on a shelf as a lot they are scrapped from there. Refused where the section of their step is closed up.
    """
    policy.own(by, line)
    refuse_if_closed(*steps_of([line.piece_id]), unless=Spoiled.objects.filter(key=key))
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
