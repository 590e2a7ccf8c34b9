"""Where labels stand on a sheet, and what stands where on a label: plain arithmetic, in millimetres unless it says points. Pure.

The sizes below without a source are starting values of ours.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

EDGE = Decimal("1.5")  # kept free around each label: printers shift a sheet by about that much
GAP = Decimal(1)  # between symbol and text
DOT = Decimal("0.125")  # of a thermal printer with 203 dots an inch: a module of whole dots keeps its edges sharp
LEAST_DOTS, MOST_DOTS = 3, 5  # of one module: smaller ones phones can't read, larger ones only take room from the text
LEAST_WIDTH, LEAST_HEIGHT = Decimal(14), Decimal(6)  # of the text: two lines of the smallest type
LEAST_TYPE = 5.0  # points
LEADING = 1.2  # from one line to the next, in type sizes
ELLIPSIS = "…"

MOST_PAGE = 1200  # a side of a page
LEAST_LABEL = 8  # a side of a label
MOST_CELLS = 500  # labels on a page


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet of labels by its measurements. `key` names it where one is chosen."""

    key: str
    name: str
    page_width: Decimal
    page_height: Decimal
    left: Decimal
    top: Decimal
    columns: int
    rows: int
    label_width: Decimal
    label_height: Decimal
    gap_x: Decimal
    gap_y: Decimal

    @property
    def cells(self) -> int:
        """Labels on a page."""
        return self.columns * self.rows


def _sheet(key: str, name: str, *millimetres: str, grid: tuple[int, int]) -> Sheet:
    page_width, page_height, left, top, label_width, label_height, gap_x, gap_y = map(Decimal, millimetres)
    return Sheet(key, name, page_width, page_height, left, top, *grid, label_width, label_height, gap_x, gap_y)


STARTING = (
    _sheet("a4", "A4, 3 x 8 labels", "210", "297", "8", "12.5", "63", "34", "2.5", "0", grid=(3, 8)),
    _sheet("letter", "Letter, 3 x 10 labels", "215.9", "279.4", "6", "14.7", "66", "25", "2.9", "0", grid=(3, 10)),
    _sheet("drawers", "A4, 5 x 20 small ones for drawers", "210", "297", "9.5", "11", "37", "13", "1.5", "0.75", grid=(5, 20)),
    _sheet("roll", "Roll, 100 x 50", "100", "50", "0", "0", "100", "50", "0", "0", grid=(1, 1)),
)


@dataclass(frozen=True, slots=True)
class Misfit:
    """Why a sheet can't be: the measurement to change, and a sentence."""

    field: str
    text: str


def misfit(sheet: Sheet) -> Misfit | None:
    """What is wrong with the measurements first of all; None where all labels lie on the page."""
    return _out_of_range(sheet) or _too_far("across", sheet) or _too_far("down", sheet)


def _out_of_range(sheet: Sheet) -> Misfit | None:
    for field in ("page_width", "page_height"):
        if not LEAST_LABEL <= getattr(sheet, field) <= MOST_PAGE:
            return Misfit(field, f"a page is {LEAST_LABEL} to {MOST_PAGE} mm wide and high, not {_mm(getattr(sheet, field))}")
    for field in ("label_width", "label_height"):
        if getattr(sheet, field) < LEAST_LABEL:
            return Misfit(field, f"a label is at least {LEAST_LABEL} mm wide and high: less holds no code that can be read")
    for field in ("left", "top", "gap_x", "gap_y"):
        if getattr(sheet, field) < 0:
            return Misfit(field, "give 0 or more")
    if min(sheet.columns, sheet.rows) < 1:
        return Misfit("columns" if sheet.columns < 1 else "rows", "give at least 1")
    if sheet.cells > MOST_CELLS:
        return Misfit("rows", f"{sheet.columns} x {sheet.rows} are {sheet.cells} labels on one page: {MOST_CELLS} are the most")
    return None


def _too_far(way: str, sheet: Sheet) -> Misfit | None:
    across = way == "across"
    count, field = (sheet.columns, "columns") if across else (sheet.rows, "rows")
    size, gap = (sheet.label_width, sheet.gap_x) if across else (sheet.label_height, sheet.gap_y)
    start, page = (sheet.left, sheet.page_width) if across else (sheet.top, sheet.page_height)
    taken = start + count * size + (count - 1) * gap
    if taken <= page:
        return None
    how = f"{_mm(start)} before the first, {count} labels of {_mm(size)} and {count - 1} gaps of {_mm(gap)}"
    return Misfit(field, f"{way}, {how} take {_mm(taken)}, but the page has {_mm(page)}: take fewer or smaller ones")


def _mm(length: Decimal) -> str:
    return f"{length.normalize():f} mm"


@dataclass(frozen=True, slots=True)
class Cell:
    """Where one label stands: its page (the first is 0), and its corner from the page's upper left one."""

    page: int
    left: Decimal
    top: Decimal


def cells(sheet: Sheet, *, start: int, count: int) -> Iterator[Cell]:
    """Where `count` labels stand, from the `start`-th cell of the first page on (the first is 1): across, then down."""
    if not 1 <= start <= sheet.cells:
        message = f"start: {sheet.name} has the labels 1 to {sheet.cells} on a page, not {start}"
        raise ValueError(message)
    for place in range(start - 1, start - 1 + count):
        page, cell = divmod(place, sheet.cells)
        row, column = divmod(cell, sheet.columns)
        left = sheet.left + column * (sheet.label_width + sheet.gap_x)
        yield Cell(page, left, sheet.top + row * (sheet.label_height + sheet.gap_y))


@dataclass(frozen=True, slots=True)
class Box:
    """A part of a label, from its upper left corner."""

    left: Decimal
    top: Decimal
    width: Decimal
    height: Decimal


@dataclass(frozen=True, slots=True)
class Arrangement:
    """A label's two parts. `symbol` has its quiet zone in it, so that text beside it is never in there; a `module` is one square."""

    symbol: Box
    module: Decimal
    text: Box


class TooSmallError(ValueError):
    """A label that symbol and text have no room on."""


def inner(width: Decimal, height: Decimal) -> Box:
    """What of a label may be printed on: its edges stay free."""
    return Box(EDGE, EDGE, width - 2 * EDGE, height - 2 * EDGE)


def arrange(width: Decimal, height: Decimal, modules: int) -> Arrangement:
    """Symbol and text on a label: side by side where that leaves room for text, else one above the other, as large as fits.

    `modules` counts the squares along a side, quiet zones with them.
    """
    whole = inner(width, height)
    for dots in range(MOST_DOTS, LEAST_DOTS - 1, -1):
        for put in (_beside, _above):
            if (found := put(whole, modules, dots * DOT)) is not None:
                return found
    side = modules * LEAST_DOTS * DOT
    wide = f"{_mm(side + GAP + LEAST_WIDTH + 2 * EDGE)} wide and {_mm(max(side, LEAST_HEIGHT) + 2 * EDGE)} high"
    high = f"{_mm(max(side, LEAST_WIDTH) + 2 * EDGE)} wide and {_mm(side + GAP + LEAST_HEIGHT + 2 * EDGE)} high"
    message = f"a label of {_mm(width)} by {_mm(height)} is too small for this code and its text: it takes one {wide}, or {high}"
    raise TooSmallError(message)


def _beside(inner: Box, modules: int, module: Decimal) -> Arrangement | None:
    side = modules * module
    text = Box(inner.left + side + GAP, inner.top, inner.width - side - GAP, inner.height)
    if side > inner.height or text.width < LEAST_WIDTH or text.height < LEAST_HEIGHT:
        return None
    return Arrangement(Box(inner.left, inner.top + (inner.height - side) / 2, side, side), module, text)


def _above(inner: Box, modules: int, module: Decimal) -> Arrangement | None:
    side = modules * module
    text = Box(inner.left, inner.top + side + GAP, inner.width, inner.height - side - GAP)
    if side > inner.width or text.width < LEAST_WIDTH or text.height < LEAST_HEIGHT:
        return None
    return Arrangement(Box(inner.left + (inner.width - side) / 2, inner.top, side, side), module, text)


@dataclass(frozen=True, slots=True)
class Line:
    """A line of a label's text. `size` is in points, where there is room; `need` 0 stays, whatever else must go (the highest first).

    A path is cut at its start (`tail`): its end says which drawer.
    """

    text: str
    size: float
    need: int = 0
    bold: bool = False
    tail: bool = False


@dataclass(frozen=True, slots=True)
class Placed:
    """A line as it is set: its size in points, and how far its foot lies below the box's upper edge."""

    text: str
    bold: bool
    size: float
    foot: float


Measure = Callable[[str, float, bool], float]  # the width of a text at a size, bold or not, in points
_SCALES = (1.2, 1.1, 1.0, 0.9, 0.8, 0.7, 0.6, 0.5, 0.0)
_SNUG = 0.999  # a width reckoned twice differs in its last digit


def fit(lines: Sequence[Line], width: float, height: float, measure: Measure) -> tuple[Placed, ...]:
    """`lines` in a box of `width` by `height` points, half way down it.

    They are set smaller where they must be, cut with an ellipsis, and the needless are left out.
    """
    kept = [line for line in lines if line.text]
    while True:
        for scale in _SCALES:
            scaled = [_narrowed(replace(line, size=max(LEAST_TYPE, line.size * scale)), width, measure) for line in kept]
            if _height(scaled) <= height:
                return tuple(_set(scaled, width, height, measure))
        needless = max(kept, key=lambda line: line.need, default=None)
        if needless is None or not needless.need:
            return tuple(_set(_that_fit(kept, height), width, height, measure))
        kept.remove(needless)


def _height(lines: Sequence[Line]) -> float:
    return sum(line.size for line in lines) * LEADING


def _that_fit(lines: Sequence[Line], height: float) -> list[Line]:
    """The last lines that the smallest type has room for: the token stands last."""
    room = int(height / (LEAST_TYPE * LEADING))
    return [replace(line, size=LEAST_TYPE) for line in lines[len(lines) - min(room, len(lines)) :]]


def _narrowed(line: Line, width: float, measure: Measure) -> Line:
    """The line at a size at which it is no wider than the box, or at the smallest."""
    full = measure(line.text, line.size, line.bold)
    return line if full <= width else replace(line, size=max(LEAST_TYPE, line.size * width / full * _SNUG))


def _set(lines: Sequence[Line], width: float, height: float, measure: Measure) -> Iterator[Placed]:
    top = max(0.0, height - _height(lines)) / 2
    for line in lines:
        yield Placed(_cut(line, line.size, width, measure), line.bold, line.size, top + line.size)
        top += line.size * LEADING


def _cut(line: Line, size: float, width: float, measure: Measure) -> str:
    """As much of the text as the box is wide."""
    if measure(line.text, size, line.bold) <= width:
        return line.text
    for length in range(len(line.text) - 1, 0, -1):
        part = ELLIPSIS + line.text[-length:].lstrip() if line.tail else line.text[:length].rstrip() + ELLIPSIS
        if measure(part, size, line.bold) <= width:
            return part
    return ELLIPSIS if measure(ELLIPSIS, size, line.bold) <= width else ""
