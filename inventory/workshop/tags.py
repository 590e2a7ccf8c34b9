"""What a page asks about who looks at it."""

from django import template

from inventory.workshop import policy
from inventory.workshop.models import Member

register = template.Library()


@register.filter
def may(member: Member | None, permission: str) -> bool:
    """Whether the member's role covers this: a link that would be refused is not shown."""
    return member is not None and policy.allowed(member, permission)
