"""Counts against a packing list: what differs, what is still to be put away, what a weight says, what a mystery may be. Pure."""

import math
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Generic, TypeVar

from inventory.catalogue.rivet_mass import question_mass
from inventory.catalogue.rivets import Rivet, RivetCodeError, parse_rivet
from inventory.common.exact import Exact, decimal_text, half_up
from inventory.common.reasons import ARITHMETIC, PRACTICE, Reason
from inventory.receiving.calc import sample_for_certainty, weigh_count

NOTHING = Decimal(0)
DIAMETER_WITHIN = Fraction(15, 1000)  # inches: half of the 1/32 that diameters step by
LENGTH_WITHIN = Fraction(1, 32)  # inches: half of the 1/16 that lengths step by
_CERTAIN = Fraction(1, 2)

Key = TypeVar("Key", bound=Hashable)


@dataclass(frozen=True, slots=True)
class Compared:
    """What a line lacks, and what it has beyond the list. `left` is what nobody has found yet; it is short once counting is over."""

    left: Decimal
    short: Decimal
    over: Decimal


def compare(*, listed: Decimal, good: Decimal, damaged: Decimal, wrong: Decimal, done: bool) -> Compared:
    """A line's counts against what is listed. A wrong thing stands in for one that was listed, so it isn't short as well."""
    found = good + damaged + wrong
    left = max(listed - found, NOTHING)
    return Compared(left, left if done else NOTHING, max(found - listed, NOTHING))


def settle(counted: Iterable[tuple[Key, Decimal]], most: Decimal) -> dict[Key, Decimal]:
    """How much of each lot is put away: what was counted of it, in all no more than `most`.

    A correction that found fewer may name no lot; what it takes off is taken off what was counted last.
    """
    sums: dict[Key, Decimal] = {}
    for key, quantity in counted:
        sums[key] = sums.get(key, NOTHING) + quantity
    room = min(sum(sums.values(), NOTHING), most)
    settled: dict[Key, Decimal] = {}
    for key, quantity in sums.items():
        taken = min(quantity, room)
        if taken > 0:
            settled[key] = taken
            room -= taken
    return settled


# What a line gives before all of it is in stock

RECEIPT = "the count against the packing list, as the receipt books it: the good ones, and what is still looked for"


@dataclass(frozen=True, slots=True)
class Counts(Generic[Key]):
    """What was counted of a line so far. `taken_in` of it is in stock as good, counted or not.

    `waiting` and `spoiled` are the good and the damaged counts that no movement has taken yet, by lot, in the order of counting.
    """

    good: Decimal = NOTHING
    damaged: Decimal = NOTHING
    wrong: Decimal = NOTHING
    taken_in: Decimal = NOTHING
    waiting: tuple[tuple[Key, Decimal], ...] = ()
    spoiled: tuple[tuple[Key, Decimal], ...] = ()


@dataclass(frozen=True, slots=True)
class Gives(Generic[Key]):
    """What a line of a crate that is here gives beside what is in stock: `good` by lot, and `to_count`, which is still looked for.

    `disputed` came damaged, by lot. What came wrong and what is short give nothing.
    """

    listed: Decimal
    counts: Counts[Key]
    compared: Compared
    good: Mapping[Key, Decimal]
    disputed: Mapping[Key, Decimal]
    to_count: Decimal


def gives(*, listed: Decimal, still_open: Decimal, counts: Counts[Key], done: bool) -> Gives[Key]:
    """What is still to be had of a line: putting away and closing change nothing of it once all is counted.

    Good ones are booked as `settle` does it, beyond the list too. Of what nobody has found no more is looked for than is still to come,
    and nothing once counting is over (`done`).
    """
    good = settle(counts.waiting, counts.good - counts.taken_in)
    disputed = settle(counts.spoiled, counts.damaged)
    found = max(counts.good, counts.taken_in)
    compared = compare(listed=listed, good=found, damaged=counts.damaged, wrong=counts.wrong, done=done)
    waiting = sum((*good.values(), *disputed.values()), NOTHING)
    to_count = NOTHING if done else min(compared.left, max(still_open - waiting, NOTHING))
    return Gives(listed, counts, compared, good, disputed, to_count)


def why_gives(found: Gives[Key], unit: str) -> Reason:
    """What was counted of the line, and what it gives by that."""
    counts = found.counts
    said = (
        (counts.good, "counted good"),
        (counts.damaged, "damaged"),
        (counts.wrong, "wrong"),
        (found.compared.short, "short"),
        (found.to_count, "still to count"),
        (counts.taken_in, "in stock already"),
    )
    parts = ", ".join(f"{decimal_text(Fraction(quantity))} {what}" for quantity, what in said if quantity)
    given = decimal_text(Fraction(sum(found.good.values(), found.to_count)))
    return Reason(f"{decimal_text(Fraction(found.listed))} {unit} listed, {parts or 'none of it to come'}: gives {given} {unit}", RECEIPT)


# Counting by weight


@dataclass(frozen=True, slots=True)
class Weighed:
    """A count by weight. `sample` is the smallest sample that would make it certain, None where it is certain or where none would."""

    count: int
    plus_minus: Decimal
    certain: bool
    sample: int | None
    warnings: tuple[Reason, ...]
    trace: tuple[Reason, ...]


def weigh(  # noqa: PLR0913 - five readings, and what the list says
    *,
    total: Exact,
    tare: Exact,
    sample_n: int,
    sample_mass: Exact,
    division: Exact,
    expected: Decimal | None = None,
    code: str = "",
    alike: Sequence[str] = (),
) -> Weighed:
    """Count by weight, and say what speaks against the count.

    `code` is the item's, for what its geometry says; `alike` are other lengths of this diameter that the crate lists.

    Raises `ValueError` that names the argument, as `weigh_count` does.
    """
    count, plus_minus, trace = weigh_count(total, tare, sample_n, sample_mass, division)
    certain = Fraction(plus_minus) < _CERTAIN
    sample: int | None = None
    more: tuple[Reason, ...] = ()
    if not certain:
        sample, whole_trace = sample_for_certainty(total, tare, sample_n, sample_mass, division)
        more = whole_trace[len(trace) :]
    pieces = (Fraction(total) - Fraction(tare)) * sample_n / Fraction(sample_mass)
    warnings = (
        *_unlike(code, Fraction(sample_mass) / sample_n, Fraction(division) / 2 / Fraction(sample_mass)),
        *_uneven(pieces, Fraction(plus_minus)),
        *_unexpected(count, Fraction(plus_minus), expected),
        *_alike(alike),
    )
    return Weighed(count, plus_minus, certain, sample, warnings, (*trace, *more))


def _unlike(code: str, unit_mass: Fraction, error: Fraction) -> list[Reason]:
    """Where a rivet's code says what one piece weighs, about, and the sample's pieces don't."""
    rivet = as_rivet(code)
    found = rivet and question_mass(rivet, unit_mass, error)
    return [found] if found else []


def _uneven(pieces: Fraction, error: Fraction) -> list[Reason]:
    """Where the readings are good enough to tell: a heap of one kind weighs a whole number of pieces."""
    off = abs(pieces - half_up(pieces))
    if off <= error:
        return []
    text = f"{decimal_text(pieces, 2)} pieces are no whole number, even with +-{decimal_text(error, 2)}: is another kind mixed in?"
    return [Reason(text, ARITHMETIC)]


def _unexpected(count: int, error: Fraction, expected: Decimal | None) -> list[Reason]:
    if expected is None or abs(count - Fraction(expected)) <= max(error, _CERTAIN):
        return []
    way = "fewer" if count < expected else "more"
    differs = decimal_text(abs(count - Fraction(expected)), 3)
    text = f"{differs} {way} than listed, which +-{decimal_text(error, 2)} doesn't explain: short, over, or another length mixed in"
    return [Reason(text, ARITHMETIC)]


def _alike(alike: Sequence[str]) -> list[Reason]:
    if not alike:
        return []
    text = (
        f"this crate also lists {', '.join(alike)} of the same diameter: half a length step is some 12 % of a piece, look before weighing"
    )
    return [Reason(text, PRACTICE)]


# Rivets by geometry


@dataclass(frozen=True, slots=True)
class Measured:
    """What was measured of a piece that nobody can name, in inches; what wasn't is None, an unknown head blank."""

    diameter: Fraction | None = None
    length: Fraction | None = None
    head: str = ""


@dataclass(frozen=True, slots=True)
class Match:
    """A line that a piece may belong to: how far off it is in all, in inches, and in which way."""

    line_id: int
    off: Fraction
    reason: Reason


def as_rivet(code: str) -> Rivet | None:
    """The rivet that a code says; None where it says none."""
    try:
        return parse_rivet(code)
    except RivetCodeError:
        return None


def alike_rivets(code: str, others: Iterable[str]) -> list[str]:
    """Which of `others` are of the same diameter and head as the rivet `code`, and of another length."""
    own = as_rivet(code)
    if own is None:
        return []
    found = {other for other in others if (rivet := as_rivet(other)) and _only_longer_or_shorter(own, rivet)}
    return sorted(found)


def _only_longer_or_shorter(one: Rivet, other: Rivet) -> bool:
    return (one.diameter, one.head) == (other.diameter, other.head) and one.length != other.length


def candidates(measured: Measured, lines: Iterable[tuple[int, str]]) -> list[Match]:
    """Which of these (line, item code) a measured piece may be, best first. Only codes of rivets say a geometry.

    Within 0.015 in of diameter and 1/32 in of length: half of what sizes step by, our own figures.
    """
    if measured.diameter is None and measured.length is None:
        return []
    matches = [_match(measured, line_id, rivet) for line_id, code in lines if (rivet := as_rivet(code))]
    return sorted((match for match in matches if match), key=lambda match: (match.off, match.line_id))


def _match(measured: Measured, line_id: int, rivet: Rivet) -> Match | None:
    if measured.head and measured.head != rivet.head:
        return None
    thick, long = _off(measured.diameter, rivet.diameter), _off(measured.length, rivet.length)
    if (thick or 0) > DIAMETER_WITHIN or (long or 0) > LENGTH_WITHIN:
        return None
    said = [_said("diameter", thick, rivet.diameter), _said("length", long, rivet.length)]
    text = "; ".join([*said, f"{rivet.head} head{'' if measured.head else ', not looked at'}"])
    return Match(line_id, (thick or Fraction(0)) + (long or Fraction(0)), Reason(text, f"sizes by the code, {_within()}"))


def _off(found: Fraction | None, wanted: Fraction) -> Fraction | None:
    return None if found is None else abs(found - wanted)


def _said(what: str, off: Fraction | None, wanted: Fraction) -> str:
    size = f"{what} {decimal_text(wanted)} in"
    if off is None:
        return f"{size}, not measured"
    return f"{size}, {decimal_text(off)} in off" if off else f"{size} exactly"


def _within() -> str:
    return f"within {decimal_text(DIAMETER_WITHIN)} in of diameter and {decimal_text(LENGTH_WITHIN, 5)} in of length"


def share(part: Decimal, whole: Decimal) -> int:
    """`part` of `whole` in whole percent, never 100 before all is there; 100 of nothing."""
    return 100 if whole <= 0 else min(math.floor(max(part, NOTHING) * 100 / whole), 100)
