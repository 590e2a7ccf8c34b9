"""What is left of a blank: which offcut gives the pieces that are promised, and whether all that was kept can have come out of one blank.

Pure: no Django, no clock. It fits or not by the arithmetic of planning, kerf and grain in.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations_with_replacement

from buildplan.cutting.calc import Stock, Wanted, cut
from buildplan.cutting.sheets import Rectangle, Sheet, cut_sheets
from buildplan.cutting.stranding import EXACT_UP_TO, Material, Need, Saw, holds, without
from inventory.common.exact import decimal_text

Sides = tuple[Fraction, Fraction]
_OTHERWISE = "measure what was cut again, or give this cut up"


@dataclass(frozen=True, slots=True)
class Shared:
    """Which offcut gives how many of each need, in the order of the offcuts; `missing` are those that none gives, by the need's key."""

    given: tuple[Mapping[int, int], ...]
    missing: Mapping[int, int]


def shared(needs: Sequence[Need], offcuts: Sequence[Material], saw: Saw) -> Shared:
    """The promised pieces shared among offcuts: all on the first that gives them all, else by a plan of all. `ValueError` as in planning.

    By yield they stay together, since the blank's cut is one. `key` of an offcut is its place in the order.
    """
    counts = {one.key: one.count for one in needs}
    measured = [one for one in offcuts if one.length is not None or one.yields]
    alone = next((one.key for one in measured if holds(one, needs, counts, {}, saw)), None)
    if alone is not None:
        return Shared(tuple(counts if at == alone else {} for at in range(len(offcuts))), {})
    if any(one.per_blank for one in needs) or not measured:
        return Shared(tuple({} for _ in offcuts), counts)
    missing = without(needs, measured, saw)
    if missing:
        return Shared(tuple({} for _ in offcuts), missing)
    given: tuple[dict[int, int], ...] = tuple(defaultdict(int) for _ in offcuts)
    for at, key in _laid(needs, [one for one in measured if one.length is not None], saw):
        given[at][key] += 1
        counts[key] -= 1
    return Shared(given, {key: count for key, count in counts.items() if count})


def _laid(needs: Iterable[Need], offcuts: Iterable[Material], saw: Saw) -> list[tuple[int, int]]:
    """Each piece with the offcut that gives it."""
    if saw.form == "bar":
        bars = [Stock(one.length or Fraction(0), 1, str(one.key)) for one in offcuts]
        wanted = [Wanted(one.length or Fraction(0), one.count, str(one.key)) for one in needs]
        plan = cut(wanted, bars, saw.kerf, prove=sum(one.count for one in wanted) <= EXACT_UP_TO)
        return [(int(bar.stock.label), int(piece.label)) for bar in plan.bars for piece in bar.pieces]
    sheets = [Sheet(*_sides(one), 1, str(one.key), one.grain) for one in offcuts]
    laid = cut_sheets([Rectangle(*_sides(one), one.count, str(one.key), one.grain) for one in needs], sheets, saw.kerf)
    return [(int(sheet.sheet.label), int(piece.piece.label)) for sheet in laid.sheets for piece in sheet.pieces]


def _sides(one: Need | Material) -> Sides:
    return one.length or Fraction(0), one.width or one.length or Fraction(0)


# Whether it came out of one blank


def overrun(used: Material, pieces: Sequence[Need], kept: Sequence[Material], saw: Saw) -> str:
    """Why these pieces and offcuts can't have come out of one blank; empty where nothing speaks against it.

    Bars: all lengths and a kerf between any two parts. Sheets: no two of them side by side, or all areas with their kerfs: what is let
    through may still be too much, since where each lay isn't known. Pieces by yield and offcuts not measured count by the kerf.
    """
    if used.length is None:
        return ""
    return _over_bar(used, used.length, pieces, kept, saw) if saw.form == "bar" else _over_sheet(used, pieces, kept, saw)


def _over_bar(used: Material, length: Fraction, pieces: Sequence[Need], kept: Sequence[Material], saw: Saw) -> str:
    sawn = sum(((one.length or Fraction(0)) * one.count for one in pieces if not one.per_blank), Fraction(0))
    left = sum((one.length for one in kept if one.length is not None), Fraction(0))
    cuts = sum(one.count for one in pieces) + len(kept) - 1
    total = sawn + left + saw.kerf * cuts
    unsized = _unsized(pieces, kept)
    if total < length or (total == length and not unsized):
        return ""
    room = length - sawn - saw.kerf * cuts
    most = decimal_text(max(Fraction(0), room))
    together = f"less than {most} mm together" if unsized else f"{most} mm together at most"
    parts = f"pieces of {decimal_text(sawn)} mm, {saw_cuts(cuts, saw.kerf)} and offcuts of {decimal_text(left)} mm"
    advice = f"its offcuts are {together}. Measure them again" if kept and room > 0 else _OTHERWISE
    return f"{parts} are {decimal_text(total)} mm, and {used.name} gives {decimal_text(length)} mm: {advice}"


def _unsized(pieces: Iterable[Need], kept: Iterable[Material]) -> bool:
    """Whether a part takes up room of which nobody knows how much."""
    return any(one.per_blank for one in pieces) or any(one.length is None for one in kept)


def _over_sheet(used: Material, pieces: Sequence[Need], kept: Sequence[Material], saw: Saw) -> str:
    long, wide = _sides(used)
    advice = "measure the offcuts again" if kept else _OTHERWISE
    parts = [(_sides(one), one.count) for one in pieces if not one.per_blank] + [(_sides(one), 1) for one in kept if one.length is not None]
    size = f"{decimal_text(long)} x {decimal_text(wide)} mm"
    for pair in _pairs(parts):
        if not _beside(*pair, long, wide, saw.kerf):
            one, other = (f"{decimal_text(length)} x {decimal_text(width)}" for length, width in pair)
            return f"{one} and {other} mm don't lie side by side on {used.name}, {size}: {advice}"
    area = sum(((length + saw.kerf) * (width + saw.kerf) * count for (length, width), count in parts), Fraction(0))
    room = (long + saw.kerf) * (wide + saw.kerf)
    if area < room or (area == room and not _unsized(pieces, kept)):
        return ""
    return (
        f"pieces and offcuts with their saw cuts take {decimal_text(area)} mm², and {used.name}, {size}, gives {decimal_text(room)}: "
        f"{advice}"
    )


def _pairs(parts: Sequence[tuple[Sides, int]]) -> Iterable[tuple[Sides, Sides]]:
    """Every two kinds of part, and a kind with itself where there are two of it."""
    counts: dict[Sides, int] = defaultdict(int)
    for sides, count in parts:
        counts[sides] += count
    return ((one, other) for one, other in combinations_with_replacement(counts, 2) if one != other or counts[one] > 1)


def _beside(one: Sides, other: Sides, long: Fraction, wide: Fraction, kerf: Fraction) -> bool:
    """Whether some cut from edge to edge parts the two, each turned as it likes."""
    return any(
        (a + c + kerf <= long and max(b, d) <= wide) or (b + d + kerf <= wide and max(a, c) <= long)
        for a, b in (one, one[::-1])
        for c, d in (other, other[::-1])
    )


# In words


def listed(needs: Iterable[Need]) -> str:
    """So many of which, and how large each is: 2 of R-1 for F3-01 (480 mm each)."""
    return ", ".join(f"{one.count} of {one.name}{f' ({_size(one)} each)' if not one.per_blank else ''}" for one in needs)


def _size(one: Need | Material) -> str:
    sides = [decimal_text(side) for side in (one.length, one.width) if side is not None]
    return f"{' x '.join(sides)} mm" if sides else "not measured"


def enough(needs: Sequence[Need], saw: Saw) -> str:
    """What would give all of these."""
    if any(one.per_blank for one in needs):
        return "what the kit says one blank gives is used up"
    count = sum(one.count for one in needs)
    if saw.form != "bar":
        return "each piece must fit with its grain" + (f", {decimal_text(saw.kerf)} mm between pieces" if saw.kerf and count > 1 else "")
    total = sum(((one.length or Fraction(0)) * one.count for one in needs), Fraction(0)) + saw.kerf * (count - 1)
    return f"one of {decimal_text(total)} mm gives them" + (f", {saw_cuts(count - 1, saw.kerf)} in" if saw.kerf and count > 1 else "")


def saw_cuts(count: int, kerf: Fraction) -> str:
    """So many cuts of a kerf."""
    return f"1 saw cut of {decimal_text(kerf)} mm" if count == 1 else f"{count} saw cuts of {decimal_text(kerf)} mm"
