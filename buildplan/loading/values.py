"""Cell texts to values: dates, quantities, sizes, yes and no. Pure: `today` comes in as an argument."""

import re
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from buildplan.loading.records import shown, trim
from inventory.shelflife.calc import StatedDate

MOST = Decimal(10) ** 12
MOST_DIGITS = 28  # what Decimal multiplies without rounding
DATES = "write 2027-03-14, 2027-03, 2Q27, today or today+21"
DAYS = "write yes, no, or the day as 2027-03-14 or today-12"
YES_NO = {"yes": True, "1": True, "no": False, "0": False, "": False}

_FROM_TODAY = re.compile(r"today(?:\s*([+-])\s*(\d{1,6}))?", re.ASCII | re.IGNORECASE)
_ISO_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_NUMBER = re.compile(r"-?(?:\d+\.?\d*|\.\d+)", re.ASCII)
_WHOLE = re.compile(r"-?\d+", re.ASCII)
_RATIO = re.compile(r"(\d{1,9})\s*/\s*(\d{1,9})", re.ASCII)
_EXPONENT = re.compile(r"[+-]?[\d.,]+e[+-]?\d+", re.ASCII | re.IGNORECASE)
_GROUPED = re.compile(r"[1-9]\d{0,2}(?:\.\d{3})+", re.ASCII)


class BadValue(ValueError):  # noqa: N818 - reads as what it is: a bad value, not a fault of the program
    """A text that does not say what its column asks for. Its own text: what is wrong, and what would do."""


def filled(text: str) -> str:
    """The trimmed text. Refuses a blank one."""
    if not (text := trim(text)):
        raise BadValue("blank: this column needs a value in every row")
    return text


def stated_date(text: str, *, today: date) -> StatedDate:
    """`2027-03-14`, `2027-03`, `2Q27`, `today`, `today+21` or `today-40`, with the precision as stated."""
    text = filled(text)
    if found := _FROM_TODAY.fullmatch(text):
        return StatedDate(_from_today(text, today, found[1], found[2]), "day")
    try:
        return StatedDate.parse(text)
    except ValueError as error:
        fault = "is no day of the calendar" if _ISO_DAY.fullmatch(text) else "is no date"
        raise BadValue(f"{shown(text)} {fault}: {DATES}") from error


def plain_date(text: str, *, today: date) -> date:
    """The day that a date means: of a month or quarter its last."""
    return stated_date(text, today=today).last_day


def done(text: str, *, today: date) -> tuple[bool, date | None]:
    """Whether a step is done, and the day if one is given. Blank is no."""
    text = trim(text)
    if (answer := YES_NO.get(text.lower())) is not None:
        return answer, None
    try:
        day = stated_date(text, today=today)
    except BadValue as error:
        raise BadValue(f"{shown(text)} is neither yes, no, nor a day: {DAYS}") from error
    if day.precision != "day":
        raise BadValue(f"{shown(text)} is no single day: {DAYS}")
    return True, day.last_day


def quantity(text: str, *, decimal_comma: bool = False) -> Decimal:
    """An exact number over 0, up to 10^12."""
    return decimal_positive(text, decimal_comma=decimal_comma)


def decimal_positive(text: str, *, decimal_comma: bool = False) -> Decimal:
    """An exact number over 0, up to 10^12."""
    number = decimal_not_negative(text, decimal_comma=decimal_comma)
    if not number:
        raise BadValue(f"{shown(text)} is zero: write a number over 0, or leave the row out")
    return number


def decimal_not_negative(text: str, *, decimal_comma: bool = False) -> Decimal:
    """An exact number of at least 0, up to 10^12."""
    text = filled(text)
    plain = _plain(text, decimal_comma=decimal_comma)
    number = Decimal(plain)
    if number.is_signed():
        raise BadValue(f"{shown(text)} is negative: write a number over 0")
    if number > MOST:
        raise BadValue(f"{shown(text)} is past 10^12: check it, or use a larger unit")
    if len(plain.lstrip("0")) > MOST_DIGITS + 1:
        raise BadValue(f"{shown(text)} has over {MOST_DIGITS} digits: write fewer decimals")
    return number


def whole(text: str, *, least: int, most: int) -> int:
    """A whole number from `least` to `most`."""
    text = filled(text)
    if not _WHOLE.fullmatch(text):
        raise BadValue(f"{shown(text)} is no whole number: write digits alone, {least} to {most}")
    # A text this long is out of any range, and slow or impossible to convert.
    if len(text) > MOST_DIGITS or not least <= int(text) <= most:
        raise BadValue(f"{shown(text)} is not from {least} to {most}: write a number in that range")
    return int(text)


def fraction(text: str, *, decimal_comma: bool = False) -> Fraction:
    """A size over 0, as `1/8` or `0.125`, exact."""
    text = filled(text)
    if _ISO_DAY.fullmatch(text):
        raise BadValue(f"{shown(text)} is a date, which spreadsheets make of 1/8: format the cell as text, or write 0.125")
    if "/" not in text:
        return Fraction(decimal_positive(text, decimal_comma=decimal_comma))
    found = _RATIO.fullmatch(text)
    if not found or not int(found[1]) or not int(found[2]):
        raise BadValue(f"{shown(text)} is no fraction over 0: write 1/8 or 0.125")
    return Fraction(int(found[1]), int(found[2]))


def codes(text: str) -> tuple[str, ...]:
    """The codes between semicolons, in their order, each once."""
    return tuple(dict.fromkeys(code for part in text.split(";") if (code := trim(part))))


def _from_today(text: str, today: date, sign: str | None, days: str | None) -> date:
    try:
        return today + timedelta(days=int(f"{sign or ''}{days or 0}"))
    except OverflowError as error:
        raise BadValue(f"{shown(text)} is past the calendar: {DATES}") from error


def _plain(text: str, *, decimal_comma: bool) -> str:
    """The number with a decimal point, its digits as written."""
    if decimal_comma and _GROUPED.fullmatch(text):
        either = f"write {text.replace('.', '')}, or {text.replace('.', ',', 1)} with a decimal comma"
        raise BadValue(f"{shown(text)} can be read two ways in a file with semicolons: {either}")
    plain = text.replace(",", ".") if decimal_comma and "." not in text else text
    if _NUMBER.fullmatch(plain):
        return plain
    raise BadValue(f"{shown(text)} {_why_no_number(text, decimal_comma=decimal_comma)}")


def _why_no_number(text: str, *, decimal_comma: bool) -> str:
    if _EXPONENT.fullmatch(text):
        return "has an exponent: write all its digits, such as 1000 for 1e3"
    if "," in text and not decimal_comma:
        return "has a comma: write 1000 without separators, and decimals with a point, such as 1.5"
    if not text.isascii():
        return "is no number: write it in the digits 0 to 9"
    return "is no number: write digits alone, such as 12 or 12.5; a unit has its own column"
