"""Temporary fasteners: how many a row takes, and the most held at once. Pure."""

from collections.abc import Iterable, Mapping
from fractions import Fraction
from types import MappingProxyType
from typing import Any, Protocol, TypeVar

from inventory.common.exact import Exact, positive, whole
from inventory.common.reasons import PRACTICE, Reason


class Ordered(Protocol):
    """Whatever stands in an order: days, instants, plain numbers."""

    def __lt__(self, other: Any, /) -> bool:
        """Before the other."""
        ...


T = TypeVar("T", bound=Ordered)

# The colour is a label and never a key: makers differ (NAVEDTRA 14315 ch. 4 gives black to 1/16 in as well).
_COLOURS: Mapping[Fraction, str] = MappingProxyType(
    {Fraction(3, 32): "silver", Fraction(4, 32): "copper", Fraction(5, 32): "black", Fraction(6, 32): "gold"}
)
_STAGES: Mapping[str, tuple[int, str]] = MappingProxyType(
    {
        "fit_up": (3, "first fit-up of long straight skins: every third hole"),
        "match_drill": (2, "match drilling: every other hole"),
        "final": (1, "final fit, and curves: every hole"),
        "curing": (1, "while sealant cures: every hole"),
    }
)


def clecos_for_row(holes: int, every: int) -> int:
    """How many clecos a row of `holes` takes at every `every`-th hole, both ends filled. Both at least 1."""
    gaps = whole("holes", holes, least=1) - 1
    step = whole("every", every, least=1)
    return gaps // step + 1 + (gaps % step > 0)


def pin_peak(spans: Iterable[tuple[T, T, int]]) -> tuple[int, T | None]:
    """The most held at once, and the earliest start at which it is; (0, None) without spans.

    `spans` are (start, end, count), half-open: what ends when another starts is free for it. A span that ends where it starts
    holds nothing. `ValueError` names `spans` where one ends before it starts, counts below 0, or cannot be ordered.
    """
    checked = [_span(span) for span in spans]
    try:
        starts = sorted(((start, count) for start, _, count in checked), key=lambda pair: pair[0])
        ends = sorted(((end, count) for _, end, count in checked), key=lambda pair: pair[0])
        return _sweep(starts, ends)
    except TypeError as error:
        raise ValueError("spans: starts and ends are not all of one ordered kind") from error


def cleco_every(stage: str) -> tuple[int, Reason]:
    """The usual spacing at a stage of work: fit_up, match_drill, final or curing. A default to start from, no rule."""
    if stage not in _STAGES:
        raise ValueError(f"stage: none of {', '.join(_STAGES)}")
    every, text = _STAGES[stage]
    return every, Reason(text, PRACTICE)


def cleco_colour(diameter: Exact) -> str | None:
    """The usual colour of a size (inches), a label alone; None where there is no usual one."""
    return _COLOURS.get(positive("diameter", diameter))


def _span(span: tuple[T, T, int]) -> tuple[T, T, int]:
    try:
        start, end, count = span
        backwards = end < start
    except (TypeError, ValueError) as error:
        raise ValueError("spans: each is (start, end, count), start and end of one ordered kind") from error
    if backwards or start != start or end != end:  # noqa: PLR0124 - NaN, which no order holds
        raise ValueError("spans: one ends before it starts")
    return start, end, whole("spans: count", count, least=0)


def _sweep(starts: list[tuple[T, int]], ends: list[tuple[T, int]]) -> tuple[int, T | None]:
    peak, when, held, freed = 0, None, 0, 0
    for at, (start, count) in enumerate(starts):
        held += count
        if at + 1 < len(starts) and not start < starts[at + 1][0]:
            continue  # more begin at this very moment
        while freed < len(ends) and not start < ends[freed][0]:
            held -= ends[freed][1]
            freed += 1
        if when is None or held > peak:
            peak, when = held, start
    return peak, when
