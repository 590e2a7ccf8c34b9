"""What pages of loading say again and again; and on Tonight, how far the first steps are."""

from django import template
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from buildplan.loading import mapping
from buildplan.loading.first_steps import FirstSteps
from buildplan.loading.first_steps import first_steps as found_steps
from inventory.models import Member
from inventory.workshop import policy

register = template.Library()

_KINDS = {"catalogue": _("Catalogue"), "stock": _("Stock"), "plan": _("Plan"), "packing": _("Packing list")}


@register.filter
def load_kind(kind: str) -> str | Promise:
    """A kind of file, in words."""
    return _KINDS.get(kind, kind)


@register.filter
def letters(at: int) -> str:
    """A column as spreadsheets call it."""
    return mapping.letters(at)


@register.simple_tag
def first_steps_left(member: Member) -> FirstSteps | None:
    """The first steps, for who may take them, until they are done or put away. One query."""
    if not policy.allowed(member, "keep_stock"):
        return None
    found = found_steps(member)
    return None if found.hidden or found.next is None else found
