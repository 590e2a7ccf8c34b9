"""Where the figures of a cut come from: what there is to cut, the kerf, what is left over."""

from collections.abc import Iterator, Sequence
from fractions import Fraction

from buildplan.cutting.calc import Plan
from buildplan.cutting.leavings import listed, saw_cuts
from buildplan.cutting.models import Blank, Measured
from buildplan.cutting.queries import mm
from buildplan.cutting.sheets import SheetPlan
from buildplan.cutting.stranding import Material, Need
from buildplan.cutting.wanted import Sizes
from inventory.common.exact import decimal_text
from inventory.common.reasons import ARITHMETIC, Reason

OF_BLANK, OF_WORKSHOP, OF_LOT, OF_PIECE = "said of the blank", "the workshop's kerf and trim", "measured on the lot", "said of the piece"


def why_cut(  # noqa: PLR0913 - a cut, and what it is reckoned from
    blank: Blank, measured: Measured | None, sizes: Sizes, used: Material, asked: Sequence[Need], plan: Plan | SheetPlan | None
) -> tuple[Reason, ...]:
    """The trace of a cut's picture and of what it leaves over."""
    found = [*_to_cut(blank, measured, sizes, used)]
    found += [
        Reason(f"one blank gives {one.per_blank} of {one.name}; {one.count} of them come out of this cut", OF_PIECE)
        for one in asked
        if one.per_blank
    ]
    if plan is None:
        return tuple(found)
    found.append(Reason(f"the saw takes {decimal_text(sizes.kerf)} mm a cut", OF_WORKSHOP if blank.kerf is None else OF_BLANK))
    return (*found, *plan.reasons, *_left_over(used, asked, sizes))


def rules_of_blank(blank: Blank, sizes: Sizes) -> tuple[Reason, Reason]:
    """The kerf and the end trim that a blank is cut with, and who said so."""
    kerf, trim = decimal_text(sizes.kerf), decimal_text(sizes.end_trim)
    return (
        Reason(f"{kerf} mm", OF_WORKSHOP if blank.kerf is None else OF_BLANK),
        Reason(f"{trim} mm", OF_WORKSHOP if blank.end_trim is None else OF_BLANK),
    )


def _to_cut(blank: Blank, measured: Measured | None, sizes: Sizes, used: Material) -> Iterator[Reason]:
    """The size of what is cut, and its end trim."""
    if used.length is None:
        return
    of = measured if measured is not None and measured.length is not None else None
    row = of or blank
    sides = [decimal_text(side) for side in (mm(row.length, row.unit), mm(row.width, row.unit)) if side is not None]
    yield Reason(f"{used.name} is {' x '.join(sides)} mm", OF_BLANK if of is None else OF_LOT)
    if used.whole and sizes.end_trim:
        left = [decimal_text(side) for side in (used.length, used.width) if side is not None]
        text = f"{decimal_text(sizes.end_trim)} mm end trim comes off first: {' x '.join(left)} mm to cut"
        yield Reason(text, OF_WORKSHOP if blank.end_trim is None else OF_BLANK)


def _left_over(used: Material, asked: Sequence[Need], sizes: Sizes) -> Iterator[Reason]:
    """Of a bar by arithmetic; of a sheet the plan's own reasons say how it is cut."""
    if sizes.form != "bar" or used.length is None:
        return
    count = sum(one.count for one in asked)
    left = used.length - sum(((one.length or Fraction(0)) + sizes.kerf) * one.count for one in asked)
    less = f"{decimal_text(used.length)} mm less {listed(asked)}"
    if left > 0:
        yield Reason(f"{less} less {saw_cuts(count, sizes.kerf)}: {decimal_text(left)} mm left over", ARITHMETIC)
    else:
        yield Reason(f"{less} and the saw cuts: nothing is left over", ARITHMETIC)
