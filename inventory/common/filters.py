"""Template filters: figures and days as every page writes them, in the way that its reader chose (`showing`)."""

from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction

from django import template
from django.utils.translation import ngettext

from inventory.common import fields, showing
from inventory.common.exact import decimal_text

register = template.Library()


@register.filter
def plain(value: Decimal) -> str:
    """A quantity without exponent or trailing zeros."""
    return fields.plain(value)


@register.filter
def day(value: date | None) -> str:
    """A day with its weekday, which is what people plan by; nothing for none."""
    return showing.day_text(value) if value else ""


@register.filter
def dated(value: date | None) -> str:
    """A day without its weekday; nothing for none. For addresses and fields of forms write `date:'Y-m-d'`: those are for programs."""
    return showing.date_text(value) if value else ""


@register.filter
def instant(value: datetime | None) -> str:
    """A day and the time of day, in the workshop's zone; nothing for none."""
    return showing.instant_text(value) if value else ""


@register.filter
def days(count: int) -> str:
    """A count of days in words."""
    return ngettext("%(count)d day", "%(count)d days", count) % {"count": count}


@register.filter
def digits(value: Fraction | Decimal | None) -> str:
    """An exact size in plain digits, at most four places; nothing for none."""
    return "" if value is None else decimal_text(Fraction(value))


@register.filter
def money(cents: int) -> str:
    """Cents as an amount of money."""
    return f"{cents // 100}.{cents % 100:02d}"


@register.filter
def inches(value: Fraction | Decimal | None) -> str:
    """A measured size, given in inches, with the other unit beside it; nothing for none."""
    return "" if value is None else showing.size_text(value)


@register.filter
def size_name(value: Fraction | Decimal | None) -> str:
    """A size that names a rivet or a drill, given in inches; nothing for none."""
    return "" if value is None else showing.named_size_text(value)
