"""Places in a picture: what the charts share. Pure: a template draws them, the table beside it says the same.

Widths are percent of the picture, heights its own units: text then keeps its size however wide the picture is shown.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

HALF = Decimal("0.5")
ELLIPSIS = "\N{HORIZONTAL ELLIPSIS}"
FEWEST_FOR_MIDDLE = 3  # days, so that there is one between the first and the last
ROW, TEXT, BAR, THICK, SPACE = 52, 15, 22, 22, 4  # of a row of parts: its height, down to its words and its bar, the bar's, below all
PAD, DIGIT = 4, 3  # percent that a part needs for its figure, on a phone: beside it, and for each digit
MOST_LABEL, MOST_WORDS = 20, 24  # characters of a row's two texts, which share a line of a phone


def percent(part: Decimal | int) -> str:
    """A width or a place."""
    return f"{part:.3f}%"


def middle(at: int, count: int) -> Decimal:
    """The middle of one of `count` cells of a picture."""
    return (Decimal(at) + HALF) * 100 / max(1, count)


def cut(text: str, most: int) -> str:
    """A text that has room for so many characters."""
    return text if len(text) <= most else f"{text[: most - 1]}{ELLIPSIS}"


def later(day: date, days: int) -> date:
    """`days` after `day`; the calendar's last day where that lies beyond it."""
    return day + timedelta(days) if (date.max - day).days > days else date.max


@dataclass(frozen=True, slots=True)
class Tick:
    """A day below a plot."""

    x: str
    anchor: str
    day: date


def ticks(first: date, days: int) -> tuple[Tick, ...]:
    """The first day, one half way, the last one: as many as there are. The outer ones stand at the edges, where their text has room."""
    last = max(0, days - 1)
    edges = (Tick("0%", "start", first), Tick("100%", "end", later(first, last)))
    if days < FEWEST_FOR_MIDDLE:
        return edges[: last + 1]
    return edges[0], Tick(percent(middle(last // 2, days)), "middle", later(first, last // 2)), edges[1]


@dataclass(frozen=True, slots=True)
class Part:
    """Some of a whole: `figure` is blank where it has no room for it."""

    kind: str
    count: int
    x: str
    width: str
    middle: str
    figure: str


@dataclass(frozen=True, slots=True)
class Whole:
    """A bar of parts, with two texts above it, one at each end."""

    label: str
    words: str
    text_y: int
    bar_y: int
    figure_y: int
    parts: tuple[Part, ...]


@dataclass(frozen=True, slots=True)
class Wholes:
    """Bars of parts, one below the other."""

    rows: tuple[Whole, ...]
    height: int


def wholes(rows: Iterable[tuple[str, str, Sequence[tuple[str, int]]]]) -> Wholes:
    """The picture of some rows: a label, words, and how many there are of each kind, in the order in which they are drawn."""
    drawn = tuple(_whole(label, words, counts, ROW * at) for at, (label, words, counts) in enumerate(rows))
    return Wholes(drawn, ROW * len(drawn) + SPACE)


def _whole(label: str, words: str, counts: Sequence[tuple[str, int]], top: int) -> Whole:
    return Whole(cut(label, MOST_LABEL), cut(words, MOST_WORDS), top + TEXT, top + BAR, top + BAR + TEXT + 1, parts(counts))


def parts(counts: Sequence[tuple[str, int]]) -> tuple[Part, ...]:
    """Side by side, each as wide as its share; nothing of a kind that there is none of."""
    total, before, found = sum(count for _, count in counts), 0, []
    for kind, count in counts:
        if count:
            x, width = Decimal(before) * 100 / total, Decimal(count) * 100 / total
            figure = str(count) if width >= PAD + DIGIT * len(str(count)) else ""
            found.append(Part(kind, count, percent(x), percent(width), percent(x + width / 2), figure))
        before += count
    return tuple(found)
