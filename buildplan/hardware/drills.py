"""Drills by name, the holes that rivets want, and the tools of a step in the order used. Pure.

Sizes of number and letter drills follow ASME B94.11M as charts print it. Inches, exact.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType

from buildplan.hardware.lengths import thinnest_countersunk_sheet
from inventory.catalogue.rivets import Head, Rivet
from inventory.common.exact import Exact, decimal_text, positive
from inventory.common.reasons import MEMORY, PRACTICE, Reason

DRILL_SOURCE = "ASME B94.11M chart"
_LIMIT_SOURCE = "MIL-R-47196A(MI) par. 3.2.1.3 table I, as quoted"

# A chart is read in rows.
# fmt: off
_NUMBERS = (  # #1 first, ten-thousandths of an inch
    2280, 2210, 2130, 2090, 2055, 2040, 2010, 1990, 1960, 1935,
    1910, 1890, 1850, 1820, 1800, 1770, 1730, 1695, 1660, 1610,
    1590, 1570, 1540, 1520, 1495, 1470, 1440, 1405, 1360, 1285,
    1200, 1160, 1130, 1110, 1100, 1065, 1040, 1015, 995, 980,
    960, 935, 890, 860, 820, 810, 785, 760, 730, 700,
    670, 635, 595, 550, 520, 465, 430, 420, 410, 400,
    390, 380, 370, 360, 350, 330, 320, 310, 292, 280,
    260, 250, 240, 225, 210, 200, 180, 160, 145, 135,
)
_LETTERS = (  # A first, thousandths
    234, 238, 242, 246, 250, 257, 261, 266, 272, 277, 281, 290, 295,
    302, 316, 323, 332, 339, 348, 358, 368, 377, 386, 397, 404, 413,
)
# fmt: on
_NUMBERED = re.compile(r"#?([1-9]\d?)", re.ASCII)
_LETTER = re.compile(r"[A-Za-z]")
_FRACTION = re.compile(r"([1-9]\d?)/(2|4|8|16|32|64)", re.ASCII)
_MOST_NUMBER = len(_NUMBERS)
_DISPUTED = "#69"


@dataclass(frozen=True, slots=True)
class HoleLimits:
    """The smallest and largest hole for a rivet, both allowed, and the drill usually taken. `source` says where they come from."""

    least: Decimal
    most: Decimal
    usual: str
    pilot: str
    source: str


@dataclass(frozen=True, slots=True)
class Tool:
    """One tool of a step. `use` is pilot, final, deburr, countersink, dimple, or both of the last where the sheet is not known."""

    use: str
    name: str
    reason: Reason


def _limits(least: str, most: str, usual: str, pilot: str, *, published: bool = False) -> HoleLimits:
    source = _LIMIT_SOURCE if published else f"{MEMORY}; the table would be {_LIMIT_SOURCE}"
    return HoleLimits(Decimal(least), Decimal(most), usual, pilot, source)


HOLES: Mapping[Fraction, HoleLimits] = MappingProxyType(
    {
        Fraction(3, 32): _limits("0.093", "0.103", "#40", "1/16", published=True),
        Fraction(4, 32): _limits("0.125", "0.135", "#30", "#40"),
        Fraction(5, 32): _limits("0.156", "0.171", "#21", "#30"),
        Fraction(6, 32): _limits("0.187", "0.202", "#11", "#21"),
        Fraction(8, 32): _limits("0.250", "0.265", "F", "#11"),
    }
)
_ORDER = ("pilot", "final", "deburr", "countersink", "countersink or dimple", "dimple")


def drill_size(name: str) -> Decimal:
    """The size in inches, exact, of `30` or `#30` (1 to 80), a letter, or a fraction of 64ths under 1 (`6/64`, `3/32`).

    Raises `ValueError` that names the argument for any other.
    """
    if not isinstance(name, str):
        raise ValueError(f"name: a drill's name is a text, not {type(name).__name__}")  # noqa: TRY004 - pinned
    text = name.strip()
    if (found := _NUMBERED.fullmatch(text)) and int(found[1]) <= _MOST_NUMBER:
        return Decimal(f"{_NUMBERS[int(found[1]) - 1]}e-4")
    if _LETTER.fullmatch(text):
        return Decimal(f"{_LETTERS[ord(text.upper()) - ord('A')]}e-3")
    if (found := _FRACTION.fullmatch(text)) and int(found[1]) < int(found[2]):
        return Decimal(decimal_text(Fraction(int(found[1]), int(found[2])), 6))  # 64ths end within six places
    raise ValueError(f"name: {text[:20]!r} is no drill: give #1 to #{_MOST_NUMBER}, A to Z, or 64ths under 1 such as 3/32")


def drill_mm(name: str) -> Decimal:
    """The size in millimetres, exact: an inch is 25.4 mm."""
    return drill_size(name) * Decimal("25.4")


def drill_note(name: str) -> Reason | None:
    """Where charts disagree about a drill: what the other says."""
    if drill_size(name) != drill_size(_DISPUTED):
        return None
    return Reason("charts print #69 as .0292 or .02925; we take .0292", DRILL_SOURCE)


def drill_fits(name: str, rivet_diameter: Exact) -> tuple[bool, str]:
    """Whether the hole of this drill lies within the limits for a rivet of this diameter (inches), limits included, and why.

    False where no limits are known. Limits from memory are said to be, and should block nobody.
    """
    size, diameter = drill_size(name), positive("rivet_diameter", rivet_diameter)
    if (limits := HOLES.get(diameter)) is None:
        return False, f"no hole limits are known for a rivet of {decimal_text(diameter, 5)} in"
    fits = limits.least <= size <= limits.most
    where = "within" if fits else "below" if size < limits.least else "above"
    reason = f"{name.strip()} is {size} in, {where} {limits.least} to {limits.most} for a {diameter} rivet ({limits.source})"
    if fits and size < diameter:
        reason += f"; the drill is smaller than the rivet's {decimal_text(diameter, 5)} in, try it first"
    return fits, reason


def tools_for(rows: Iterable[tuple[Rivet, Exact | None]]) -> tuple[Tool, ...]:
    """The tools of a step in the order used, small before large: pilot, final, deburr, then countersink or dimple for flush heads.

    `rows` are (rivet, thickness of the outer sheet in inches, or None where it is not known).
    """
    wanted: dict[Tool, tuple[int, Fraction]] = {}
    for rivet, sheet in rows:
        for tool in _tools(rivet, sheet):
            wanted.setdefault(tool, (_ORDER.index(tool.use), rivet.diameter))
    return tuple(sorted(wanted, key=wanted.__getitem__))


def _tools(rivet: Rivet, sheet: Exact | None) -> list[Tool]:
    tools = _drills(rivet.diameter)
    tools.append(Tool("deburr", "deburring tool", Reason("both faces of each sheet", PRACTICE)))
    if rivet.head == Head.COUNTERSUNK:
        tools.append(_flush_tool(rivet.diameter, sheet))
    return tools


def _drills(diameter: Fraction) -> list[Tool]:
    if (limits := HOLES.get(diameter)) is None:
        return [Tool("final", f"drill for {diameter}", Reason("no usual drill is known for it: see the plans", "no source"))]
    pilot = Tool("pilot", limits.pilot, Reason(f"before {limits.usual}, unless the hole is there already", PRACTICE))
    final = Tool("final", limits.usual, Reason(f"the usual drill for {diameter}, {drill_size(limits.usual)} in", DRILL_SOURCE))
    return [pilot, final]


def _flush_tool(diameter: Fraction, sheet: Exact | None) -> Tool:
    figure = thinnest_countersunk_sheet(diameter)
    if figure is None or sheet is None:
        why = "no thinnest sheet is known for it" if figure is None else "the sheet's thickness is not given"
        return Tool("countersink or dimple", f"100 degrees, {diameter}", Reason(f"{why}: see the plans", "no source"))
    use = "countersink" if positive("sheet", sheet) >= figure.value else "dimple"
    return Tool(use, f"100 degrees, {diameter}", figure.reason)
