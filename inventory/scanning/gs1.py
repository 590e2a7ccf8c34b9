"""GS1 element strings and trade item numbers. Pure.

Which identifiers there are, and what each one's value looks like, is biip's table; its own message parser is not used: it reads
the clock, and passes over a missing separator, a repeated identifier and a wrong check digit.
"""

import re
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import lru_cache

from biip import ParseError
from biip.checksums import gs1_standard_check_digit
from biip.gs1_application_identifiers import GS1ApplicationIdentifier

from inventory.scanning.days import short_day
from inventory.scanning.reading import GS, Gathered

KEYS = frozenset({"00", "01", "02"})  # one of these, with a right check digit, makes a message without a symbology identifier GS1

_LONGEST_AI = 4
_GTIN = re.compile(r"\d{8}|\d{12,14}", re.ASCII)
_NET_KG = "310"

# Where in a value a check digit ends (GS1 General Specifications, section 3, by identifier).
_CHECKED = (
    dict.fromkeys(("01", "02", "03", "8003", "8006", "8026"), 14)
    | dict.fromkeys(("00", "8017", "8018"), 18)
    | dict.fromkeys(("253", "255", *(f"41{last}" for last in range(8))), 13)
    | {"402": 17}
)
# Where in a value a date YYMMDD starts.
_DATED = dict.fromkeys(("11", "12", "13", "15", "16", "17", "4324", "4325", "4326", "7003", "7006", "7011", "8008"), (0,)) | {
    "7007": (0, 6)
}
_MONTH_AND_DAY = r"(?:0\d|1[0-2])(?:[0-2]\d|3[01])"  # as biip's patterns put it
_NAMED_DATES = {"11": "made", "15": "best_before", "17": "expires"}


@dataclass(frozen=True, slots=True)
class _Identifier:
    """An application identifier: what its value looks like, and whether a separator must end it."""

    ai: str
    pattern: re.Pattern[str]
    separated: bool


@dataclass(frozen=True, slots=True)
class _Element:
    ai: str
    value: str


def is_gtin(text: str) -> bool:
    """Whether `text` is a trade item number of 8, 12, 13 or 14 digits with a right check digit."""
    return bool(_GTIN.fullmatch(text)) and checks(text)


def checks(digits: str) -> bool:
    """Whether the last of these digits is the check digit of those before it."""
    return str(gs1_standard_check_digit(digits[:-1])) == digits[-1]


def gather_message(text: str, today: date, into: Gathered) -> None:
    """Gather the element strings of a message. Separators more than it needs are passed over."""
    segments = [segment for segment in text.split(GS) if segment]
    if not segments:
        into.fault("empty")
    for segment in segments:
        _gather_segment(segment, today, into)


def gather_value(ai: str, value: str, today: date, into: Gathered) -> None:
    """Gather one identifier whose value ends for certain, as in a Digital Link."""
    identifier = _identifier(ai)
    if identifier is None or identifier.ai != ai:
        into.fault("unknown_ai")
    elif not value or not identifier.pattern.fullmatch(value):
        into.fault("value")
    else:
        _keep(_Element(ai, value), today, into)


def _gather_segment(segment: str, today: date, into: Gathered) -> None:
    """Gather what stands between two separators. Behind a separator that is missing all is a guess, and is not kept."""
    sure, guessed, rest = _elements(segment)
    for element in sure:
        _keep(element, today, into)
    if not rest:
        for _ in guessed[:1]:
            into.fault("no_separator")
    elif guessed:  # it doesn't go on as a message: the value itself is too long, or has a wrong character
        into.fault("value")
    else:
        into.fault("value" if _identifier(rest[:_LONGEST_AI]) else "unknown_ai")


def _elements(segment: str) -> tuple[list[_Element], list[_Element], str]:
    """The elements that are sure, those from the first missing separator on, and what is left that can't be read."""
    sure: list[_Element] = []
    guessed: list[_Element] = []
    rest = segment
    while rest and (identifier := _identifier(rest[:_LONGEST_AI])):
        value = _value(identifier, rest[len(identifier.ai) :])
        if not value:
            break
        rest = rest[len(identifier.ai) + len(value) :]
        missing = identifier.separated and rest
        (guessed if missing or guessed else sure).append(_Element(identifier.ai, value))
    return sure, guessed, rest


def _value(identifier: _Identifier, text: str) -> str:
    found = identifier.pattern.match(text)
    return found[0] if found else ""


def _keep(element: _Element, today: date, into: Gathered) -> None:
    """Keep an element that passes its checks, and the date or weight that it says."""
    ai, value = element.ai, element.value
    if (end := _CHECKED.get(ai)) and not checks(value[:end]):
        into.fault("check_digit")
        return
    texts = [value[start : start + 6] for start in _DATED.get(ai, ())]
    days = [short_day(text, today) for text in texts if text]
    if None in days:
        into.fault("date")
        return
    into.keep(ai, value)
    if ai in _NAMED_DATES:
        into.fields.setdefault(_NAMED_DATES[ai], str(days[0]))
    if ai.startswith(_NET_KG):
        into.fields.setdefault("net_kg", format(Decimal(value).scaleb(-int(ai[-1])), "f"))


@lru_cache(maxsize=4096)  # biip looks through its whole table each time
def _identifier(start: str) -> _Identifier | None:
    """The identifier that a text starts with; its first four characters are enough to tell."""
    try:
        found = GS1ApplicationIdentifier.extract(start)
    except ParseError:
        return None
    value = found.pattern.removeprefix("^" + found.ai).removesuffix("$")
    if found.ai in _DATED:  # a day that is none is told apart from what is no date at all
        value = value.replace(_MONTH_AND_DAY, r"\d{4}")
    return _Identifier(found.ai, re.compile(value, re.ASCII), found.separator_required)
