"""How many blanks the pieces take that are not cut yet, step by step. Pure: no Django, no clock.

A step pays for the blanks that its pieces need beyond those that earlier steps' pieces opened: four pieces from one blank, two now and
two in two years, are one blank now and none then.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from buildplan.cutting.calc import cut
from buildplan.cutting.sheets import Rectangle, Sheet, cut_sheets, sheets_in_turn

MOST_PLANNED = 300  # pieces up to which the whole is planned at once, to see whether fewer blanks do


class Sizes(NamedTuple):
    """A blank, in millimetres; None where nobody said."""

    form: str
    length: Fraction | None
    width: Fraction | None
    grain: str
    kerf: Fraction
    end_trim: Fraction


class Uncut(NamedTuple):
    """So many pieces of a step that no cut gives yet. Sizes are in millimetres, allowance in; `group` names what shares a blank."""

    step: int
    code: str
    count: int  # type: ignore[assignment] # a tuple has a method of that name, which none of ours calls
    per_blank: int | None
    group: str
    length: Fraction | None = None
    width: Fraction | None = None
    grain: str = ""


class Takes(NamedTuple):
    """The blanks that a step opens, and why."""

    step: int
    blanks: int
    note: str


def blanks_by_step(pieces: Sequence[Uncut], sizes: Sizes) -> tuple[Takes, ...]:
    """What each step takes of one blank; `pieces` stand in the order in which their steps come."""
    taken: dict[int, int] = defaultdict(int)
    groups: dict[str, list[Uncut]] = defaultdict(list)
    for one in pieces:
        if one.per_blank:
            groups[one.group].append(one)
    for group in groups.values():
        for step, blanks in _by_yield(group):
            taken[step] += blanks
    sized = [one for one in pieces if not one.per_blank]
    for step, blanks in _by_size(sized, sizes):
        taken[step] += blanks
    notes = _notes(pieces)
    return tuple(Takes(step, taken[step], notes[step]) for step in dict.fromkeys(one.step for one in pieces) if taken[step])


def _by_yield(group: Sequence[Uncut]) -> Iterator[tuple[int, int]]:
    """A blank gives so many of each piece of the group at once: the one that takes most decides."""
    so_far: dict[str, int] = defaultdict(int)
    opened = 0
    for one in group:
        so_far[one.code] += one.count
        wanted = max(opened, -(-so_far[one.code] // (one.per_blank or 1)))
        yield one.step, wanted - opened
        opened = wanted


def _by_size(sized: Sequence[Uncut], sizes: Sizes) -> Iterator[tuple[int, int]]:
    """By laying the pieces in the order of their steps, and by one plan of all where that takes fewer blanks."""
    fitting = [one for one in sized if _fits(one, sizes)]
    for one in sized:
        if one not in fitting:
            yield one.step, one.count  # it fits no whole blank: one of another size each, as far as can be told
    if not fitting:
        return
    opened = _bars_in_turn(fitting, sizes) if sizes.form == "bar" else _sheets_in_turn(fitting, sizes)
    most, so_far = _all_at_once(fitting, sizes), 0
    for step, blanks in opened:
        wanted = blanks if most is None else min(blanks, most - so_far)
        so_far += wanted
        yield step, wanted


def _fits(one: Uncut, sizes: Sizes) -> bool:
    if sizes.length is None or one.length is None or sizes.kerf >= min(one.length, one.width or one.length):
        return False
    if sizes.form == "bar":
        return one.length <= sizes.length - sizes.end_trim
    if sizes.width is None or one.width is None or (one.grain and not sizes.grain):
        return False
    length, width = sizes.length - sizes.end_trim, sizes.width - sizes.end_trim
    ways = [(one.length, one.width), (one.width, one.length)] if not one.grain else []
    if one.grain:
        ways = [(one.length, one.width) if one.grain == sizes.grain else (one.width, one.length)]
    return any(long <= length and wide <= width for long, wide in ways)


def _by_steps(pieces: Iterable[Uncut]) -> dict[int, list[Uncut]]:
    found: dict[int, list[Uncut]] = defaultdict(list)
    for one in pieces:
        found[one.step].append(one)
    return found


def _bars_in_turn(pieces: Sequence[Uncut], sizes: Sizes) -> list[tuple[int, int]]:
    room = (sizes.length or Fraction(0)) - sizes.end_trim + sizes.kerf
    bars: list[Fraction] = []
    found = []
    for step, of in _by_steps(pieces).items():
        before = len(bars)
        for size in sorted(((one.length or Fraction(0)) + sizes.kerf for one in of for _ in range(one.count)), reverse=True):
            at = min((at for at, left in enumerate(bars) if left >= size), key=bars.__getitem__, default=None)
            if at is None:
                bars.append(room - size)
            else:
                bars[at] -= size
        found.append((step, len(bars) - before))
    return found


def rectangle(one: Uncut) -> Rectangle:
    """An uncut piece of a sheet, as the arithmetic takes it."""
    return Rectangle(one.length or Fraction(0), one.width or Fraction(0), one.count, one.code, one.grain)


def _sheet(sizes: Sizes) -> Sheet:
    return Sheet(sizes.length or Fraction(0), sizes.width or Fraction(0), None, "", sizes.grain)


def _sheets_in_turn(pieces: Sequence[Uncut], sizes: Sizes) -> list[tuple[int, int]]:
    by_step = _by_steps(pieces)
    groups = [[rectangle(one) for one in of] for of in by_step.values()]
    return list(zip(by_step, sheets_in_turn(groups, _sheet(sizes), sizes.kerf, end_trim=sizes.end_trim), strict=True))


def _all_at_once(pieces: Sequence[Uncut], sizes: Sizes) -> int | None:
    if sum(one.count for one in pieces) > MOST_PLANNED:
        return None
    if sizes.form == "bar":
        wanted = [(one.length or 0, one.count) for one in pieces]
        return cut(wanted, sizes.length or 0, sizes.kerf, end_trim=sizes.end_trim, prove=False).count
    return cut_sheets([rectangle(one) for one in pieces], [_sheet(sizes)], sizes.kerf, end_trim=sizes.end_trim).count


def _notes(pieces: Iterable[Uncut]) -> Mapping[int, str]:
    found: dict[int, list[str]] = defaultdict(list)
    for one in pieces:
        how = f" ({one.per_blank} from one blank, as stated)" if one.per_blank else " (by a cut plan)"
        found[one.step].append(f"{one.count} of {one.code} to cut{how}")
    return {step: ", ".join(texts) for step, texts in found.items()}
