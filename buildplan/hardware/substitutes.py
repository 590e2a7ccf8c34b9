"""Which rivet may stand in for another by a published rule. Pure. An offer to ask the plans about, never a decision."""

from collections.abc import Mapping
from fractions import Fraction
from types import MappingProxyType

from inventory.catalogue.rivets import ALLOYS, TWINS, Rivet
from inventory.common.reasons import Reason

RULE_SOURCE = "AC 43.13-1B p. 4-16 (par. 4-57 b), for general repairs"
TWIN_SOURCE = "AC 43.13-1B p. 4-16; NAVEDTRA 14315 table 3-1"

_SOFT = "AD"
_LARGER = Fraction(1, 32)
_ONE_SIZE = Fraction(1, 16)
# The largest rivet of each alloy that one of 2117 may replace.
_LARGEST: Mapping[str, Fraction] = MappingProxyType({"D": Fraction(6, 32), "DD": Fraction(5, 32)})


def may_serve(wanted: Rivet, offered: Rivet) -> Reason | None:
    """Why `offered` may serve where the plans call for `wanted`; None where no published rule known here says so.

    The head must be the same, and NAS1097's is smaller than MS20426's. Either all else is the same too, under another number; or
    2117 stands in for 2017 or 2024 one 1/32 in larger, as long as before or up to 1/16 in longer, since a thicker one needs more.
    """
    if offered.standard not in (wanted.standard, TWINS.get(wanted.standard)):
        return None
    if _shape(offered) == _shape(wanted):
        return Reason(f"{wanted.standard} and {offered.standard} name the same rivet", TWIN_SOURCE)
    return _softer(wanted, offered)


def _shape(rivet: Rivet) -> tuple[str, Fraction, Fraction]:
    return rivet.alloy, rivet.diameter, rivet.length


def _softer(wanted: Rivet, offered: Rivet) -> Reason | None:
    largest = _LARGEST.get(wanted.alloy)
    if largest is None or offered.alloy != _SOFT or wanted.diameter > largest:
        return None
    if offered.diameter != wanted.diameter + _LARGER or not 0 <= offered.length - wanted.length <= _ONE_SIZE:
        return None
    text = (
        f"{_metal(offered)} may replace {_metal(wanted)} up to {largest} in where it is 1/32 in larger: {offered.diameter} for "
        f"{wanted.diameter} in; hole, die, edge distance and pitch are then the larger rivet's, and grip + 1.5 D is 3/64 in longer"
    )
    return Reason(text, RULE_SOURCE)


def _metal(rivet: Rivet) -> str:
    return ALLOYS[rivet.alloy].metal.partition("-")[0]
