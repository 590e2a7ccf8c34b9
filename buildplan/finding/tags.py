"""What the pages of other slices show of these: how a page's figures are worked out."""

from django import template

from buildplan.finding.words import WORKED_OUT
from inventory.common.reasons import Reason

register = template.Library()


@register.simple_tag
def worked_out(page: str) -> tuple[Reason, ...]:
    """The rules behind a page, each with its source."""
    return WORKED_OUT[page]
