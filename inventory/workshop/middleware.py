"""Puts the signed-in person's workshop around each request."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django_scopes import scope

from inventory.workshop import queries

SESSION_KEY = "workshop"


class WorkshopMiddleware:
    """Sets `request.member` and `request.workshop`, and scopes every read to that workshop.

    A person in several workshops chooses one (kept in the session), or names one with `?workshop=`; else it is their first.
    Without a membership both are None, and any read of a workshop's rows raises.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        """Django gives the next handler."""
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Find the membership, then go on within its scope."""
        member = queries.membership(request.user, request.GET.get("workshop"), request.session.get(SESSION_KEY))
        request.member = member  # type: ignore[attr-defined]
        request.workshop = member.workshop if member else None  # type: ignore[attr-defined]
        if member is None:
            return self.get_response(request)
        with scope(workshop=member.workshop):
            return self.get_response(request)
