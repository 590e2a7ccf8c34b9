"""Planning a cut: what it gives, whether it strands anything, the blank held for it; and giving it up before the saw."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet

from buildplan.cutting import queries
from buildplan.cutting.calc import Plan, Stock, Wanted, cut
from buildplan.cutting.models import Blank, Cut, CutPiece, Piece
from buildplan.cutting.problems import BlankPromised, CutOver, DoesNotFit, NotThatMany, Strands
from buildplan.cutting.sheets import Rectangle, Sheet, SheetPlan, cut_sheets
from buildplan.cutting.stranding import Material, Need, Saw, Stranded, holds, offcuts, stranding
from buildplan.cutting.whys import why_cut
from buildplan.fitting.services import refuse_if_held
from buildplan.hardware.services import refuse_done
from buildplan.plan.calc import step_ref
from buildplan.plan.models import Step
from buildplan.plan.services import refuse_if_closed
from inventory.common.history import MOST_WHY, changed_by
from inventory.common.problems import FieldProblem, Problem
from inventory.common.reasons import Reason
from inventory.common.rows import find_or_make
from inventory.common.texts import optional
from inventory.models import Lot, Member, SetAside
from inventory.stock import services as stock
from inventory.workshop import policy

MOST_NOTE = 200
NOTHING = Decimal(0)
Counts = Mapping[int, int]  # of pieces, by id


@dataclass(frozen=True, slots=True)
class Layout:
    """What a cut looks like: bars or a sheet with the pieces that are sawn now and those promised, and what it strands.

    `plan` is None where the pieces come by yield: then nobody said where they lie. `reasons` is the trace of its figures.
    """

    plan: Plan | SheetPlan | None
    offcuts: tuple[Material, ...]
    stranded: Stranded
    reasons: tuple[Reason, ...] = ()


@transaction.atomic
def plan_cut(  # noqa: PLR0913 - what is said of a cut
    *,
    blank: Blank,
    lot: Lot,
    now: Mapping[Piece, int],
    later: Mapping[Piece, int],
    key: UUID,
    by: Member,
    accept: bool = False,
    note: str = "",
) -> Cut:
    """Hold one blank, or an offcut, of `lot` for a cut that gives `now`; what is `later` stays promised from what it leaves.

    The same `key` again makes no second one. Refused: more pieces than are wanted, what the blank doesn't give, a step that is done, held
    by a conflict or of a section that is closed up, a blank that is promised; and by `Strands` a cut that leaves other pieces without
    material that have some now, unless `accept` says that this was seen and is meant.
    """
    policy.own(by, blank, lot, *now, *later)
    asked = {piece.pk for piece in (*now, *later)}
    refuse_if_closed(*steps_of(asked), unless=Cut.objects.filter(key=key))
    pieces = _lock_pieces(asked)
    for step in {piece.step_id: piece.step for piece in pieces.values()}.values():
        policy.require(by, "plan", step.project.bench)
    locked = stock.lock_lot(lot)
    if (made := Cut.objects.filter(key=key).first()) is not None:
        return made
    wanted = _counts(now), _counts(later)
    _check(blank, locked, pieces, *wanted)
    look = _look(blank, locked, pieces, *wanted)
    if look.stranded.lost and not accept:
        raise Strands(look.stranded.text)
    step = first_step(pieces.values())
    quantity = blank.quantity if locked.item_id == blank.item_id else Decimal(1)
    row = Cut(
        workshop_id=by.workshop_id,
        blank=blank,
        lot=locked,
        quantity=quantity,
        step=step,
        key=key,
        note=optional("note", note, MOST_NOTE),
        accepted=bool(look.stranded.lost),
        by=by,
    )
    made, is_new = find_or_make(lambda: Cut.objects.filter(key=key).first(), lambda: _saved(row, by))
    if is_new:
        write_lines(made, *wanted)
        reserve(made, by)
    return made


@transaction.atomic
def undo_cut(*, cut: Cut, now: datetime, by: Member) -> Cut:
    """Give up a cut before the saw: the blank is free again, and its pieces are wanted as before. It stays on record.

    It stays possible where a section is closed up: nothing was sawn, and the blank is of use elsewhere.
    """
    found = lock_cut(cut, by, "plan")
    stock.lock_lot(found.lot)
    return give_up(found, now, by)


def give_up(cut_row: Cut, now: datetime, by: Member, why: str = "") -> Cut:
    """The blank is free and the pieces are wanted again; `why` becomes the cut's note. Cut and lot are locked."""
    free(cut_row, by)
    cut_row.undone_at, cut_row.undone_by, cut_row.note = now, by, why or cut_row.note
    changed_by(cut_row, by, why[:MOST_WHY]).save(update_fields=["undone_at", "undone_by", "note"])
    return cut_row


def look_at(*, blank: Blank, lot: Lot, now: Mapping[Piece, int], later: Mapping[Piece, int]) -> Layout:
    """The layout of a cut before it is planned, and what it would strand. Writes nothing."""
    pieces = {piece.pk: piece for piece in (*now, *later)}
    wanted = _counts(now), _counts(later)
    _check(blank, lot, pieces, *wanted)
    return _look(blank, lot, pieces, *wanted)


# Checks


def _counts(given: Mapping[Piece, int]) -> dict[int, int]:
    return {piece.pk: count for piece, count in given.items() if count}


def steps_of(pieces: Collection[int]) -> QuerySet[Step]:
    """The steps that some pieces are of, each once."""
    return Step.objects.filter(pieces__in=pieces).distinct()


def _lock_pieces(pieces: set[int]) -> dict[int, Piece]:
    """The pieces as they are now, by id, held until the transaction ends, so that two cuts never give the same one."""
    rows = Piece.objects.select_for_update(of=("self",)).select_related("step__project__bench__workshop", "blank__item", "item")
    return {piece.pk: piece for piece in rows.filter(pk__in=pieces).order_by("pk")}


def _check(blank: Blank, lot: Lot, pieces: Mapping[int, Piece], now: Counts, later: Counts) -> None:
    if not now and not later:
        raise FieldProblem("now", "say at least one piece that this cut gives")
    if min([*now.values(), *later.values()]) < 0:
        raise FieldProblem("now", "give 0 or more of each piece")
    if lot.item_id not in {blank.item_id, blank.offcut_id}:
        raise FieldProblem("lot", f"this lot is no {blank.item.code}, nor an offcut of it")
    standing = {one.piece.pk: one for one in queries.pieces_of(pk__in=list(pieces))}
    for pk, piece in pieces.items():
        if piece.blank_id != blank.pk:
            raise FieldProblem("now", f"{piece.code} of {piece.step.code} comes from another blank")
        refuse_done(piece.step, "its cuts")
        refuse_if_held(piece.step)
        asked = now.get(pk, 0) + later.get(pk, 0)
        if asked > standing[pk].uncut:
            left = standing[pk].uncut
            raise NotThatMany(f"{asked} of {piece.code} for {piece.step.code} are asked, and {left} are not cut or planned yet")


def _look(blank: Blank, lot: Lot, pieces: Mapping[int, Piece], now: Counts, later: Counts) -> Layout:
    saws = queries.rules()
    sizes = queries.sizes_of(blank, saws)
    bench = next(iter(pieces.values())).step.project.bench
    lies = queries.lying(blank, bench)
    there = queries.material(blank, lies, sizes)
    used = next((one for one in there if one.key == lot.pk), None)
    if used is None:
        raise _not_free(lot, lies)
    saw = queries.saw_of(sizes)
    needs = queries.still_needed(blank, bench, saws)
    try:
        if not holds(used, needs, now, later, saw):
            raise DoesNotFit(_too_much(used, needs, now, later))
        plan = layout(used, needs, now, later, saw)
        left = [] if plan is None else offcuts(used, asked_of(needs, now, later), saw)
        stranded = stranding(needs, there, used.key, now, later, saw)
        measured = next(one.measured for one in lies if one.lot.pk == lot.pk)
        why = why_cut(blank, measured, sizes, used, asked_of(needs, now, later), plan)
        return Layout(plan, tuple(left), stranded, (*why, *stranded.reasons))
    except ValueError as error:
        raise DoesNotFit(str(error)) from error


def _not_free(lot: Lot, lies: Sequence[queries.Lies]) -> Problem:
    of = [one for one in lies if one.lot.pk == lot.pk]
    if not of:
        return BlankPromised(f"{stock.named(lot)} isn't here for this bench: nothing of it lies in a place that this bench may take from")
    if of[0].lot.state != "good":
        return BlankPromised(f"{stock.named(lot)} is {of[0].lot.state}: only a good lot is cut")
    promised = "; ".join(of[0].promised) or "less than one whole blank is left"
    return BlankPromised(f"nothing of {stock.named(lot)} is free: {promised}")


def _too_much(used: Material, needs: Sequence[Need], now: Counts, later: Counts) -> str:
    asked = ", ".join(f"{one.count} of {one.name}" for one in asked_of(needs, now, later))
    if used.length is None and not used.whole:
        return f"nobody measured {used.name}: write down its size first, then {asked} can be planned on it"
    return f"{used.name} doesn't give {asked} in one: plan fewer pieces, or pieces of one stated cut"


def asked_of(needs: Sequence[Need], now: Counts, later: Counts) -> list[Need]:
    """What a cut gives of some needs."""
    asked = (one._replace(count=now.get(one.key, 0) + later.get(one.key, 0)) for one in needs)
    return [one for one in asked if one.count]


def layout(used: Material, needs: Sequence[Need], now: Counts, later: Counts, saw: Saw) -> Plan | SheetPlan | None:
    """Where the pieces lie on one blank, those sawn now before those promised; None by yield."""
    asked = asked_of(needs, now, {}) + [one._replace(name=f"{one.name}, promised") for one in asked_of(needs, {}, later)]
    if used.length is None or any(one.per_blank for one in asked):
        return None
    if saw.form == "bar":
        wanted = [Wanted(one.length or Fraction(0), one.count, one.name) for one in asked]
        return cut(wanted, [Stock(used.length, 1, used.name)], saw.kerf)
    rectangles = [Rectangle(one.length or Fraction(0), one.width or Fraction(0), one.count, one.name, one.grain) for one in asked]
    return cut_sheets(rectangles, [Sheet(used.length, used.width or used.length, 1, used.name, used.grain)], saw.kerf)


# Holding


def first_step(pieces: Iterable[Piece]) -> Step:
    """The step that comes first: the blank is set aside for it."""
    steps = [piece.step for piece in pieces]
    return min(steps, key=lambda step: (step.done, step.planned_on or date.max, step.position, step.pk))


def _saved(cut_row: Cut, by: Member) -> Cut:
    changed_by(cut_row, by).save()
    return cut_row


def write_lines(cut_row: Cut, now: Counts, later: Counts) -> None:
    """What the cut gives."""
    rows = [(pk, count, False) for pk, count in now.items()] + [(pk, count, True) for pk, count in later.items()]
    CutPiece.objects.bulk_create(
        CutPiece(workshop_id=cut_row.workshop_id, cut=cut_row, piece_id=pk, count=count, later=is_later) for pk, count, is_later in rows
    )


def reserve(cut_row: Cut, by: Member) -> None:
    """Set the blank aside for the cut's step, beside what is set aside of the lot for it already. The lot is locked."""
    ref = step_ref(cut_row.step_id)
    held = SetAside.objects.filter(lot=cut_row.lot_id, ref=ref).values_list("quantity", flat=True).first() or NOTHING
    stock.set_aside(lot=cut_row.lot, ref=ref, quantity=held + cut_row.quantity, by=by)


def free(cut_row: Cut, by: Member) -> None:
    """Give back what is set aside for the cut. The lot is locked."""
    ref = step_ref(cut_row.step_id)
    row = SetAside.objects.filter(lot=cut_row.lot_id, ref=ref).first()
    if row is None:
        return  # somebody gave it back by hand
    changed_by(row, by)
    if row.quantity <= cut_row.quantity:
        row.delete()
        return
    row.quantity -= cut_row.quantity
    row.save(update_fields=["quantity"])


def lock_cuts(rows: Collection[Cut], by: Member, permission: str) -> dict[int, Cut]:
    """Several cuts as they are now, by id, held like one: all their pieces first."""
    _lock_pieces(set(CutPiece.objects.filter(cut__in=rows).values_list("piece_id", flat=True)))
    return {row.pk: lock_cut(row, by, permission) for row in rows}


def lock_cut(cut_row: Cut, by: Member, permission: str) -> Cut:
    """The cut as it is now, held until the transaction ends. Refuses one that is sawn or given up."""
    policy.own(by, cut_row)
    _lock_pieces(set(CutPiece.objects.filter(cut=cut_row).values_list("piece_id", flat=True)))
    rows = Cut.objects.select_for_update(of=("self",)).select_related(
        "lot__bench", "lot__item", "blank__item", "blank__offcut", "step__project__bench"
    )
    found = rows.get(pk=cut_row.pk)
    policy.require(by, permission, found.step.project.bench)
    if found.sawn_on:
        raise CutOver(f"this cut was sawn on {found.sawn_on}: it can't be undone. Write down what was spoiled, if anything was")
    if found.undone_at:
        raise CutOver("this cut was given up: plan another one")
    return found
