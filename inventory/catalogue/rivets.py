"""Codes of solid rivets: AN and MS of both heads, NAS1097. Pure.

A code is standard and number, alloy letters, diameter in 1/32 in, a dash, length in 1/16 in; ".5" after the length is a half size
(AC 43.13-1B p. 4-16; NAVEDTRA 14315 table 3-1). Length is under the head of a universal rivet, overall of a countersunk one.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from types import MappingProxyType
from typing import NoReturn

from inventory.common.exact import decimal_text
from inventory.common.reasons import Reason


class Head(StrEnum):
    """The manufactured head."""

    UNIVERSAL = "universal"
    COUNTERSUNK = "countersunk"


class Fault(StrEnum):
    """What is wrong with a code."""

    BLANK = "blank"
    CHARACTER = "character"
    BOLT = "bolt"
    NUMBER = "number"
    ALLOY = "alloy"
    DIAMETER = "diameter"
    NO_LENGTH = "no_length"
    LENGTH = "length"
    LENGTH_STEP = "length_step"
    LENGTH_RANGE = "length_range"


class RivetCodeError(ValueError):
    """A text that is no code of a rivet known here. `fault` is for programs, the text for people."""

    def __init__(self, fault: Fault, text: str) -> None:
        """Keep both."""
        super().__init__(text)
        self.fault = fault


@dataclass(frozen=True, slots=True)
class Alloy:
    """What the letters of a code mean, and how the head is marked."""

    metal: str
    head_mark: str


@dataclass(frozen=True, slots=True)
class Rivet:
    """A solid rivet. `standard` as it was read, in capitals; `diameter` and `length` in inches."""

    standard: str
    head: Head
    alloy: str
    diameter: Fraction
    length: Fraction


HEADS: Mapping[str, Head] = MappingProxyType(
    {
        "AN470": Head.UNIVERSAL,
        "MS20470": Head.UNIVERSAL,
        "AN426": Head.COUNTERSUNK,
        "MS20426": Head.COUNTERSUNK,
        "NAS1097": Head.COUNTERSUNK,
    }
)
TWINS: Mapping[str, str] = MappingProxyType({"AN470": "MS20470", "MS20470": "AN470", "AN426": "MS20426", "MS20426": "AN426"})
ALLOYS: Mapping[str, Alloy] = MappingProxyType(  # NAVEDTRA 14315 table 3-1
    {
        "A": Alloy("1100-F", "plain"),
        "AD": Alloy("2117-T4", "dimple"),
        "D": Alloy("2017-T4", "raised teat"),
        "DD": Alloy("2024-T4", "raised double dash"),
        "B": Alloy("5056-H32", "raised cross"),
    }
)

_MOST_SHOWN = 40
_MOST_32NDS = 32  # an inch; the standards themselves stop far below
_NUMBER = re.compile(r"([A-Z]+)(\d+)[ -]?")
_BOLT = re.compile(r"AN(?:[3-9]|1\d|20)(?:(?:C|H|DD)-?|-)(\d+)A?")
_LETTERS = re.compile(r"[A-Z]*")
_DIGITS = re.compile(r"\d*")
_LENGTH = re.compile(r"(\d+)(\.\d+)?")
_ICE_BOX = ("D", "DD")
_THINNEST = Fraction(3, 32)


def parse_rivet(text: str) -> Rivet:
    """Read a code such as `MS20470AD4-6`, `an470-ad-4-5` or `MS20426 AD3-3.5`.

    Case is free and outer blanks are dropped; one blank or hyphen may follow the number, a hyphen may stand between alloy and
    diameter. Raises `RivetCodeError` with a reason of its own for each fault.
    """
    code = _capitals(text)
    if bolt := _BOLT.fullmatch(code):
        _refuse_bolt(code, bolt[1])
    standard, rest = _standard(code)
    alloy, rest = _alloy(code, rest)
    diameter, rest = _diameter(code, rest)
    return Rivet(standard, HEADS[standard], alloy, diameter, _length(code, rest))


def format_rivet(rivet: Rivet) -> str:
    """The code as the standards write it; `parse_rivet` reads it back equal. `ValueError` where no code can say that rivet."""
    diameter, length = rivet.diameter * 32, rivet.length * 16
    code = f"{rivet.standard}{rivet.alloy}{decimal_text(diameter)}-{decimal_text(length)}"
    if parse_rivet(code) != rivet:
        raise ValueError(f"rivet: no code says {rivet.diameter} x {rivet.length} in exactly")
    return code


def rivet_identifiers(rivet: Rivet) -> tuple[str, ...]:
    """All codes of this one rivet, its own first: AN470 and MS20470 name the same part, AN426 and MS20426 too."""
    own = format_rivet(rivet)
    twin = TWINS.get(rivet.standard)
    return (own,) if twin is None else (own, format_rivet(replace(rivet, standard=twin)))


def rivet_notes(rivet: Rivet) -> tuple[Reason, ...]:
    """What a person should know before using it; nothing here forbids anything."""
    notes = []
    if rivet.alloy in _ICE_BOX:
        text = f"{ALLOYS[rivet.alloy].metal}: drive within 20 minutes of the quench, or keep at or below 32 F for up to 24 hours"
        notes.append(Reason(text, "NAVEDTRA 14315 table 3-1"))
    if rivet.diameter < _THINNEST:
        notes.append(Reason("nothing under 3/32 in for structure", "NAVEDTRA 14018"))
    return tuple(notes)


def _capitals(text: str) -> str:
    if not isinstance(text, str):
        raise RivetCodeError(Fault.BLANK, f"text: a rivet code is a text, not {type(text).__name__}")
    text = text.strip()
    if not text:
        raise RivetCodeError(Fault.BLANK, "text: blank, where a rivet code such as MS20470AD4-6 should be")
    if not text.isascii():  # before capitals are made: some letters turn into others there
        odd = next(letter for letter in text if not letter.isascii())
        _refuse(text, Fault.CHARACTER, f"{odd!r} stands in no rivet code: use letters A to Z, digits and the plain hyphen")
    return text.upper()


def _standard(code: str) -> tuple[str, str]:
    found = _NUMBER.match(code)
    standard = f"{found[1]}{found[2]}" if found else ""
    if not found or standard not in HEADS:
        _refuse(code, Fault.NUMBER, f"no rivet number known here: these are {', '.join(HEADS)}")
    return standard, code[found.end() :]


def _alloy(code: str, rest: str) -> tuple[str, str]:
    letters = _leading(_LETTERS, rest)
    if letters not in ALLOYS:
        _refuse(code, Fault.ALLOY, f"{_no_alloy(letters)}; the alloys are {', '.join(ALLOYS)}")
    return letters, rest[len(letters) :].removeprefix("-")


def _no_alloy(letters: str) -> str:
    if letters == "E":
        return "alloy E (7050) is in use in the trade, but not known here"
    return f"{_short(letters)} is no alloy known here" if letters else "no alloy after the number"


def _diameter(code: str, rest: str) -> tuple[Fraction, str]:
    digits = _leading(_DIGITS, rest)
    if not digits:
        _refuse(code, Fault.DIAMETER, "no diameter after the alloy: it is a number of 1/32 in")
    if digits.startswith("0") or len(digits) > len(str(_MOST_32NDS)) or int(digits) > _MOST_32NDS:
        _refuse(code, Fault.DIAMETER, f"diameter {_short(digits)} is not from 1 to {_MOST_32NDS}: it is a number of 1/32 in")
    return Fraction(int(digits), 32), rest[len(digits) :]


def _length(code: str, rest: str) -> Fraction:
    dash, text = rest[:1], rest[1:]
    if not text or dash != "-":
        _refuse(code, Fault.NO_LENGTH, f"no length after the diameter: a dash and a number of 1/16 in should follow, not {_short(rest)}")
    found = _LENGTH.fullmatch(text)
    if not found:
        _refuse(code, Fault.LENGTH, f"length {_short(text)} is no number of 1/16 in")
    if found[2] not in (None, ".5"):
        _refuse(code, Fault.LENGTH_STEP, f"length {_short(text)} is no whole or half size: only .5 may follow the point")
    return _sixteenths(code, found[1], half=found[2] is not None)


def _sixteenths(code: str, digits: str, *, half: bool) -> Fraction:
    if len(digits) > 1 and digits.startswith("0"):
        _refuse(code, Fault.LENGTH, f"length {_short(digits)} begins with a zero, which can be read two ways")
    if len(digits) > 2 or (digits == "0" and not half):  # noqa: PLR2004 - 100 sixteenths and more
        _refuse(code, Fault.LENGTH_RANGE, f"length {_short(digits)} is not over 0 and under 100 sixteenths")
    return Fraction(2 * int(digits) + half, 32)


def _leading(pattern: re.Pattern[str], text: str) -> str:
    found = pattern.match(text)
    return found[0] if found else ""


def _refuse_bolt(code: str, dash_number: str) -> NoReturn:
    if dash_number[-1] in "89":  # AC 43.13-1B: whole inches, then eighths 0 to 7
        _refuse(code, Fault.BOLT, "formed as a bolt, no rivet; and no bolt either: its last length digit is an eighth, 0 to 7")
    _refuse(code, Fault.BOLT, "a bolt (AN3 to AN20 are), no rivet")


def _refuse(code: str, fault: Fault, reason: str) -> NoReturn:
    raise RivetCodeError(fault, f"{_short(code)}: {reason}")


def _short(text: str) -> str:
    return repr(text if len(text) <= _MOST_SHOWN else f"{text[:_MOST_SHOWN]}...")
