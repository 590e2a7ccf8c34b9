"""Template filters: figures and days as every page writes them."""

from datetime import date
from decimal import Decimal
from fractions import Fraction

from django import template

from inventory.common import fields
from inventory.common.exact import decimal_text

MM = Fraction(254, 10)  # of an inch

register = template.Library()


@register.filter
def plain(value: Decimal) -> str:
    """A quantity without exponent or trailing zeros."""
    return fields.plain(value)


@register.filter
def day(value: date | None) -> str:
    """A day with its weekday, which is what people plan by; nothing for none."""
    return "" if value is None else f"{value:%a} {value.isoformat()}"


@register.filter
def days(count: int) -> str:
    """A count of days in words."""
    return "1 day" if count == 1 else f"{count} days"


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
    """A size in inches, with its mm beside it; nothing for none."""
    return "" if value is None else f"{decimal_text(Fraction(value))} in ({decimal_text(Fraction(value) * MM, 2)} mm)"
