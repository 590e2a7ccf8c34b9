"""How long a rivet must be, and what its driven head should look like. Pure. All sizes are inches.

The call-out on the plans always wins over what is reckoned here.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from types import MappingProxyType

from inventory.catalogue.rivets import Rivet, format_rivet
from inventory.common.exact import Exact, decimal_text, half_up, positive
from inventory.common.reasons import Reason

_LENGTH_SOURCE = "NAVEDTRA 14018 fig. 13-43"
_LONG_GRIP_SOURCE = "TM 9-2320-303-24-2 table 5"
_THUMB_SOURCE = "Curtiss P-40 structural repair manual par. 14-15"
_FLOOR_SOURCE = "MIL-HDBK-5H p. 8-9"
_EDGE_SOURCE = "AC 43.13-1B"
_PITCH_SOURCE = "NAVEDTRA 14018"
_SHEET_SOURCE = "TM 9-2320-363-34-2 tables 3-4"

_LONG_GRIP = Fraction(2)
_LONG_GRIP_MOST_DIAMETER = Fraction(1, 4)
_HALF_SIZE = Fraction(1, 32)
_THINNEST_SHEET: Mapping[Fraction, Fraction] = MappingProxyType(
    {
        Fraction(3, 32): Fraction(40, 1000),
        Fraction(4, 32): Fraction(50, 1000),
        Fraction(5, 32): Fraction(64, 1000),
        Fraction(6, 32): Fraction(72, 1000),
    }
)
# name, times the diameter, what it is, source
_TIMES_DIAMETER = (
    ("driven_width", Fraction(3, 2), "driven head, rule of thumb: 1.5 D wide", _THUMB_SOURCE),
    ("driven_height", Fraction(1, 2), "driven head, rule of thumb: 0.5 D high", _THUMB_SOURCE),
    ("driven_width_floor", Fraction(13, 10), "driven head, never under 1.3 D wide", _FLOOR_SOURCE),
    ("driven_height_floor", Fraction(3, 10), "driven head, never under 0.3 D high", _FLOOR_SOURCE),
    ("edge_distance", Fraction(2), "edge distance at least 2 D", _EDGE_SOURCE),
    ("pitch_floor", Fraction(3), "pitch never under 3 D", _PITCH_SOURCE),
    ("pitch_low", Fraction(4), "pitch seldom under 4 D", _PITCH_SOURCE),
    ("pitch_high", Fraction(8), "pitch seldom over 8 D", _PITCH_SOURCE),
)


class Policy(StrEnum):
    """How the exact length becomes one that is made. Manuals differ (up, or to the nearest), so that it is stated."""

    UP_HALF = "up_half"
    NEAREST_HALF = "nearest_half"
    UP_WHOLE = "up_whole"


@dataclass(frozen=True, slots=True)
class Figure:
    """One size to check against, in inches, and why."""

    name: str
    value: Fraction
    reason: Reason


@dataclass(frozen=True, slots=True)
class Pick:
    """The length to take from the drawer; None where nothing there is long enough."""

    length: Fraction | None
    reasons: tuple[Reason, ...]


def exact_length(grip: Exact, diameter: Exact, *, long_grip: bool = False) -> Fraction:
    """Grip + 1.5 D, before any rounding, with the long-grip addition where asked for."""
    stack, thick = positive("grip", grip), positive("diameter", diameter)
    return stack + thick * 3 / 2 + (long_grip_addition(stack, thick) if long_grip else 0)


def long_grip_addition(grip: Exact, diameter: Exact) -> Fraction:
    """1/16 in for each full 2 in of grip, where grip is over 2 in and D at most 1/4 in; else nothing (TM 9-2320-303-24-2 table 5)."""
    stack, thick = positive("grip", grip), positive("diameter", diameter)
    if stack <= _LONG_GRIP or thick > _LONG_GRIP_MOST_DIAMETER:
        return Fraction(0)
    return Fraction(math.floor(stack / _LONG_GRIP), 16)


def rivet_length(grip: Exact, diameter: Exact, policy: str, *, long_grip: bool = False) -> Fraction:
    """The length to call for, in inches: grip + 1.5 D rounded to sixteenths by `policy`. `ValueError` names a bad argument."""
    rule = _policy(policy)
    sixteenths = exact_length(grip, diameter, long_grip=long_grip) * 16
    if rule is Policy.UP_WHOLE:
        return Fraction(math.ceil(sixteenths), 16)
    halves = math.ceil(sixteenths * 2) if rule is Policy.UP_HALF else half_up(sixteenths * 2)
    return Fraction(halves, 32)


def length_reasons(grip: Exact, diameter: Exact, policy: str, *, long_grip: bool = False) -> tuple[Reason, ...]:
    """The trace of `rivet_length` with the same arguments."""
    stack, thick = positive("grip", grip), positive("diameter", diameter)
    wanted = rivet_length(stack, thick, policy, long_grip=long_grip)
    text = f"grip {decimal_text(stack)} + 1.5 x D {decimal_text(thick, 5)} = {decimal_text(stack + thick * 3 / 2)} in"
    reasons = [Reason(text, _LENGTH_SOURCE)]
    if long_grip and (more := long_grip_addition(stack, thick)):
        reasons.append(Reason(f"long grip: {more} in more, 1/16 for each full 2 in", _LONG_GRIP_SOURCE))
    reasons.append(Reason(f"rounded to {_sixteenths(wanted)} by {_policy(policy)}", "a policy of the workshop; manuals differ"))
    return tuple(reasons)


def pick_stocked(grip: Exact, diameter: Exact, stocked: Iterable[Fraction], policy: str, *, long_grip: bool = False) -> Pick:
    """The shortest of the `stocked` lengths (inches) that reaches `rivet_length`: never one shorter than the policy allows."""
    lengths = sorted({positive("stocked", length) for length in stocked})
    wanted = rivet_length(grip, diameter, policy, long_grip=long_grip)
    reasons = length_reasons(grip, diameter, policy, long_grip=long_grip)
    found = next((length for length in lengths if length >= wanted), None)
    return Pick(found, (*reasons, _picked(wanted, found)))


def call_out_question(rivet: Rivet, grip: Exact, policy: str, *, long_grip: bool = False) -> str | None:
    """What to ask where the plans call for another length than is reckoned; None where they agree. The call-out stands either way."""
    wanted = rivet_length(grip, rivet.diameter, policy, long_grip=long_grip)
    if wanted == rivet.length:
        return None
    stack = decimal_text(positive("grip", grip))
    return (
        f"The plans call for {format_rivet(rivet)}, {_sixteenths(rivet.length)}; a grip of {stack} in gives {_sixteenths(wanted)} "
        f"({_policy(policy)}). The call-out on the plans wins: is the grip right?"
    )


def check_figures(diameter: Exact) -> tuple[Figure, ...]:
    """Sizes to check a driven rivet and its row against, each with its source."""
    thick = positive("diameter", diameter)
    figures = [Figure(name, times * thick, Reason(text, source)) for name, times, text, source in _TIMES_DIAMETER]
    if sheet := thinnest_countersunk_sheet(thick):
        figures.append(sheet)
    return tuple(figures)


def thinnest_countersunk_sheet(diameter: Exact) -> Figure | None:
    """The thinnest sheet that takes a machine countersink at 100 degrees; None where no source gives one. Thinner: dimple."""
    thick = positive("diameter", diameter)
    if (sheet := _THINNEST_SHEET.get(thick)) is None:
        return None
    text = f"machine countersink at 100 degrees for {thick}: sheet of {decimal_text(sheet)} in or more, else dimple"
    return Figure("countersunk_sheet", sheet, Reason(text, _SHEET_SOURCE))


def _policy(policy: str) -> Policy:
    try:
        return Policy(policy)
    except ValueError as error:
        raise ValueError(f"policy: none of {', '.join(Policy)}") from error


def _sixteenths(length: Fraction) -> str:
    return f"{decimal_text(length * 16)}/16 in"


def _picked(wanted: Fraction, found: Fraction | None) -> Reason:
    if found is None:
        return Reason(f"nothing stocked reaches {_sixteenths(wanted)}", "lengths in stock")
    text = f"{_sixteenths(found)} is the shortest stocked that reaches it"
    if found - wanted > _HALF_SIZE:
        text += f", {_sixteenths(found - wanted)} longer than wanted: check the driven head"
    return Reason(text, "lengths in stock")
