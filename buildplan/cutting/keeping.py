"""Whether a blank or an offcut gives what is planned on it, and what pages show of a cut."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Prefetch

from buildplan.cutting import queries
from buildplan.cutting.calc import Plan
from buildplan.cutting.leavings import enough, listed
from buildplan.cutting.models import Cut, CutPiece, Measured
from buildplan.cutting.planning import Counts, asked_of, layout
from buildplan.cutting.sheets import SheetPlan
from buildplan.cutting.stranding import Material, Need, Saw, holds, offcuts
from buildplan.cutting.wanted import Sizes
from buildplan.cutting.whys import why_cut
from inventory.common.exact import decimal_text
from inventory.common.reasons import Reason
from inventory.models import Lot


@dataclass(frozen=True, slots=True)
class Shown:
    """A cut as it was planned: where its pieces lie, None where nobody said; where its figures come from; and why it can't be, if so."""

    plan: Plan | SheetPlan | None
    reasons: tuple[Reason, ...]
    unfit: str


def used_by(row: Cut, measured: Measured | None, sizes: Sizes) -> Material:
    """The blank or offcut that a cut is of, for the arithmetic."""
    return queries.material_of(row.lot, measured, sizes, whole=row.lot.item_id == row.blank.item_id)


def shown_of(row: Cut, saws: queries.Rules) -> Shown:
    """A cut as it was planned, on what is known of its blank now."""
    sizes, measured = queries.sizes_of(row.blank, saws), getattr(row.lot, "measured", None)
    used, saw = used_by(row, measured, sizes), queries.saw_of(sizes)
    needs, now, later = _of_lines(list(row.pieces.all()), saws)
    try:
        plan = layout(used, needs, now, later, saw)
    except ValueError:
        plan = None  # the blank was described anew since
    return Shown(plan, why_cut(row.blank, measured, sizes, used, needs, plan), unfit(used, needs, now, later, saw))


def _of_lines(lines: Sequence[CutPiece], saws: queries.Rules) -> tuple[list[Need], dict[int, int], dict[int, int]]:
    """What a cut gives, by line."""
    needs = [queries.need_of(line.piece, line.count, saws)._replace(key=line.pk) for line in lines]
    now = {line.pk: line.count for line in lines if not line.later}
    return needs, now, {line.pk: line.count for line in lines if line.later}


def left_of(row: Cut, saws: queries.Rules) -> Material | None:
    """The offcut that is left once a cut is sawn: the largest that gives what is promised from it. None where nobody can tell."""
    sizes = queries.sizes_of(row.blank, saws)
    used, saw = used_by(row, getattr(row.lot, "measured", None), sizes), queries.saw_of(sizes)
    needs, now, later = _of_lines(list(row.pieces.all()), saws)
    if used.length is None or any(one.per_blank for one in needs):
        return None
    try:
        left = offcuts(used, asked_of(needs, now, {}), saw)
        return next((one for one in left if not later or holds(one, needs, {}, later, saw)), None)
    except ValueError:
        return None  # the blank was described anew since


def unfit(used: Material, needs: Sequence[Need], now: Counts, later: Counts, saw: Saw) -> str:
    """What a blank or offcut doesn't give of pieces by size that are planned on it, in a sentence; empty where it gives them all."""
    if any(one.per_blank for one in needs):
        return ""
    if used.length is None:
        return f"nobody measured {used.name}, and {listed(needs)} are planned on it: {enough(needs, saw)}"
    try:
        if holds(used, needs, now, later, saw):
            return ""
    except ValueError as error:
        return f"{used.name} doesn't give {listed(needs)}: {error}"
    sides = [decimal_text(side) for side in (used.length, used.width) if side is not None]
    return f"{used.name}, {' x '.join(sides)} mm, doesn't give {listed(needs)}, which are planned on it: {enough(needs, saw)}"


def planned_on(lot: Lot) -> list[Cut]:
    """The cuts that are planned on a lot and not sawn yet, with their pieces."""
    lines = CutPiece.objects.select_related("piece__step__project").order_by("later", "pk")
    rows = Cut.objects.filter(lot=lot, sawn_at=None, undone_at=None).select_related("blank__item", "lot").order_by("pk")
    return list(rows.prefetch_related(Prefetch("pieces", lines)))


def unfit_on(row: Cut, measured: Measured | None, saws: queries.Rules) -> str:
    """Why a lot that is now measured so doesn't give what the cut was planned for; empty where it does."""
    sizes = queries.sizes_of(row.blank, saws)
    return unfit(used_by(row, measured, sizes), *_of_lines(list(row.pieces.all()), saws), queries.saw_of(sizes))
