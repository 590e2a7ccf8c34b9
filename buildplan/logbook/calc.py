"""Hours as people write them, their sums, and texts of several lines. Pure: no Django, no clock."""

import re
import unicodedata
from collections import defaultdict
from collections.abc import Hashable, Iterable
from fractions import Fraction
from math import floor
from typing import TypeVar

HOUR = 60
MOST_MINUTES = 24 * HOUR  # of one person in one entry: an entry is of one day
_CLOCK = re.compile(r"(\d{1,3}):([0-5]\d)", re.ASCII)
_HOURS = re.compile(r"(\d{1,3}(?:[.,]\d{1,3})?)\s*(?:h|hours?)?", re.ASCII | re.IGNORECASE)
_BOTH = re.compile(r"(\d{1,3})\s*h\s*([0-5]?\d)\s*(?:m|min)?", re.ASCII | re.IGNORECASE)
_MINUTES = re.compile(r"(\d{1,5})\s*(?:m|min|minutes?)", re.ASCII | re.IGNORECASE)
_BLANKS = " \t\n\v\f\u00a0\ufeff"
_REFUSED = frozenset({"Cc", "Cs", "Zl", "Zp"})

Key = TypeVar("Key", bound=Hashable)


def read_minutes(text: str) -> int:
    """The minutes of `1:30`, `1.5`, `1.5 h`, `1 h 30` or `90 min`; a bare number is hours. A part of a minute rounds half up."""
    minutes = _minutes(text.strip())
    if minutes is None:
        raise ValueError("write hours and minutes as 1:30, hours as 1.5, or minutes as 90 min")
    whole = floor(minutes + Fraction(1, 2))
    if not 1 <= whole <= MOST_MINUTES:
        raise ValueError(f"give more than nothing, and {MOST_MINUTES // HOUR} hours at most: an entry is of one day")
    return whole


def _minutes(text: str) -> Fraction | None:
    if found := _CLOCK.fullmatch(text) or _BOTH.fullmatch(text):
        return Fraction(int(found[1]) * HOUR + int(found[2]))
    if found := _MINUTES.fullmatch(text):
        return Fraction(int(found[1]))
    if found := _HOURS.fullmatch(text):
        return Fraction(found[1].replace(",", ".")) * HOUR
    return None


def clock(minutes: int) -> str:
    """Minutes as hours and minutes: `1:30`. `read_minutes` reads it back."""
    return f"{minutes // HOUR}:{minutes % HOUR:02d}"


def summed(rows: Iterable[tuple[Key, int]]) -> dict[Key, int]:
    """The minutes of each key, in the order in which the keys came first."""
    found: dict[Key, int] = defaultdict(int)
    for key, minutes in rows:
        found[key] += minutes
    return dict(found)


def _trimmed(text: str) -> str:
    """Trimmed until trimming it changes nothing: kept, written to a file and read back it is the same."""
    while (shorter := "\n".join(line.rstrip() for line in text.split("\n")).strip(_BLANKS)) != text:
        text = shorter
    return text


def prose(text: str, most: int) -> str:
    """A text of several lines as it is kept: one kind of line break, no blanks at line ends, no blank lines at either end.

    Refuses a blank one, one over `most` characters, and control characters.
    """
    kept = _trimmed(text.replace("\r\n", "\n").replace("\r", "\n"))
    if not kept:
        raise ValueError("it is blank: say what was done")
    if len(kept) > most:
        raise ValueError(f"it has {len(kept)} characters: {most} are the most")
    if any(unicodedata.category(char) in _REFUSED for char in kept if char not in "\n\t"):
        raise ValueError("it has control characters: leave them out")
    return kept
