"""Template filters: figures and days as every page writes them."""

from datetime import date
from decimal import Decimal

from django import template

from inventory.common import fields

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
