"""How warm metal may be that somebody writes down: what is past that is a slip. What forbids sealing is `calc.forbidden`."""

from fractions import Fraction

from inventory.common.problems import FieldProblem
from inventory.shelflife.storage import COLDEST, HOTTEST

# What the temperature log takes, in Fahrenheit: one range for every temperature that is written down.
COLDEST_F, HOTTEST_F = (Fraction(celsius) * 9 / 5 + 32 for celsius in (COLDEST, HOTTEST))
_SLIP = f"give the metal's temperature in Fahrenheit, from {COLDEST_F} to {HOTTEST_F}: past that it is a slip, as in the temperature log"


def plausible(temperature_f: Fraction) -> bool:
    """Whether metal in a workshop can be as warm."""
    return COLDEST_F <= temperature_f <= HOTTEST_F


def refuse_implausible(field: str, temperature_f: Fraction | None) -> None:
    """Refuse what no metal in a workshop can be; what only forbids sealing is written down, since it happened."""
    if temperature_f is not None and not plausible(temperature_f):
        raise FieldProblem(field, _SLIP)
