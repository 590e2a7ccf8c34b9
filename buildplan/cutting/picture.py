"""A bar or a sheet with its pieces, as places in a picture: the template draws it, the table beside it says the same.

All of it in units of the picture: 1,000 across, whatever the blank is long.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from django.utils.translation import gettext as _

from buildplan.cutting.calc import Plan
from buildplan.cutting.sheets import SheetPlan
from inventory.common.exact import decimal_text

ACROSS = 1000
BAR_HIGH = 120
MOST_HIGH = 900
PROMISED = ", promised"
SMALLEST = 34  # units of the picture in which a number still fits


@dataclass(frozen=True, slots=True)
class Box:
    """One piece or offcut. `kind` is sawn, promised or offcut; `number` names its row of the table."""

    x: str
    y: str
    width: str
    height: str
    middle_x: str
    middle_y: str
    kind: str
    number: int
    numbered: bool
    name: str
    size: str


@dataclass(frozen=True, slots=True)
class Drawn:
    """One blank."""

    height: int
    boxes: tuple[Box, ...]
    name: str
    scheme: bool = False  # nobody said where the pieces lie

    @property
    def rows(self) -> tuple[Box, ...]:
        """The table's rows."""
        return self.boxes


Part = tuple[Fraction, Fraction, Fraction, Fraction, str, str, str]  # x, y, width, height, kind, name, size


def drawn(plan: Plan | SheetPlan | None, yields: Sequence[tuple[str, int, bool]] = (), rest: int = 0) -> tuple[Drawn, ...]:
    """The blanks of a plan; by yield a scheme of equal parts, `rest` of them not given to anybody."""
    if plan is None:
        return (_scheme(yields, rest),) if yields else ()
    if isinstance(plan, Plan):
        return tuple(
            _bar(bar.length, [(piece.length, piece.label) for piece in bar.pieces], bar.offcut, bar.stock.label) for bar in plan.bars
        )
    return tuple(_sheet(plan, at) for at in range(plan.count))


def _kind(label: str) -> tuple[str, str]:
    return ("promised", label.removesuffix(PROMISED)) if label.endswith(PROMISED) else ("sawn", label)


def _bar(length: Fraction, pieces: Iterable[tuple[Fraction, str]], offcut: Fraction, name: str) -> Drawn:
    pieces = list(pieces)
    gaps = length - offcut - sum((size for size, _ in pieces), Fraction(0))
    gap = gaps / len(pieces) if pieces else Fraction(0)
    scale = Fraction(ACROSS) / length
    parts: list[Part] = []
    at = Fraction(0)
    for size, label in pieces:
        kind, words = _kind(label)
        parts.append((at * scale, Fraction(0), size * scale, Fraction(BAR_HIGH), kind, words, f"{decimal_text(size)} mm"))
        at += size + gap
    if offcut:
        parts.append((at * scale, Fraction(0), offcut * scale, Fraction(BAR_HIGH), "offcut", "", f"{decimal_text(offcut)} mm"))
    return Drawn(BAR_HIGH, _boxes(parts), name)


def _sheet(plan: SheetPlan, at: int) -> Drawn:
    one = plan.sheets[at]
    scale = min(Fraction(ACROSS) / one.sheet.length, Fraction(MOST_HIGH) / one.sheet.width)
    areas = [(laid.area, *_kind(laid.piece.label)) for laid in one.pieces] + [(left, "offcut", "") for left in one.offcuts]
    parts: list[Part] = []
    for area, kind, words in areas:
        top = one.sheet.width - area.y - area.width  # a picture counts from the top
        size = f"{decimal_text(area.length)} x {decimal_text(area.width)} mm"
        parts.append((area.x * scale, top * scale, area.length * scale, area.width * scale, kind, words, size))
    return Drawn(int(one.sheet.width * scale) + 1, _boxes(parts), one.sheet.label)


def _scheme(yields: Sequence[tuple[str, int, bool]], rest: int) -> Drawn:
    kinds = [("promised" if later else "sawn", name) for name, count, later in yields for _ in range(count)]
    kinds += [("offcut", "")] * rest
    width = Fraction(ACROSS, max(1, len(kinds)))
    parts = [(at * width, Fraction(0), width, Fraction(BAR_HIGH), kind, name, _("by number")) for at, (kind, name) in enumerate(kinds)]
    return Drawn(BAR_HIGH, _boxes(parts), "", scheme=True)


def _boxes(parts: Iterable[Part]) -> tuple[Box, ...]:
    return tuple(_box(number, part) for number, part in enumerate(parts, start=1))


def _box(number: int, part: Part) -> Box:
    x, y, width, height, kind, name, size = part
    left, top, across, high = (decimal_text(value, 2) for value in (x, y, width, height))
    middle = decimal_text(x + width / 2, 2), decimal_text(y + height / 2, 2)
    return Box(left, top, across, high, *middle, kind, number, min(width, height) >= SMALLEST, name, size)
