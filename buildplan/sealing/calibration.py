"""What a workshop really uses of a sealant, against what the shapes of its seams say. Pure. Grams.

The workshop's own figure is shown beside the formula and never put in its place: a few steps are no law.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from inventory.common.exact import Exact, decimal_text, half_up, positive, thousandths
from inventory.common.reasons import ARITHMETIC, Reason

_OWN = "the workshop's finished steps"
_PLACES = 4  # of a standard deviation, which is no exact number


@dataclass(frozen=True, slots=True)
class Sample:
    """One finished step: what the formula gave for its seams, and what was taken of the sealant."""

    step: str
    formula: Exact
    used: Exact

    @property
    def ratio(self) -> Fraction:
        """Used against formula. `ValueError` names what is not over 0."""
        return positive("used", self.used) / positive("formula", self.formula)


@dataclass(frozen=True, slots=True)
class Calibration:
    """The mean of used against formula with its spread. `deviation` is the sample's, None of a single step."""

    samples: tuple[Sample, ...]
    mean: Fraction
    least: Fraction
    most: Fraction
    deviation: Decimal | None

    @property
    def n(self) -> int:
        """How many steps it stands on."""
        return len(self.samples)

    def grams(self, formula: Exact) -> Decimal:
        """What the formula's grams become by the mean, rounded half up to a thousandth."""
        return thousandths(half_up(positive("formula", formula) * self.mean * 1000))


def calibrate(samples: Iterable[Sample]) -> Calibration | None:
    """The workshop's own figure, every step counting alike; None where no step is finished."""
    kept = tuple(samples)
    if not kept:
        return None
    ratios = [sample.ratio for sample in kept]
    mean = sum(ratios, Fraction(0)) / len(ratios)
    return Calibration(kept, mean, min(ratios), max(ratios), _deviation(ratios, mean))


def calibration_text(formula: Exact, found: Calibration) -> str:
    """Both figures in one sentence."""
    steps = "your own step" if found.n == 1 else f"your own {found.n} steps"
    spread = "" if found.n == 1 else f" ({_fixed(found.least, 2)}-{_fixed(found.most, 2)})"
    plain, own = positive("formula", formula), Fraction(found.grams(formula))
    return f"formula {_fixed(plain, 1)} g; {steps} used {_fixed(found.mean, 2)} times that{spread}: {_fixed(own, 1)} g"


def _fixed(value: Fraction, places: int) -> str:
    """Rounded half up, with its zeros: figures side by side are read by their places."""
    return f"{Decimal(half_up(value * 10**places)).scaleb(-places):f}"


def calibration_reasons(formula: Exact, found: Calibration) -> tuple[Reason, ...]:
    """The trace: each step, then the mean and its spread."""
    steps = [Reason(_sample_text(sample), f"what {sample.step} took by the ledger, and its seams") for sample in found.samples]
    spread = f"from {decimal_text(found.least)} to {decimal_text(found.most)}"
    deviation = "no standard deviation of one step" if found.deviation is None else f"standard deviation {found.deviation}"
    text = f"mean {decimal_text(found.mean)} of {found.n}, {spread}, {deviation}"
    times = f"{decimal_text(positive('formula', formula), 3)} g x {decimal_text(found.mean)}"
    own = f"{times} = {found.grams(formula)} g, shown and never applied"
    return (*steps, Reason(text, _OWN), Reason(own, ARITHMETIC))


def _sample_text(sample: Sample) -> str:
    used, formula = positive("used", sample.used), positive("formula", sample.formula)
    return f"{sample.step} used {decimal_text(used, 3)} g, formula {decimal_text(formula, 3)} g: {decimal_text(sample.ratio)} times"


def _deviation(ratios: list[Fraction], mean: Fraction) -> Decimal | None:
    """The root is taken of a whole number, so that its last place is right."""
    if len(ratios) < 2:  # noqa: PLR2004 - the least that spreads
        return None
    variance = sum(((ratio - mean) ** 2 for ratio in ratios), Fraction(0)) / (len(ratios) - 1)
    doubled = math.isqrt(math.floor(4 * variance * 10 ** (2 * _PLACES)))
    return Decimal(f"{(doubled + 1) // 2}e-{_PLACES}")
