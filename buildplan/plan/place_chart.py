"""A step's place in the plan as places in a picture: boxes in rows, lines from the earlier to the later. Pure."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from buildplan.plan.place import Layer, Place
from inventory.common.drawing import middle, percent

BOX, GAP, NOTE = 46, 34, 22  # heights: of a box, between two rows, and of the words for what isn't shown
WIDTH = 30  # percent, of three boxes side by side


@dataclass(frozen=True, slots=True)
class Box:
    """A step, or (`step` None) how many more lie beside it."""

    step: int | None
    more: int
    x: str
    middle: str
    y: int
    code_y: int
    state_y: int
    entered: bool


@dataclass(frozen=True, slots=True)
class Stroke:
    """Part of a line between two boxes."""

    x1: str
    y1: int
    x2: str
    y2: int


@dataclass(frozen=True, slots=True)
class PlaceChart:
    """What the template draws. `earlier_y` and `later_y` are where the words for what lies farther stand."""

    boxes: tuple[Box, ...]
    strokes: tuple[Stroke, ...]
    width: str
    box: int
    height: int
    earlier_y: int
    later_y: int


def place_chart(place: Place) -> PlaceChart:
    """The picture of a place."""
    rows = _rows(place)
    entered = {step for _, step in place.lines}
    last = max(row.top for row in rows) + BOX
    boxes = tuple(box for row in rows for box in _boxes(row, entered))
    strokes = tuple(stroke for line in place.lines for stroke in _strokes(line, rows))
    return PlaceChart(boxes, strokes, percent(WIDTH), BOX, last + (NOTE if place.later else 4), NOTE - 8, last + NOTE - 5)


@dataclass(frozen=True, slots=True)
class _Row:
    """A layer with where it stands."""

    layer: Layer
    top: int

    @property
    def slots(self) -> int:
        return len(self.layer.steps) + bool(self.layer.more)

    def middle(self, step: int) -> Decimal:
        return middle(self.layer.steps.index(step), self.slots)

    def gap(self, near: Decimal) -> Decimal:
        """Where a line can pass between its boxes: nearest to where it would go straight."""
        return min((Decimal(100) * at / self.slots for at in range(self.slots + 1)), key=lambda x: abs(x - near))


def _rows(place: Place) -> list[_Row]:
    start = NOTE if place.earlier else 2
    return [_Row(layer, start + at * (BOX + GAP)) for at, layer in enumerate(place.layers)]


def _boxes(row: _Row, entered: set[int]) -> Iterator[Box]:
    named: Sequence[int | None] = [*row.layer.steps, *([None] if row.layer.more else [])]
    for at, step in enumerate(named):
        x = middle(at, row.slots)
        more = 0 if step is not None else row.layer.more
        yield Box(step, more, percent(x - Decimal(WIDTH) / 2), percent(x), row.top, row.top + 19, row.top + 37, step in entered)


def _strokes(line: tuple[int, int], rows: Sequence[_Row]) -> Iterator[Stroke]:
    """From the foot of the earlier box to the head of the later one; past rows between them through a gap."""
    at: Mapping[int, int] = {step: number for number, row in enumerate(rows) for step in row.layer.steps}
    first, last = at[line[0]], at[line[1]]
    x, y, end = rows[first].middle(line[0]), rows[first].top + BOX, rows[last].middle(line[1])
    for number in range(first + 1, last):
        row = rows[number]
        through = row.gap(x + (end - x) / (last - number + 1))
        yield Stroke(percent(x), y, percent(through), row.top)
        yield Stroke(percent(through), row.top, percent(through), row.top + BOX)
        x, y = through, row.top + BOX
    yield Stroke(percent(x), y, percent(end), rows[last].top)
