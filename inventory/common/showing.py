"""How sizes and days look to who reads. Only pages ask: what is stored, sent or printed for programs stays as it is.

`reading` puts one reader's choice around a request; the functions take it as `showing`, and without one ask whose request it is.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date, datetime
from fractions import Fraction

from django.db.models import TextChoices
from django.utils import dates, timezone
from django.utils.translation import gettext_lazy as _

from inventory.common.exact import Exact, decimal_text

MM = Fraction(254, 10)  # of an inch
FINEST = 64  # parts of an inch that a rule, a drill or a sheet is named by


class Sizes(TextChoices):
    """Which unit of a size stands first."""

    INCH = "inch", _("inches first")
    METRIC = "metric", _("millimetres first")


class Inches(TextChoices):
    """How inches are written. Rivets and drills are named by fractions, grips are measured in decimals."""

    USUAL = "usual", _("as the trade says them")
    FRACTION = "fraction", _("fractions, where they are some")
    DECIMAL = "decimal", _("decimals")


class Dates(TextChoices):
    """How a day is written."""

    ISO = "iso", _("year first")
    DAY_FIRST = "day_first", _("day, month, year")
    MONTH_FIRST = "month_first", _("month, day, year")
    DOTTED = "dotted", _("digits and dots")


@dataclass(frozen=True, slots=True)
class Showing:
    """One reader's choice."""

    sizes: str = Sizes.INCH
    inches: str = Inches.USUAL
    dates: str = Dates.ISO


USUAL = Showing()
_reader: ContextVar[Showing] = ContextVar("reader", default=USUAL)


@contextmanager
def reading(showing: Showing) -> Iterator[None]:
    """Show everything as `showing` says until the block ends."""
    token = _reader.set(showing)
    try:
        yield
    finally:
        _reader.reset(token)


def now_reading() -> Showing:
    """The choice of who reads; the usual where nobody chose."""
    return _reader.get()


def date_text(value: date, showing: Showing | None = None) -> str:
    """A day without its weekday; an instant is the day that it is in the zone in force."""
    on = timezone.localtime(value).date() if isinstance(value, datetime) and timezone.is_aware(value) else value
    style = (showing or now_reading()).dates
    if style == Dates.DAY_FIRST:
        return f"{on.day} {dates.MONTHS_3[on.month].capitalize()} {on.year}"
    if style == Dates.MONTH_FIRST:
        return f"{dates.MONTHS_3[on.month].capitalize()} {on.day}, {on.year}"
    if style == Dates.DOTTED:
        return f"{on.day}.{on.month}.{on.year}"
    return f"{on:%Y-%m-%d}"


def day_text(value: date, showing: Showing | None = None) -> str:
    """A day with its weekday, which is what people plan by."""
    on = timezone.localtime(value).date() if isinstance(value, datetime) and timezone.is_aware(value) else value
    return f"{dates.WEEKDAYS_ABBR[on.weekday()]} {date_text(on, showing)}"


def instant_text(value: datetime, showing: Showing | None = None) -> str:
    """A day and the time of day, in the zone in force."""
    at = timezone.localtime(value) if timezone.is_aware(value) else value
    return f"{date_text(at.date(), showing)} {at:%H:%M}"


def size_text(inches: Exact, showing: Showing | None = None) -> str:
    """A measured size: inches with mm beside them, or the other way round. Decimals unless fractions are asked for."""
    chosen, size = showing or now_reading(), Fraction(inches)
    return _both(_inches(size, fraction=chosen.inches == Inches.FRACTION), size, chosen)


def named_size_text(inches: Exact, showing: Showing | None = None) -> str:
    """A size that names a thing, such as a rivet of 1/8 in: by its fraction unless decimals are asked for, and without mm beside inches."""
    chosen, size = showing or now_reading(), Fraction(inches)
    named = _inches(size, fraction=chosen.inches != Inches.DECIMAL)
    return named if chosen.sizes == Sizes.INCH else _both(named, size, chosen)


def _both(named: str, size: Fraction, showing: Showing) -> str:
    metric = f"{decimal_text(size * MM, 2)} mm"
    return f"{metric} ({named})" if showing.sizes == Sizes.METRIC else f"{named} ({metric})"


def _inches(size: Fraction, *, fraction: bool) -> str:
    """`fraction` where it is one that a rule has, whole inches apart: 1 1/4 in."""
    whole, part = divmod(abs(size), 1)
    if not fraction or not part or FINEST % part.denominator:
        return f"{decimal_text(size)} in"
    return f"{'-' if size < 0 else ''}{f'{whole} ' if whole else ''}{part} in"
