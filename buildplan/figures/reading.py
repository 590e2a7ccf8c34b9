"""Texts as people type them at a bench, read as exact values. `ValueError` says what is wrong with one.

Numbers are plain digits, with a point or as a fraction: `.064`, `0.125`, `1/8`, `1 1/2`. A unit may follow; without one a
number is in the input's own unit.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from types import MappingProxyType
from typing import Any

from inventory.catalogue.units import ratio
from inventory.common.exact import decimal_text
from inventory.common.problems import Problem
from inventory.shelflife.calc import StatedDate

Read = Callable[[str], Any]

MOST_LINES = 60
MOST_TEXT = 60  # characters of one value: the longest rivet code with room to spare
ABSOLUTE_ZERO_C = Fraction("-273.15")

_SHOWN = 30
_MEASURED = re.compile(
    r"(?P<sign>[+-]?)(?:(?:(?P<whole>\d{1,6})[ -])?(?P<top>\d{1,6})/(?P<bottom>\d{1,6})|(?P<plain>\d{1,12}(?:\.\d{0,12})?|\.\d{1,12}))"
    r"\s*(?P<unit>[^\s\d.,/+-][^\s]*)?",
    re.ASCII,
)
_WHOLE = re.compile(r"[+-]?\d{1,12}", re.ASCII)
_SIGNS: Mapping[str, str] = MappingProxyType({'"': "in", "''": "in", "'": "ft"})
YES = frozenset({"yes", "true", "on", "1"})
NO = frozenset({"no", "false", "off", "0"})


@dataclass(frozen=True, slots=True)
class Measure:
    """Reads a number and its unit as an exact `Fraction` of `unit`. `kind` is what is measured, for the person.

    A trace tells what was converted in `told`: the unit that the arithmetic goes on in, where that is another.
    """

    unit: str
    kind: str
    told: str = ""

    def __call__(self, text: str) -> Fraction:
        """The value in `unit`."""
        number, written = _measured(text, self.kind)
        return number * self._ratio(written) if written else number

    def said(self, text: str) -> str | None:
        """How a text in another unit was converted; None where there was nothing to convert."""
        number, written = _measured(text, self.kind)
        told = self.told or self.unit
        if not written or written in {self.unit, told}:
            return None
        return f"{decimal_text(number, 6)} {written} = {decimal_text(number * self._ratio(written, told), 6)} {told}"

    def _ratio(self, written: str, unit: str = "") -> Fraction:
        try:
            return ratio(written, unit or self.unit)
        except Problem as error:
            raise ValueError(str(error)) from error


@dataclass(frozen=True, slots=True)
class Temperature:
    """Reads `95 F` or `35 C` as an exact `Fraction` of degrees of `unit`. 30 may be either, so that the letter is asked for.

    Where `bare` a number alone is taken to be in `unit`.
    """

    unit: str
    bare: bool = False

    def __call__(self, text: str) -> Fraction:
        """The value in `unit`."""
        number, written = self._degrees(text)
        celsius = number if written == "C" else (number - 32) * 5 / 9
        if celsius <= ABSOLUTE_ZERO_C:
            raise ValueError("at or below absolute zero")
        if written == self.unit:
            return number
        return celsius if self.unit == "C" else celsius * 9 / 5 + 32

    def said(self, text: str) -> str | None:
        """How degrees of the other scale were converted; None where there was nothing to convert."""
        number, written = self._degrees(text)
        if written == self.unit:
            return None
        return f"{decimal_text(number)} {written} = {decimal_text(self(text))} {self.unit}"

    def _degrees(self, text: str) -> tuple[Fraction, str]:
        number, written = _measured(text, "temperature")
        if self.bare and not written:
            return number, self.unit
        letter = written.upper().removeprefix("\N{DEGREE SIGN}").removeprefix("DEG")
        if letter not in {"C", "F"}:
            raise ValueError(f"{written!r} is no scale of temperature" if written else "is it F or C")
        return number, letter


def number(text: str) -> Fraction:
    """A number without a unit; a percent sign does no harm."""
    found, written = _measured(text, "number")
    if written not in {"", "%"}:
        raise ValueError(f"{written!r}: a number without a unit is wanted")
    return found


@dataclass(frozen=True, slots=True)
class Whole:
    """Reads a whole number of at most `most`."""

    most: int = 1_000_000

    def __call__(self, text: str) -> int:
        """The number, as written in digits."""
        if not _WHOLE.fullmatch(_short(text)):
            raise ValueError(f"{_shown(text)} is no whole number of at most 12 digits")
        if (count := int(text)) > self.most:
            raise ValueError(f"{count} is over {self.most}: check it")
        return count


@dataclass(frozen=True, slots=True)
class OneOf:
    """Reads one of a few names, as they are shown or in another case."""

    names: tuple[str, ...]

    def __call__(self, text: str) -> str:
        """The name."""
        if (name := text.strip().lower()) not in self.names:
            raise ValueError(f"{_shown(text)} is none of {', '.join(self.names)}")
        return name


def flag(text: str) -> bool:
    """Yes or no, in the words that forms and programs use."""
    if (word := text.strip().lower()) not in YES | NO:
        raise ValueError(f"{_shown(text)} is neither yes nor no")
    return word in YES


def day(text: str) -> date:
    """A day, ISO."""
    found = stated(text)
    if found.precision != "day":
        raise ValueError(f"{_shown(text)} is no one day")
    return found.last_day


def stated(text: str) -> StatedDate:
    """A date as a label states it: a day, a month or a quarter."""
    try:
        return StatedDate.parse(_short(text))
    except ValueError as error:
        raise ValueError(f"{_shown(text)} is no date") from error


def code(text: str) -> str:
    """A lot's own code."""
    if not (found := _short(text).strip()) or not found.isprintable():
        raise ValueError(f"{_shown(text)} is no code")
    return found


@dataclass(frozen=True, slots=True)
class Lines:
    """Reads lines of values with commas between. The last `optional` of each may be left out, and are then missing."""

    reads: tuple[Read, ...]
    optional: int = 0

    def __call__(self, text: str) -> tuple[tuple[Any, ...], ...]:
        """One tuple a line; blank lines don't count."""
        lines = [line for line in text.splitlines() if line.strip()]
        if len(lines) > MOST_LINES:
            raise ValueError(f"{len(lines)} lines: {MOST_LINES} are the most")
        return tuple(self._line(at, line) for at, line in enumerate(lines, start=1))

    def _line(self, at: int, line: str) -> tuple[Any, ...]:
        parts = [part.strip() for part in line.split(",")]
        if not len(self.reads) - self.optional <= len(parts) <= len(self.reads):
            raise ValueError(f"line {at}: {_shown(line)} has {len(parts)} values")
        try:
            return tuple(read(part) for read, part in zip(self.reads, parts, strict=False))
        except ValueError as error:
            raise ValueError(f"line {at}: {error}") from error


def moment(text: str) -> date | Fraction:
    """Whatever stands in an order: a day, or a plain number such as an hour or a step's place."""
    try:
        return number(text)
    except ValueError:
        pass
    try:
        return day(text)
    except ValueError as error:
        raise ValueError(f"{_shown(text)} is neither a day nor a number") from error


def _measured(text: str, kind: str) -> tuple[Fraction, str]:
    found = _MEASURED.fullmatch(_short(text).strip())
    if found is None:
        hint = ": write a point, not a comma" if "," in text else ""
        raise ValueError(f"{_shown(text)} is no {kind}{hint}")
    size = Fraction(found["plain"]) if found["plain"] else _fraction(found)
    written = found["unit"] or ""
    return -size if found["sign"] == "-" else size, _SIGNS.get(written, written)


def _fraction(found: re.Match[str]) -> Fraction:
    if not int(found["bottom"]):
        raise ValueError("a fraction over 0 is no number")
    return int(found["whole"] or 0) + Fraction(int(found["top"]), int(found["bottom"]))


def _short(text: str) -> str:
    if len(text) > MOST_TEXT:
        raise ValueError(f"{len(text)} characters: {MOST_TEXT} are the most")
    return text


def _shown(text: str) -> str:
    return repr(text if len(text) <= _SHOWN else f"{text[:_SHOWN]}...")
