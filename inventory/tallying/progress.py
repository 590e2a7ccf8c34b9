"""How far a crate is counted, in lines: as listed, damaged, short, over, still to count. Pure.

Each line stands once, under the first that fits: still to count, damaged or wrong, short, over, else as listed. What lay in the crate and
isn't on its list stands under over.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from inventory.common.drawing import Part, parts
from inventory.tallying.calc import Compared


class State(StrEnum):
    """What became of a line, in the order in which it is drawn."""

    WHOLE = "whole"
    DAMAGED = "damaged"
    SHORT = "short"
    OVER = "over"
    LEFT = "left"


def state(compared: Compared, spoiled: Decimal) -> State:
    """What became of a line. `spoiled` came damaged, or as a wrong thing in its place."""
    if compared.left and not compared.short:
        return State.LEFT
    if spoiled:
        return State.DAMAGED
    if compared.short:
        return State.SHORT
    return State.OVER if compared.over else State.WHOLE


@dataclass(frozen=True, slots=True)
class Progress:
    """How many lines of a bag or a crate are in each state. `over` counts what isn't listed, too."""

    whole: int = 0
    damaged: int = 0
    short: int = 0
    over: int = 0
    left: int = 0

    @property
    def lines(self) -> int:
        """All of them."""
        return self.whole + self.damaged + self.short + self.over + self.left

    @property
    def counted(self) -> int:
        """Those that nobody has to look for any more."""
        return self.lines - self.left

    @property
    def parts(self) -> tuple[Part, ...]:
        """The bar of them."""
        return parts([(one.value, getattr(self, one.value)) for one in State])


NO_LINES = Progress()


def progress(states: Iterable[State], unlisted: int) -> Progress:
    """Count states; `unlisted` things were found beside them."""
    counts = dict.fromkeys(State, 0)
    for one in states:
        counts[one] += 1
    counts[State.OVER] += unlisted
    return Progress(*(counts[one] for one in State))
