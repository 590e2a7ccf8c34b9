"""Cutting sheets into rectangles by cuts from edge to edge, as a shear or a saw makes them. Pure: no Django, no clock.

A good plan, not a proven one: pieces are laid one by one by several rules, and the best outcome is kept with a bound below which no plan
can come. Lengths are of one unit, whichever; never float.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import product
from math import ceil
from typing import NamedTuple

from inventory.common.exact import Exact, decimal_text, not_negative, positive, whole
from inventory.common.reasons import ARITHMETIC, Reason

MOST_RECTANGLES = 1_000
ALONG, ACROSS = "length", "width"  # which side of a sheet or piece the grain runs along
GRAINS = ("", ALONG, ACROSS)
HOW = "pieces laid one by one by several rules, the best outcome: no proof that it is the best of all"


class Rectangle(NamedTuple):
    """Pieces alike. `grain` is the side along which the sheet's grain must run; blank lies either way."""

    length: Fraction
    width: Fraction
    count: int  # type: ignore[assignment] # a tuple has a method of that name, which none of ours calls
    label: str = ""
    grain: str = ""


class Sheet(NamedTuple):
    """Sheets alike. `count` None is as many as it takes; `grain` is the side that the grain runs along, blank where nobody knows."""

    length: Fraction
    width: Fraction
    count: int | None = None  # type: ignore[assignment] # a tuple has a method of that name, which none of ours calls
    label: str = ""
    grain: str = ""


class Area(NamedTuple):
    """A rectangle of a sheet, from its lower left corner; x runs along the sheet's length."""

    x: Fraction
    y: Fraction
    length: Fraction
    width: Fraction

    @property
    def size(self) -> Fraction:
        """Its area."""
        return self.length * self.width


@dataclass(frozen=True, slots=True)
class Laid:
    """One piece on its sheet; `turned` where its length runs along the sheet's width."""

    piece: Rectangle
    area: Area
    turned: bool


@dataclass(frozen=True, slots=True)
class CutSheet:
    """One sheet with its pieces and the rectangles that are left, the largest first."""

    sheet: Sheet
    pieces: tuple[Laid, ...]
    offcuts: tuple[Area, ...]

    @property
    def waste(self) -> Fraction:
        """The area of saw cuts and trim."""
        used = sum((laid.area.size for laid in self.pieces), Fraction(0)) + sum((left.size for left in self.offcuts), Fraction(0))
        return self.sheet.length * self.sheet.width - used


@dataclass(frozen=True, slots=True)
class SheetPlan:
    """Which sheet gives what. `bound` is the least number of sheets that any plan could do with; `short` is what the stock can't give."""

    sheets: tuple[CutSheet, ...]
    short: tuple[Rectangle, ...]
    bound: int
    proven: bool
    reasons: tuple[Reason, ...]

    @property
    def count(self) -> int:
        """How many sheets are cut."""
        return len(self.sheets)

    @property
    def off_by(self) -> int:
        """How many sheets fewer the best plan may do with, at most."""
        return max(0, self.count - self.bound)

    @property
    def used(self) -> Fraction:
        """The area of the sheets that are cut."""
        return sum((one.sheet.length * one.sheet.width for one in self.sheets), Fraction(0))


def cut_sheets(pieces: Iterable[Rectangle], stock: Iterable[Sheet], kerf: Exact = 0, *, end_trim: Exact = 0) -> SheetPlan:
    """A plan that takes few sheets for `pieces`, every cut from edge to edge of what it parts.

    `end_trim` is cut off one long and one short side of each sheet first, its saw cut included. `ValueError` names what makes no sense:
    nothing, a piece that fits no sheet, a grain that a sheet's isn't known of, a kerf not less than a piece.
    """
    wanted, sheets = _wanted(pieces), _sheets(stock)
    gap, trim = not_negative("kerf", kerf), not_negative("end_trim", end_trim)
    _refuse_wide_kerf(gap, wanted)
    for piece in wanted:
        if not any(_ways(piece, sheet, trim) for sheet in sheets):
            raise ValueError(_fits_none(piece, sheets))
    return _best(wanted, sheets, gap, trim)


def uncut_rectangles(pieces: Iterable[Rectangle], stock: Iterable[Sheet], kerf: Exact = 0, *, end_trim: Exact = 0) -> tuple[Rectangle, ...]:
    """The pieces that this stock doesn't give by the rules of `cut_sheets`, those that fit no sheet among them."""
    wanted, sheets = _wanted(pieces), tuple(sheet for sheet in stock if sheet.count != 0)
    trim = not_negative("end_trim", end_trim)
    fitting = [piece for piece in wanted if any(_ways(piece, sheet, trim) for sheet in sheets)]
    none = tuple(piece for piece in wanted if piece not in fitting)
    return none if not fitting else none + _best(fitting, sheets, not_negative("kerf", kerf), trim).short


def _wanted(pieces: Iterable[Rectangle]) -> tuple[Rectangle, ...]:
    found = tuple(
        Rectangle(positive("pieces", one.length), positive("pieces", one.width), whole("pieces", one.count, least=1), one.label, one.grain)
        for one in pieces
    )
    if not found:
        raise ValueError("pieces: there are none: name at least one size and how many of it")
    if sum(one.count for one in found) > MOST_RECTANGLES:
        raise ValueError(f"pieces: at most {MOST_RECTANGLES} rectangles are planned at once")
    _check_grain("pieces", found)
    return found


def _sheets(stock: Iterable[Sheet]) -> tuple[Sheet, ...]:
    found = [
        one._replace(length=positive("stock", one.length), width=positive("stock", one.width))
        for one in stock
        if one.count is None or whole("stock", one.count, least=0)
    ]
    if not found:
        raise ValueError("stock: there is none: name at least one sheet")
    _check_grain("stock", found)
    return tuple(found)


def _check_grain(name: str, rows: Iterable[Rectangle | Sheet]) -> None:
    for row in rows:
        if row.grain not in GRAINS:
            raise ValueError(f"{name}: grain {str(row.grain)[:20]!r}: write length, width, or leave it blank")


def _refuse_wide_kerf(kerf: Fraction, wanted: Iterable[Rectangle]) -> None:
    least = min(min(one.length, one.width) for one in wanted)
    if kerf >= least:
        raise ValueError(f"kerf: {decimal_text(kerf)} is not less than the piece of {decimal_text(least)}: check both, and their unit")


def _fits_none(piece: Rectangle, sheets: Sequence[Sheet]) -> str:
    size = f"{piece.label + ', ' if piece.label else ''}{decimal_text(piece.length)} x {decimal_text(piece.width)},"
    if piece.grain and any(not sheet.grain for sheet in sheets):
        return f"pieces: {size} must lie with the grain, and the grain of the stock isn't known: say which side of the sheet it runs along"
    largest = max(sheets, key=lambda sheet: sheet.length * sheet.width)
    return f"pieces: {size} fits no stock: the largest sheet is {decimal_text(largest.length)} x {decimal_text(largest.width)}"


# How a piece may lie


def _ways(piece: Rectangle, sheet: Sheet, trim: Fraction) -> list[bool]:
    """Whether turned or not: each way in which a piece fits a whole sheet with its grain."""
    length, width = sheet.length - trim, sheet.width - trim
    return [turned for turned in _turns(piece, sheet) if _fits(piece, turned, length, width)]


def _turns(piece: Rectangle, sheet: Sheet) -> tuple[bool, ...]:
    if not piece.grain:
        return (False, True)
    return () if not sheet.grain else (piece.grain != sheet.grain,)


def _fits(piece: Rectangle, turned: bool, length: Fraction, width: Fraction) -> bool:
    return (piece.width <= length and piece.length <= width) if turned else (piece.length <= length and piece.width <= width)


def _laid(piece: Rectangle, turned: bool, at: Area) -> Laid:
    length, width = (piece.width, piece.length) if turned else (piece.length, piece.width)
    return Laid(piece, Area(at.x, at.y, length, width), turned)


# Laying them


class _Open:
    """A sheet while it is being filled."""

    def __init__(self, at: int, sheet: Sheet, trim: Fraction) -> None:
        self.at, self.sheet = at, sheet
        self.pieces: list[Laid] = []
        self.free = [Area(trim, trim, sheet.length - trim, sheet.width - trim)]


Order = Callable[[Rectangle], tuple[Fraction, Fraction]]
ORDERS: tuple[Order, ...] = (
    lambda one: (one.length * one.width, max(one.length, one.width)),
    lambda one: (max(one.length, one.width), min(one.length, one.width)),
    lambda one: (min(one.length, one.width), max(one.length, one.width)),
)


def _best(wanted: Sequence[Rectangle], sheets: Sequence[Sheet], kerf: Fraction, trim: Fraction) -> SheetPlan:
    tried = [_try(wanted, sheets, kerf, trim, *rules) for rules in product(ORDERS, (False, True), (False, True))]
    bound = _bound(wanted, sheets, kerf, trim)
    best = min((replace(plan, bound=bound) for plan in tried), key=_rank)
    best = replace(best, proven=not best.short and best.count <= bound)
    return replace(best, reasons=tuple(_reasons(best, kerf, trim)))


def _rank(plan: SheetPlan) -> tuple[int, Fraction, Fraction]:
    """Fewest pieces left out, then least sheet, then the largest rectangle left, which is worth keeping."""
    largest = max((left.size for one in plan.sheets for left in one.offcuts), default=Fraction(0))
    return sum(one.count for one in plan.short), plan.used, -largest


def _try(  # noqa: PLR0913 - the task and three rules
    wanted: Sequence[Rectangle], sheets: Sequence[Sheet], kerf: Fraction, trim: Fraction, order: Order, tight: bool, first_long: bool
) -> SheetPlan:
    singles = [one._replace(count=1) for one in sorted(wanted, key=order, reverse=True) for _ in range(one.count)]
    left = [sheet.count for sheet in sheets]
    opened: list[_Open] = []
    rules = {"tight": tight, "first_long": first_long}
    short = [piece for piece in singles if not _put_down(piece, sheets, left, opened, kerf, trim, **rules)]
    return SheetPlan(tuple(map(_closed, opened)), _together(short), 0, proven=False, reasons=())


def _put_down(  # noqa: PLR0913 - a piece, where it may go, and two rules
    piece: Rectangle,
    sheets: Sequence[Sheet],
    left: list[int | None],
    opened: list[_Open],
    kerf: Fraction,
    trim: Fraction,
    *,
    tight: bool,
    first_long: bool,
) -> bool:
    """Lay one piece where it fits best, or on a new sheet; whether there was room."""
    spot = _spot(piece, opened, tight) or _new(piece, sheets, left, opened, trim)
    if spot is None:
        return False
    sheet, free, turned = spot
    laid = _laid(piece, turned, free)
    sheet.pieces.append(laid)
    sheet.free.remove(free)
    sheet.free += _split(free, laid.area, kerf, first_long)
    return True


Spot = tuple[_Open, Area, bool]


def _spot(piece: Rectangle, opened: Iterable[_Open], tight: bool) -> Spot | None:
    """The free rectangle that the piece fills best: by area, or by the side that is left least of."""
    spots = [
        (sheet, free, turned)
        for sheet in opened
        for free in sheet.free
        for turned in _turns(piece, sheet.sheet)
        if _fits(piece, turned, free.length, free.width)
    ]
    return min(spots, key=lambda spot: _left_over(piece, spot, tight), default=None)


def _left_over(piece: Rectangle, spot: Spot, tight: bool) -> tuple[Fraction, Fraction]:
    _, free, turned = spot
    area = _laid(piece, turned, free).area
    sides = sorted((free.length - area.length, free.width - area.width))
    return (sides[0], sides[1]) if tight else (free.size - area.size, sides[0])


def _new(piece: Rectangle, sheets: Sequence[Sheet], left: list[int | None], opened: list[_Open], trim: Fraction) -> Spot | None:
    """The smallest sheet that is still there and takes the piece."""
    offers = [
        (sheet.length * sheet.width, at, turned) for at, sheet in enumerate(sheets) if left[at] != 0 for turned in _ways(piece, sheet, trim)
    ]
    if not offers:
        return None
    _, at, turned = min(offers)
    there = left[at]
    left[at] = None if there is None else there - 1
    opened.append(_Open(at, sheets[at], trim))
    return opened[-1], opened[-1].free[0], turned


def _split(free: Area, taken: Area, kerf: Fraction, first_long: bool) -> Iterator[Area]:
    """What two cuts leave: the first goes through from edge to edge."""
    right, above = free.length - taken.length - kerf, free.width - taken.width - kerf
    through_right = (right >= above) if first_long else (right < above)
    if right > 0:
        width = free.width if through_right else taken.width
        yield Area(free.x + taken.length + kerf, free.y, right, width)
    if above > 0:
        length = taken.length if through_right else free.length
        yield Area(free.x, free.y + taken.width + kerf, length, above)


def _closed(sheet: _Open) -> CutSheet:
    offcuts = sorted(sheet.free, key=lambda area: (-area.size, area))
    return CutSheet(sheet.sheet, tuple(sheet.pieces), tuple(offcuts))


def _together(pieces: Iterable[Rectangle]) -> tuple[Rectangle, ...]:
    found: dict[Rectangle, int] = {}
    for piece in pieces:
        found[piece] = found.get(piece, 0) + 1
    return tuple(piece._replace(count=count) for piece, count in found.items())


# What any plan takes at least


def _bound(wanted: Sequence[Rectangle], sheets: Sequence[Sheet], kerf: Fraction, trim: Fraction) -> int:
    """By area, a saw cut along two sides of each piece; and by pieces of which no two share a sheet."""
    room = max((sheet.length - trim + kerf) * (sheet.width - trim + kerf) for sheet in sheets)
    area = sum(((one.length + kerf) * (one.width + kerf) * one.count for one in wanted), Fraction(0))
    long, wide = (max(getattr(sheet, side) for sheet in sheets) - trim for side in ("length", "width"))
    half = max(long, wide) + kerf
    alone = sum(one.count for one in wanted if 2 * (min(one.length, one.width) + kerf) > half)
    return max(ceil(area / room), alone)


def _reasons(plan: SheetPlan, kerf: Fraction, trim: Fraction) -> Iterator[Reason]:
    ends = f", trim {decimal_text(trim)} on one long and one short side" if trim else ""
    yield Reason(
        f"cuts from edge to edge, kerf {decimal_text(kerf)} between pieces{ends}; no piece is turned against its grain", ARITHMETIC
    )
    sheets = "1 sheet" if plan.count == 1 else f"{plan.count} sheets"
    if plan.short:
        pieces = ", ".join(f"{one.count} of {one.label or decimal_text(one.length)}" for one in plan.short)
        yield Reason(f"the stock doesn't give {pieces} by this plan", HOW)
    if plan.proven:
        yield Reason(f"{sheets}: no plan takes fewer, by the area of the pieces or since they can't share", ARITHMETIC)
    else:
        yield Reason(f"{sheets}; at least {plan.bound} are needed, so a better plan may save up to {plan.off_by}", HOW)


def sheets_in_turn(groups: Sequence[Sequence[Rectangle]], sheet: Sheet, kerf: Fraction, *, end_trim: Fraction) -> list[int]:
    """How many new sheets each group of pieces opens, one group after the other, on as many sheets as it takes."""
    opened: list[_Open] = []
    found = []
    for group in groups:
        before = len(opened)
        for piece in (one for one in sorted(group, key=ORDERS[0], reverse=True) for _ in range(one.count)):
            _put_down(piece, [sheet], [None], opened, kerf, end_trim, tight=False, first_long=True)
        found.append(len(opened) - before)
    return found
