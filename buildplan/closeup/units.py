"""Pressures as gauges and barometers show them, converted once, at the edge, by pint and exactly."""

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from buildplan.closeup.calc import Unit
from inventory.catalogue.units import ratio

PRESSURES: Mapping[str, str] = MappingProxyType(
    {
        "psi": "psi",
        "inH2O": "inches of water",
        "hPa": "hectopascals",
        "kPa": "kilopascals",
        "mbar": "millibars",
        "inHg": "inches of mercury",
        "mmHg": "millimetres of mercury",
    }
)
SCALES = ("C", "F")


@cache
def unit(name: str) -> Unit:
    """The unit of a name, one of `PRESSURES`. An inch of water is of water at 1000 kg/m3, one of mercury at 0 C."""
    if name not in PRESSURES:
        raise ValueError(f"unit: {name!r} is none of {', '.join(PRESSURES)}")
    return Unit(name, ratio(name, "Pa"))
