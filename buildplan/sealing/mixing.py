"""Base and accelerator, the scale's error, and how long a mix can be worked. Pure. Grams, hours, degrees Fahrenheit."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from inventory.common.exact import Exact, decimal_text, finite, half_up, not_negative, positive, thousandths
from inventory.common.reasons import ARITHMETIC, MEMORY, Reason

REFERENCE_F = 77.0
FAST_HALVING_F = 10.0
SLOW_HALVING_F = 18.0
# Sources disagree on how cold the metal may be (60 or 70 F): the warmer is the safer default, and both can be set.
LOWEST_F = 70.0
HIGHEST_F = 100.0
# Ours, no source's: what a part of a mix may be off by, on the scale or as it was weighed.
MOST_ERROR_PERCENT = Decimal(2)
OURS = "a starting value of ours"

_ABSOLUTE_ZERO_F = -459.67
_SHEET = "the product's data sheet, as entered"
_MOST_EXPONENT = 1000.0  # what a float can carry, and far beyond any life
_LIMIT_SOURCE = (
    "as set for the product; else NAVEDTRA 14315 (70 F; Cirrus SR22 Airplane Maintenance Manual 13773-001, 20-10 says 60 F), "
    "T.O. 1-1-700 par. 12.5.1.3 (at 100 F it bubbles, cool to 90 F)"
)


@dataclass(frozen=True, slots=True)
class WorkLife:
    """How long a mix can be worked, and why; `hours` is None where it must not be applied at all."""

    hours: float | None
    reasons: tuple[Reason, ...]


def split(total: Exact, base: Exact, accelerator: Exact) -> tuple[Decimal, Decimal]:
    """`total` grams as (base_g, accelerator_g), parts by weight `base` : `accelerator`, in thousandths that add to `total` exactly.

    The accelerator is rounded half up, the base is the rest. The ratio is the product's own: sheets that print A:B mean
    accelerator : base. Raises `ValueError` that names the argument, also for a total finer than a thousandth.
    """
    grams = positive("total", total) * 1000
    parts, hardener = positive("base", base), positive("accelerator", accelerator)
    if grams.denominator != 1:
        raise ValueError("total: finer than a thousandth of a gram")
    small = half_up(grams * hardener / (parts + hardener))
    return thousandths(int(grams) - small), thousandths(small)


def scale_error_percent(part: Exact, division: Exact) -> Fraction:
    """How far off a weighed part may be, in percent either way: half a division of the scale over the part, both in grams."""
    return positive("division", division) / 2 / positive("part", part) * 100


def smallest_batch(base: Exact, accelerator: Exact, division: Exact, limit_percent: Exact) -> Decimal:
    """The least total, in grams, whose smaller part a scale weighs within `limit_percent`; rounded up to a thousandth."""
    parts = positive("base", base), positive("accelerator", accelerator)
    small = positive("division", division) * 50 / positive("limit_percent", limit_percent)
    # Both steps round up, so that the part that `split` gives is never below what the limit asks.
    least_small = Fraction(math.ceil(small * 1000), 1000)
    return thousandths(math.ceil(least_small * sum(parts) / min(parts) * 1000))


def life_at(hours: float, temperature_f: float, halving_f: float) -> float:
    """`hours` at 77 F carried to another temperature by the rule that it halves for each `halving_f` degrees more."""
    life, warm, step = finite("hours", hours), finite("temperature_f", temperature_f), finite("halving_f", halving_f)
    if life <= 0 or step <= 0:
        raise ValueError(f"{'hours' if life <= 0 else 'halving_f'}: must be over 0")
    if warm <= _ABSOLUTE_ZERO_F:
        raise ValueError("temperature_f: at or below absolute zero")
    exponent = (REFERENCE_F - warm) / step
    return life * math.exp2(max(-_MOST_EXPONENT, min(exponent, _MOST_EXPONENT)))


def work_life(hours: float, temperature_f: float, *, lowest_f: float = LOWEST_F, highest_f: float = HIGHEST_F) -> WorkLife:
    """The application life to plan with: `hours` is the product's own at 77 F.

    Above 77 F the shorter of two rules (makers' sheets differ), below it no extra life. Below `lowest_f`, or at or over
    `highest_f`, of the metal: stop.
    """
    outside = _outside(finite("temperature_f", temperature_f), lowest_f, highest_f)
    fast, slow = (life_at(hours, temperature_f, step) for step in (FAST_HALVING_F, SLOW_HALVING_F))
    if outside:
        return WorkLife(None, (Reason(f"stop: {outside}", _LIMIT_SOURCE),))
    if temperature_f <= REFERENCE_F:
        text = f"{hours:g} h at 77 F; no longer life is reckoned with at {temperature_f:g} F"
        return WorkLife(float(hours), (Reason(text, _SHEET),))
    text = f"{hours:g} h at 77 F is {fast:.3f} h at {temperature_f:g} F if each 10 F halves it, {slow:.3f} h if each 18 F does; the shorter"
    return WorkLife(min(fast, slow), (Reason(text, f"{MEMORY}; makers' sheets differ"),))


def forbidden(temperature_f: float, *, lowest_f: float = LOWEST_F, highest_f: float = HIGHEST_F) -> Reason | None:
    """Why nothing may be sealed at this temperature of the metal; None where it may be. The rule is that of `work_life`."""
    if not (outside := _outside(finite("temperature_f", temperature_f), lowest_f, highest_f)):
        return None
    return Reason(f"{'too cold' if temperature_f < lowest_f else 'too hot'} to seal: {outside}", _LIMIT_SOURCE)


def _outside(temperature_f: float, lowest_f: float, highest_f: float) -> str:
    """In words; blank of a temperature at which may be sealed."""
    low, high = finite("lowest_f", lowest_f), finite("highest_f", highest_f)
    if low >= high:
        raise ValueError("lowest_f: not below highest_f")
    return "" if low <= temperature_f < high else f"{temperature_f:g} F is outside {low:g} F to below {high:g} F"


def ratio_off(
    base_g: Exact,
    accelerator_g: Exact,
    ratio: tuple[Exact, Exact],
    *,
    division: Exact | None = None,
    most_percent: Exact = MOST_ERROR_PERCENT,
) -> tuple[Reason, ...]:
    """How a mix as weighed differs from the product's `ratio` (base, accelerator); nothing where a scale may well explain it.

    That is up to `most_percent` of the accelerator that the base asks for, or half a division of the scale over the smaller part where
    that is more. The first reason says it in one sentence.
    """
    base, accelerator = positive("base_g", base_g), not_negative("accelerator_g", accelerator_g)
    parts, hardener = positive("base", ratio[0]), positive("accelerator", ratio[1])
    asked = base * hardener / parts
    off = abs(accelerator - asked) / asked * 100
    most, scale = not_negative("most_percent", most_percent), Fraction(0)
    if division is not None:
        scale = scale_error_percent(min(base, asked), division)
    if off <= max(most, scale):
        return ()
    said = f"as mixed {_to_hundred(base, accelerator)}; the product's is {_to_hundred(parts, hardener)}"
    sums = f"{decimal_text(base, 3)} g base ask for {decimal_text(asked, 3)} g accelerator; {decimal_text(accelerator, 3)} g"
    limit = f"{decimal_text(max(most, scale), 1)} %"
    why = "half a division of the scale" if scale > most else "what a part may be off by"
    return (
        Reason(f"{said}, by weight", _SHEET),
        Reason(f"{sums} is off by {decimal_text(off, 1)} %", ARITHMETIC),
        Reason(f"over {limit}, {why}", ARITHMETIC if scale > most else OURS),
    )


def _to_hundred(base: Fraction, accelerator: Fraction) -> str:
    return f"100 : {decimal_text(accelerator / base * 100, 1)}"


def mix_reasons(total: Exact, base: Exact, accelerator: Exact, division: Exact) -> tuple[Reason, ...]:
    """The trace of `split`, with the error that the scale makes on the smaller part."""
    base_g, accelerator_g = split(total, base, accelerator)
    reasons = [Reason(f"{base_g} g base + {accelerator_g} g accelerator, {_parts(base, accelerator)} by weight", _SHEET)]
    small = min(base_g, accelerator_g)
    error = f"+-{float(scale_error_percent(small, division)):.1f} %" if small else "more than all of it"
    return (*reasons, Reason(f"a scale of {division} g is off by {error} on the {small} g", ARITHMETIC))


def _parts(base: Exact, accelerator: Exact) -> str:
    return f"{decimal_text(positive('base', base))} : {decimal_text(positive('accelerator', accelerator))}"


@dataclass(frozen=True, slots=True)
class Portion:
    """What one share of a mix gets of one of the lots that it was weighed out from; both by their place in what was given."""

    lot: int
    share: int
    grams: Fraction


def portions(lots: Sequence[Exact], shares: Sequence[Exact], held: Mapping[tuple[int, int], Exact]) -> tuple[Portion, ...]:
    """Who gets what of which lot, where `lots` and `shares` add up to the same grams.

    First each share gets what is `held` for it of a lot (by lot and share), then lots and shares are run through in the order given.
    The mix itself is one mass: this says only whose set-asides it uses up.
    """
    left = [positive("lots", grams) for grams in lots]
    open_ = [positive("shares", grams) for grams in shares]
    if sum(left) != sum(open_):
        raise ValueError("shares: they don't add up to what the lots give")
    found: dict[tuple[int, int], Fraction] = {}
    wanted = [*((pair, not_negative("held", grams)) for pair, grams in sorted(held.items())), *_every_pair(left, open_)]
    for (lot, share), most in wanted:
        grams = min(left[lot], open_[share], most)
        if grams:
            left[lot] -= grams
            open_[share] -= grams
            found[lot, share] = found.get((lot, share), Fraction(0)) + grams
    return tuple(Portion(lot, share, grams) for (lot, share), grams in sorted(found.items()))


def _every_pair(lots: Sequence[Fraction], shares: Sequence[Fraction]) -> list[tuple[tuple[int, int], Fraction]]:
    return [((lot, share), grams) for lot, grams in enumerate(lots) for share in range(len(shares))]
