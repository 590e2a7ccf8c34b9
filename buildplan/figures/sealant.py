"""Calculators of sealant: grams of a seam, the mix, its work life, a day's batches."""

import math
from collections.abc import Iterator, Sequence
from datetime import date
from decimal import Decimal
from fractions import Fraction

from django.utils.translation import gettext_noop as _

from buildplan.figures.calculator import MM_PER_INCH, Calculator, Found, Input, Row, figure, tidy
from buildplan.figures.reading import Lines, Measure, OneOf, Temperature, Whole, code, day, number
from buildplan.sealing.calc import (
    Batch,
    LotLeft,
    Seam,
    Shape,
    batch_sizes,
    largest_batch,
    mix_reasons,
    plan_day,
    scale_error_percent,
    seam_grams,
    smallest_batch,
    split,
    work_life,
)
from inventory.common.exact import decimal_text, thousandths
from inventory.common.reasons import ARITHMETIC, Reason

_LENGTH = Measure("in", "length", told="mm")
_GRAMS = Measure("g", "mass")
_HOURS = Measure("h", "time")
_SHEET = "the product's data sheet, as entered"
_MINUTES = 60

SHEET = Reason(_("The maker's data sheet wins over any figure here, and the plans say where and how thick."), "the product's data sheet")
CAN = Reason(
    _(
        "Solvents such as MEK and acetone are highly flammable: air the place, keep every source of ignition away, wear gloves and eye "
        "protection. Type 1 accelerators hold chromium(VI), manganese-dioxide ones oxidise and irritate, isocyanate hardeners sensitise."
    ),
    "the product's safety data sheet",
)
WASTE = Reason(_("Rests are disposed of as the safety data sheet and the local authority say."), "the local fire and waste authority")
CAUTIONS = (SHEET, CAN, WASTE)


def _size(name: str, label: str, help_: str) -> Input:
    return Input(name, label, _LENGTH, "1/4, 0.25 in or 6 mm", help=help_, unit=_("in or mm"), required=False)


def _seam(  # noqa: PLR0913 - each is a field of the form
    *,
    shape: str,
    length: Fraction | None,
    leg_a: Fraction | None,
    leg_b: Fraction | None,
    thickness: Fraction | None,
    grams_each: Fraction | None,
    gravity: Fraction | None,
    count: int | None,
    loss_percent: Fraction | None,
) -> Found:
    seam = Seam(
        shape,
        length=_mm(length),
        leg_a=_mm(leg_a),
        leg_b=_mm(leg_b),
        thickness=_mm(thickness),
        count=1 if count is None else count,
        grams_each=grams_each,
        loss_percent=loss_percent or 0,
    )
    found = seam_grams(seam, gravity)
    trace = (*found.reasons, *([] if loss_percent else [Reason("no loss is added: none is stated", "as entered")]))
    return Found((figure("grams", found.grams, "g"),), trace)


def _mm(inches: Fraction | None) -> Fraction | None:
    return None if inches is None else inches * MM_PER_INCH


def _mix(*, total: Fraction, base: Fraction, accelerator: Fraction, division: Fraction | None, limit_percent: Fraction | None) -> Found:
    base_g, accelerator_g = split(total, base, accelerator)
    rows = [figure("base", base_g, "g"), figure("accelerator", accelerator_g, "g")]
    if division is None:
        _refuse_limit(limit_percent)
        trace = Reason(f"{base_g} g base + {accelerator_g} g accelerator, {tidy(base)} : {tidy(accelerator)} by weight", _SHEET)
        return Found(tuple(rows), (trace,))
    small = min(base_g, accelerator_g)
    if small:
        rows.append(figure("error", scale_error_percent(small, division), "%", f"of the {decimal_text(Fraction(small))} g, either way"))
    reasons = list(mix_reasons(total, tidy(base), tidy(accelerator), tidy(division)))
    for row, reason in _smallest(base, accelerator, division, limit_percent):
        rows.append(row)
        reasons.append(reason)
    return Found(tuple(rows), tuple(reasons))


def _refuse_limit(limit_percent: Fraction | None) -> None:
    if limit_percent is not None:
        raise ValueError("division: needed for the smallest batch")


def _smallest(base: Fraction, accelerator: Fraction, division: Fraction, limit: Fraction | None) -> Iterator[tuple[Row, Reason]]:
    if limit is not None:
        least = smallest_batch(base, accelerator, division, limit)
        text = f"from {least} g on, half a division is within {decimal_text(limit)} % of the smaller part"
        yield figure("smallest", least, "g"), Reason(text, ARITHMETIC)


def _work_life(*, hours: Fraction, temperature: Fraction, lowest: Fraction | None, highest: Fraction | None) -> Found:
    bounds = {name: float(bound) for name, bound in (("lowest_f", lowest), ("highest_f", highest)) if bound is not None}
    found = work_life(float(hours), float(temperature), **bounds)
    if found.hours is None:
        return Found((figure("apply", "no"),), found.reasons)
    life = Fraction(found.hours)
    rows = (
        figure("life", thousandths(math.floor(life * 1000)), "h"),
        figure("minutes", math.floor(life * _MINUTES), "min"),
        figure("apply", "yes"),
    )
    return Found(rows, (*found.reasons, Reason("rounded down", ARITHMETIC)))


def _batches(  # noqa: PLR0913 - each is a field of the form
    *,
    total: Fraction,
    people: int,
    grams_per_person_hour: Fraction,
    life_hours: Fraction,
    lot: Sequence[tuple[str, Fraction, date] | tuple[str, Fraction, date, date]],
    on: date | None,
    least: Fraction | None,
) -> Found:
    most = largest_batch(people, grams_per_person_hour, float(life_hours))
    hands = f"{people} people x {decimal_text(grams_per_person_hour)} g each and hour x {decimal_text(life_hours)} h"
    why = Reason(f"{hands} -> {most} g at most, rounded down", "as entered")
    if not lot:
        batches = tuple(Batch(size, ()) for size in batch_sizes(total, most))
        return Found(_rows(most, batches), (why, Reason("as few as will do, even to a thousandth", ARITHMETIC)))
    if on is None:
        raise ValueError("on: needed to say which lots are usable")
    plan = plan_day(total, on, most, [_lot(*one) for one in lot], least=least or 0)
    return Found((*_rows(most, plan.batches), figure("short", plan.short, "g")), (why, *plan.reasons))


def _lot(name: str, grams: Fraction, last_day: date, first_day: date | None = None) -> LotLeft:
    return LotLeft(name, grams, last_day, first_day)


def _rows(most: Decimal, batches: Sequence[Batch]) -> tuple[Row, ...]:
    rows = (figure("batch", batch.grams, "g", _of_lots(batch)) for batch in batches)
    return figure("batches", len(batches)), *rows, figure("largest", most, "g")


def _of_lots(batch: Batch) -> str:
    if len(batch.parts) > 1:
        return "mixes " + ", ".join(f"{part.grams} g of {part.lot}" for part in batch.parts)
    return f"lot {batch.parts[0].lot}" if batch.parts else ""


_SHAPES = {
    Shape.CONCAVE.value: _("concave fillet, by a round tool"),
    Shape.TRIANGLE.value: _("flat fillet, a triangle"),
    Shape.QUARTER_ROUND.value: _("full fillet, a quarter round"),
    Shape.FILM.value: _("film between faces"),
    Shape.DOME.value: _("dome over a fastener"),
    Shape.EACH.value: _("by the piece"),
}

SEALANT = (
    Calculator(
        name="seam-grams",
        title=_("Grams of a seam"),
        about=_("What a sealed joint takes, from its shape. Sizes are the plans' own: no source gives usual ones."),
        inputs=(
            Input(
                "shape",
                _("Shape"),
                OneOf(tuple(_SHAPES)),
                "triangle",
                help=_("a flat fillet takes 2.33 times a concave one of the same leg"),
                choices=_SHAPES,
            ),
            Input(
                "length",
                _("Length"),
                _LENGTH,
                "36, 3 ft or 900 mm",
                help=_("all but dome and piece"),
                unit=_("in, ft, mm or m"),
                required=False,
            ),
            _size("leg_a", _("First leg"), _("a fillet's leg or radius, a film's width, a dome's base radius")),
            _size("leg_b", _("Second leg"), _("a flat fillet's other leg, a dome's height")),
            _size("thickness", _("Thickness"), _("a film's")),
            Input("grams_each", _("Grams each"), _GRAMS, "10.5", help=_("by the piece"), unit="g", required=False),
            Input("gravity", _("Specific gravity"), number, "1.55", help=_("off the data sheet; not by the piece"), required=False),
            Input("count", _("How many alike"), Whole(), "4", help=_("blank is 1"), required=False),
            Input("loss_percent", _("Loss"), number, "15", help=_("your own; blank is none"), unit="%", required=False),
        ),
        results={"grams": _("Sealant")},
        reckon=_seam,
        example={"shape": ["triangle"], "length": ["1 m"], "leg_a": ["6 mm"], "leg_b": ["6 mm"], "gravity": ["1.55"]},
        cautions=CAUTIONS,
    ),
    Calculator(
        name="mix",
        title=_("Mix by weight"),
        about=_("Base and accelerator of a batch, what the scale makes of the small part, and the smallest batch it can weigh."),
        inputs=(
            Input("total", _("Batch"), _GRAMS, "55", unit="g"),
            Input(
                "base",
                _("Parts of base"),
                number,
                "100",
                help=_("by weight, the product's own; a sheet's A:B may name the accelerator first"),
            ),
            Input("accelerator", _("Parts of accelerator"), number, "10", help=_("by weight, the product's own")),
            Input(
                "division",
                _("Scale's division"),
                _GRAMS,
                "0.1",
                help=_("the smallest step it shows"),
                unit="g",
                required=False,
            ),
            Input("limit_percent", _("Error allowed on a part"), number, "2", help=_("for the smallest batch"), unit="%", required=False),
        ),
        results={"base": _("Base"), "accelerator": _("Accelerator"), "error": _("Scale's error"), "smallest": _("Smallest batch")},
        reckon=_mix,
        example={"total": ["55"], "base": ["100"], "accelerator": ["10"], "division": ["0.1"], "limit_percent": ["2"]},
        cautions=CAUTIONS,
    ),
    Calculator(
        name="work-life",
        title=_("Work life"),
        about=_("How long a mix can be worked at a temperature: the shorter of two rules above 77 F, no extra life below."),
        inputs=(
            Input("hours", _("Application life at 77 F (25 C)"), _HOURS, "2 or 30 min", help=_("the product's own"), unit="h"),
            Input(
                "temperature",
                _("Temperature of the metal"),
                Temperature("F"),
                "95 F or 35 C",
                unit=_("F or C"),
                arguments=("temperature_f",),
            ),
            Input(
                "lowest",
                _("Never below"),
                Temperature("F"),
                "60 F or 16 C",
                help=_("of the metal, from the data sheet; blank is 70 F, the warmer of two sources"),
                unit=_("F or C"),
                required=False,
                arguments=("lowest_f",),
            ),
            Input(
                "highest",
                _("Always below"),
                Temperature("F"),
                "100 F or 37 C",
                help=_("of the metal, from the data sheet; blank is 100 F"),
                unit=_("F or C"),
                required=False,
                arguments=("highest_f",),
            ),
        ),
        results={"life": _("Work life"), "minutes": _("In minutes"), "apply": _("Apply at this temperature")},
        reckon=_work_life,
        example={"hours": ["2"], "temperature": ["95 F"]},
        cautions=CAUTIONS,
    ),
    Calculator(
        name="batches",
        title=_("Batches for a day"),
        about=_("A day's sealant in batches that the people there can place within the work life, each from one lot where it can be."),
        inputs=(
            Input("total", _("Sealant for the day"), _GRAMS, "140", unit="g", arguments=("most",)),
            Input("people", _("People who place it"), Whole(1000), "2"),
            Input(
                "grams_per_person_hour",
                _("Grams that one places in an hour"),
                _GRAMS,
                "60",
                help=_("your own: no source gives a usual one"),
                unit="g",
            ),
            Input("life_hours", _("Work life"), _HOURS, "1 or 40 min", help=_("at that day's temperature"), unit="h"),
            Input(
                "lot",
                _("Lots"),
                Lines((code, _GRAMS, day, day), optional=1),
                "R7,60,2027-03-20",
                help=_("code, grams, last usable day, and first if not there yet: one a line"),
                required=False,
                arguments=("lots",),
            ),
            Input("on", _("Day"), day, "2027-03-13", help=_("needed with lots"), required=False),
            Input(
                "least",
                _("Smallest batch"),
                _GRAMS,
                "30",
                help=_("that the scale can weigh; see the mix"),
                unit="g",
                required=False,
            ),
        ),
        results={"batches": _("Batches"), "batch": _("Batch"), "largest": _("Largest possible"), "short": _("Short")},
        reckon=_batches,
        example={
            "total": ["140"],
            "people": ["2"],
            "grams_per_person_hour": ["60"],
            "life_hours": ["1"],
            "lot": ["S1,90,2027-03-20", "S2,90,2027-04-30"],
            "on": ["2027-03-13"],
        },
        cautions=CAUTIONS,
    ),
)
