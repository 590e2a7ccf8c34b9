"""Dates as codes write them: two or four digits of the year, and day 00 for the last day of a month. Pure."""

import re
from datetime import date

from inventory.shelflife.calc import month_end

_SHORT = re.compile(r"(\d\d)(\d\d)(\d\d)", re.ASCII)
_LONG = re.compile(r"(\d{4})(\d\d)(\d\d)", re.ASCII)

# GS1 General Specifications 7.12: a two-digit year is never more than 50 years ahead, nor more than 49 back.
_AHEAD = 50


def short_day(text: str, today: date) -> date | None:
    """`text` read as YYMMDD, in the century that is nearest to `today`; None where it is no date."""
    found = _SHORT.fullmatch(text)
    return found and _day(_full_year(int(found[1]), today.year), int(found[2]), int(found[3]))


def long_day(text: str) -> date | None:
    """`text` read as YYYYMMDD; None where it is no date."""
    found = _LONG.fullmatch(text)
    return found and _day(*map(int, found.groups()))


def _full_year(two_digits: int, this_year: int) -> int:
    """The year from 49 before this one to 50 after it that ends in these digits."""
    earliest = this_year + _AHEAD - 99
    return earliest + (two_digits - earliest) % 100


def _day(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day) if day else month_end(year, month)
    except ValueError:
        return None
