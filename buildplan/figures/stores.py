"""Calculators of the stores: counting by weight, the last usable day, how warm goods lay."""

from collections.abc import Sequence
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

from django.utils.translation import gettext_noop as _

from buildplan.figures.calculator import Calculator, Found, Input, figure
from buildplan.figures.reading import Lines, Measure, Temperature, Whole, day, number, stated
from inventory.common.reasons import ARITHMETIC, Reason
from inventory.receiving.calc import sample_for_certainty, weigh_count
from inventory.shelflife.calc import StatedDate, last_usable_day, limits, mean_kinetic_temperature

_GRAMS = Measure("g", "mass")
_HOURS = Measure("h", "time")
_TEN_THOUSANDTH = Decimal("0.0001")
_LABEL = Reason(_("The label and the maker's data sheet win; a date that isn't known is never guessed."), "the product's data sheet")
_ADVICE = Reason(_("An advisory only: it lengthens no life and cancels no limit."), "USP 29 chapter 1160 says how, not how long")
_STORED = "T.O. 1-1-700 par. 12.8 runs a life from the day of manufacture, in the original unopened container"


def _weigh(*, total: Fraction, tare: Fraction | None, sample_n: int, sample_mass: Fraction, division: Fraction) -> Found:
    empty = tare or Fraction(0)
    count, plus_minus, _ = weigh_count(total, empty, sample_n, sample_mass, division)
    sample, trace = sample_for_certainty(total, empty, sample_n, sample_mass, division)
    rows = [figure("count", count), figure("plus_minus", plus_minus, note="pieces, either way")]
    if sample is not None:
        rows.append(figure("sample", sample, note="pieces, to be certain to one"))
    return Found(tuple(rows), trace)


def _last_day(
    *, made: StatedDate | None, life_months: int | None, expires: StatedDate | None, opened: date | None, open_life_days: int | None
) -> Found:
    found = limits(made=made, life_months=life_months, expires=expires, opened=opened, open_life_days=open_life_days)
    first = last_usable_day(found)
    trace = tuple(Reason(f"{one.rule}: until {one.last_day}", one.source) for one in found)
    if first is None:
        text = "No limit is known from these: that is not the same as never. Read the label, or ask the maker."
        return Found((figure("last_usable_day", "unknown"),), trace, (Reason(text, _STORED),))
    ends = Reason(f"the limit that ends first is {first.rule}: {first.last_day}", first.source)
    return Found((figure("last_usable_day", first.last_day, note=first.source),), (*trace, ends))


def _mean_temperature(*, span: Sequence[tuple[Fraction, Fraction]], dh_over_r: Fraction | None) -> Found:
    energy = {} if dh_over_r is None else {"dh_over_r": float(dh_over_r)}
    celsius = Decimal(mean_kinetic_temperature([(float(hours), float(warm)) for hours, warm in span], **energy))
    rows = (
        figure("mean", celsius.quantize(_TEN_THOUSANDTH, ROUND_HALF_UP), "C"),
        figure("mean", (celsius * 9 / 5 + 32).quantize(_TEN_THOUSANDTH, ROUND_HALF_UP), "F"),
    )
    text = f"{len(span)} spans, each weighted by hours and by exp(-dH/R / T); dH/R {energy.get('dh_over_r', 10000.0):g} K"
    why = Reason(text, "USP 29 chapter 1160" if dh_over_r is None else "dH/R as entered")
    return Found(rows, (why, Reason("rounded to 0.0001", ARITHMETIC)))


STORES = (
    Calculator(
        name="weigh-count",
        title=_("Count by weight"),
        about=_("How many pieces a heap is, from a weighed sample of the same pieces, and how sure that is."),
        inputs=(
            Input("total", _("Heap with its container"), _GRAMS, "68.5", unit="g"),
            Input(
                "tare", _("Empty container"), _GRAMS, "12", help=_("blank where the scale is set to zero with it"), unit="g", required=False
            ),
            Input("sample_n", _("Pieces in the sample"), Whole(), "25"),
            Input("sample_mass", _("Sample without a container"), _GRAMS, "7", unit="g"),
            Input("division", _("Scale's division"), _GRAMS, "0.1", help=_("the smallest step it shows"), unit="g"),
        ),
        results={"count": _("Pieces"), "plus_minus": _("May be off by"), "sample": _("Larger sample")},
        reckon=_weigh,
        example={"total": ["68.5"], "tare": ["12"], "sample_n": ["25"], "sample_mass": ["7"], "division": ["0.1"]},
        cautions=(Reason("Half a length step is about 12 % of a small rivet: a mixed bag counts wrong.", "computed from the sizes"),),
    ),
    Calculator(
        name="last-usable-day",
        title=_("Last usable day"),
        about=_("The earliest of what ends a lot's life: the printed day, the life from its making, the life once opened."),
        inputs=(
            Input("made", _("Made"), stated, "2024-02, 2Q24 or 2024-02-14", required=False),
            Input("life_months", _("Life in months"), Whole(1200), "9", required=False),
            Input("expires", _("Expires, as printed"), stated, "2027-03, 2Q27 or 2027-03-14", required=False),
            Input("opened", _("Opened on"), day, "2027-03-01", required=False),
            Input("open_life_days", _("Life once opened, in days"), Whole(36600), "30", required=False),
        ),
        results={"last_usable_day": _("Last usable day")},
        reckon=_last_day,
        example={"made": ["2024-02"], "life_months": ["9"], "expires": ["2025-01"]},
        cautions=(_LABEL,),
    ),
    Calculator(
        name="mean-kinetic-temperature",
        title=_("Mean kinetic temperature"),
        about=_("The one temperature that would have aged goods as the warm and cool hours did."),
        inputs=(
            Input(
                "span",
                _("Hours and temperatures"),
                Lines((_HOURS, Temperature("C", bare=True))),
                "12,20",
                help=_("hours, degrees Celsius (or 68 F): one a line"),
                arguments=("spans",),
            ),
            Input(
                "dh_over_r",
                _("dH/R in kelvin"),
                number,
                "10000",
                help=_("blank is 10,000 K (USP 29 chapter 1160)"),
                unit="K",
                required=False,
            ),
        ),
        results={"mean": _("Mean kinetic temperature")},
        reckon=_mean_temperature,
        example={"span": ["2,20", "4,2", "1,25"]},
        cautions=(_ADVICE, _LABEL),
    ),
)
