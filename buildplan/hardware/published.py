"""Rows of AC 43.13-1B that a builder looks up. Pure; only rows that are printed there, nothing between them.

The circular gives acceptable methods: the kit's plans and the maker's data come first.
"""

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType

from inventory.common.exact import Exact, decimal_text, positive
from inventory.common.reasons import Reason

SPACING_SOURCE = "AC 43.13-1B table 4-10"
TORQUE_SOURCE = "AC 43.13-1B table 7-1"

# Rivets per inch: 2024-T3 clad sheet of that thickness, protruding-head rivets of alloy AD.
_PER_INCH: Mapping[tuple[Fraction, Fraction], Decimal] = MappingProxyType(
    {
        (Fraction("0.020"), Fraction(1, 8)): Decimal("4.9"),
        (Fraction("0.040"), Fraction(1, 8)): Decimal("6.2"),
        (Fraction("0.040"), Fraction(5, 32)): Decimal("4.0"),
        (Fraction("0.040"), Fraction(3, 16)): Decimal("3.3"),
        (Fraction("0.064"), Fraction(1, 8)): Decimal("9.9"),
        (Fraction("0.064"), Fraction(5, 32)): Decimal("6.5"),
    }
)
# Inch-pounds, least and most: on a tension nut, on a shear nut.
_TORQUE: Mapping[str, tuple[tuple[int, int], tuple[int, int]]] = MappingProxyType(
    {"10-32": ((20, 25), (12, 15)), "1/4-28": ((50, 70), (30, 40)), "5/16-24": ((100, 140), (60, 85))}
)
THREADS = tuple(_TORQUE)


def rivets_per_inch(thickness: Exact, diameter: Exact) -> tuple[Decimal, Reason]:
    """Rivets an inch of 2024-T3 clad sheet, for AD rivets; sizes in inches. `ValueError` where that row isn't held here."""
    sheet, rivet = positive("thickness", thickness), positive("diameter", diameter)
    found = _PER_INCH.get((sheet, rivet))
    if found is None:
        rows = ", ".join(f"{decimal_text(t)} with {d}" for t, d in _PER_INCH)
        raise ValueError(f"thickness: no row for {decimal_text(sheet)} in with a rivet of {rivet} in: there are {rows}")
    return found, Reason(f"sheet of {decimal_text(sheet)} in, rivet of {rivet} in: {found} rivets an inch", SPACING_SOURCE)


def bolt_torque(thread: str) -> tuple[tuple[int, int], tuple[int, int], Reason]:
    """Inch-pounds for a fine-threaded bolt, (least, most) on a tension nut and on a shear nut. `ValueError` for another thread."""
    found = _TORQUE.get(thread)
    if found is None:
        raise ValueError(f"thread: no row here for that: there are {', '.join(THREADS)}")
    tension, shear = found
    text = f"{thread}: {tension[0]}-{tension[1]} in-lb on a tension nut, {shear[0]}-{shear[1]} on a shear nut"
    return tension, shear, Reason(text, TORQUE_SOURCE)
