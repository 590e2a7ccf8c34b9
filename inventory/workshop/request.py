"""A request, as the middleware leaves it for the pages."""

from django.http import HttpRequest
from django_htmx.middleware import HtmxDetails

from inventory.workshop.models import Member, User, Workshop


class MemberRequest(HttpRequest):
    """A request by a signed-in member. A view takes one where it lets nobody else in; for others both are None."""

    user: User
    member: Member
    workshop: Workshop
    htmx: HtmxDetails
