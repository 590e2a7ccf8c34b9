"""Calculators that look up printed rows: rivet spacing and bolt torque."""

from fractions import Fraction

from django.utils.translation import gettext_noop as _

from buildplan.figures.calculator import Calculator, Found, Input, figure
from buildplan.figures.reading import Measure, OneOf
from buildplan.hardware.published import THREADS, bolt_torque, rivets_per_inch
from inventory.common.reasons import Reason

_LENGTH = Measure("in", "length")
_PLANS = Reason("Acceptable methods, for repairs without better data: the kit's plans and the maker's data come first.", "AC 43.13-1B")
_ROWS = Reason("Only rows printed in the circular are held here, and not all of them: nothing between them is reckoned.", "AC 43.13-1B")


def _rivets_per_inch(*, thickness: Fraction, diameter: Fraction) -> Found:
    count, reason = rivets_per_inch(thickness, diameter)
    return Found((figure("per_inch", count, "an inch"),), (reason,))


def _bolt_torque(*, thread: str) -> Found:
    tension, shear, reason = bolt_torque(thread)
    names = ("tension_least", "tension_most", "shear_least", "shear_most")
    rows = tuple(figure(name, value, "in-lb") for name, value in zip(names, (*tension, *shear), strict=True))
    return Found(rows, (reason,))


TABLES = (
    Calculator(
        name="rivets-per-inch",
        title=_("Rivets per inch"),
        about=_("How many AD rivets an inch of 2024-T3 clad sheet takes at a joint, as printed."),
        inputs=(
            Input("thickness", _("Sheet thickness"), _LENGTH, ".040", unit=_("in or mm"), help=_("0.020, 0.040 or 0.064 in")),
            Input("diameter", _("Rivet diameter"), _LENGTH, "1/8", unit=_("in or mm")),
        ),
        results={"per_inch": _("Rivets per inch")},
        reckon=_rivets_per_inch,
        example={"thickness": [".040"], "diameter": ["1/8"]},
        cautions=(_PLANS, _ROWS),
    ),
    Calculator(
        name="bolt-torque",
        title=_("Bolt torque"),
        about=_("Inch-pounds for a fine-threaded bolt on a tension nut and on a shear nut, as printed."),
        inputs=(Input("thread", _("Thread"), OneOf(THREADS), "1/4-28", choices={thread: thread for thread in THREADS}),),
        results={
            "tension_least": _("Tension nut, least"),
            "tension_most": _("Tension nut, most"),
            "shear_least": _("Shear nut, least"),
            "shear_most": _("Shear nut, most"),
        },
        reckon=_bolt_torque,
        example={"thread": ["1/4-28"]},
        cautions=(_PLANS, _ROWS),
    ),
)
