"""Hours by section as places in a picture. Pure: the template draws it, the table beside it says the same.

Widths are percent of the picture, heights its own units: text then keeps its size however wide the picture is shown.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from buildplan.logbook.calc import clock

ROW, BAR, TEXT = 52, 22, 16  # a row, its bar, and how far down its text stands
MOST_LABEL = 40
FULL = Decimal(100)


@dataclass(frozen=True, slots=True)
class Bar:
    """One section: its name and hours above, the bar below."""

    label: str
    time: str
    text_y: int
    y: int
    width: str


@dataclass(frozen=True, slots=True)
class Chart:
    """What the template draws."""

    bars: tuple[Bar, ...]
    height: int


def chart(rows: Sequence[tuple[str, int]]) -> Chart | None:
    """The picture of some sections with their minutes, the longest bar as wide as the picture; None where nobody worked."""
    most = max((minutes for _, minutes in rows), default=0)
    if not most:
        return None
    return Chart(tuple(_bar(name, minutes, at, most) for at, (name, minutes) in enumerate(rows)), ROW * len(rows))


def _bar(name: str, minutes: int, at: int, most: int) -> Bar:
    label = name if len(name) <= MOST_LABEL else f"{name[: MOST_LABEL - 1]}\N{HORIZONTAL ELLIPSIS}"
    top = ROW * at
    return Bar(label, clock(minutes), top + TEXT, top + TEXT + 6, f"{FULL * minutes / most:.3f}%")
