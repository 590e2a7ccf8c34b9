"""What a rivet of 2117 weighs by its geometry: a band that a weighed sample is held against, never the mass to count by. Pure."""

from collections.abc import Mapping
from fractions import Fraction
from types import MappingProxyType

from inventory.catalogue.rivets import Head, Rivet
from inventory.common.exact import Exact, decimal_text, positive
from inventory.common.reasons import MEMORY, Reason

WITHIN = Fraction(1, 10)  # of the mass by geometry: our own figure, since makers' heads and lengths have tolerances
SOURCE = f"geometry at 2.75 g/cm3; head sizes {MEMORY}"

_DENSITY = Fraction(275, 100)  # g/cm3 of 2117
_CUBIC_CM = Fraction(254, 100) ** 3  # in a cubic inch
_PI = Fraction(355, 113)  # off by less than one in ten million
_DOME_ACROSS, _DOME_HIGH = Fraction(2), Fraction(43, 100)  # of a universal head, in shank diameters
_FLUSH_ACROSS: Mapping[Fraction, Fraction] = MappingProxyType(  # of a 100 degree head, in inches
    {
        Fraction(3, 32): Fraction(179, 1000),
        Fraction(1, 8): Fraction(225, 1000),
        Fraction(5, 32): Fraction(286, 1000),
        Fraction(3, 16): Fraction(353, 1000),
    }
)
_COTANGENT = Fraction(839100, 1000000)  # of 50 degrees: half the angle of the head
_REDUCED = "NAS1097"  # its smaller head isn't known here
_UNITS: Mapping[str, Fraction] = MappingProxyType(  # grams; the pound is 0.45359237 kg exactly
    {"g": Fraction(1), "kg": Fraction(1000), "oz": Fraction(45359237, 1600000), "lb": Fraction(45359237, 100000)}
)


def nominal_mass(rivet: Rivet) -> Fraction | None:
    """Grams of one piece; None where the alloy or the head isn't known here."""
    if rivet.alloy != "AD" or rivet.standard == _REDUCED:
        return None
    volume = _universal(rivet) if rivet.head == Head.UNIVERSAL else _countersunk(rivet)
    return None if volume is None else volume * _CUBIC_CM * _DENSITY


def question_mass(rivet: Rivet, unit_mass: Exact, error: Fraction = Fraction(0)) -> Reason | None:
    """Why a sample's pieces can hardly be this rivet, weighed in whatever unit; None where they can, or where nothing is known.

    `error` is how much of `unit_mass` the scale's division may put it off.
    """
    nominal = nominal_mass(rivet)
    if nominal is None:
        return None
    found = positive("unit_mass", unit_mass)
    if any(abs(found * grams - nominal) <= nominal * WITHIN + found * grams * error for grams in _UNITS.values()):
        return None
    text = (
        f"{decimal_text(found, 4)} a piece by the sample; this rivet weighs about {decimal_text(nominal, 3)} g,"
        f" and no unit of mass brings the two within {decimal_text(WITHIN * 100)} %: is it another size, or was the sample miscounted?"
    )
    return Reason(text, SOURCE)


def _universal(rivet: Rivet) -> Fraction:
    """Shank and dome, in cubic inches."""
    high, half = _DOME_HIGH * rivet.diameter, _DOME_ACROSS * rivet.diameter / 2
    return _shank(rivet.diameter, rivet.length) + _PI * high * (3 * half**2 + high**2) / 6


def _countersunk(rivet: Rivet) -> Fraction | None:
    """Shank and cone, in cubic inches; the length of such a rivet is overall."""
    across = _FLUSH_ACROSS.get(rivet.diameter)
    if across is None:
        return None
    large, small = across / 2, rivet.diameter / 2
    high = (large - small) * _COTANGENT
    if rivet.length <= high:
        return None
    return _shank(rivet.diameter, rivet.length - high) + _PI * high * (large**2 + large * small + small**2) / 3


def _shank(diameter: Fraction, length: Fraction) -> Fraction:
    return _PI * diameter**2 / 4 * length
