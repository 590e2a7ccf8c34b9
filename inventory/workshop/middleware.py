"""Puts the workshop of the signed-in person, or of the device, around each request."""

from collections.abc import Callable
from typing import cast

from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django_scopes import scope

from inventory.common.strays import is_api
from inventory.workshop import queries, services
from inventory.workshop.models import Member, User

SESSION_KEY = "workshop"


class WorkshopMiddleware:
    """Sets `request.member`, `request.workshop` and `request.device`, and scopes every read to that workshop.

    A person in several workshops chooses one (kept in the session), or names one with `?workshop=`; else it is their first. A
    device works in its own alone. Without a membership all three are None, and any read of a workshop's rows raises.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        """Django gives the next handler."""
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Find the membership, then go on within its scope."""
        token = _token(request)
        request.token_sent = token is not None  # type: ignore[attr-defined]
        request.device = None  # type: ignore[attr-defined]
        member = _of_session(request) if token is None else _of_device(request, token)
        request.member = member  # type: ignore[attr-defined]
        request.workshop = member.workshop if member else None  # type: ignore[attr-defined]
        if member is None:
            return self.get_response(request)
        with scope(workshop=member.workshop):
            return self.get_response(request)


def _token(request: HttpRequest) -> str | None:
    """The bearer token that a program sent; None without one. Pages know people alone, and an address carries no token: it is logged."""
    kind, _, text = request.headers.get("Authorization", "").partition(" ")
    return text.strip() if kind.lower() == "bearer" and is_api(request) else None


def _of_session(request: HttpRequest) -> Member | None:
    return queries.membership(request.user, request.GET.get("workshop"), request.session.get(SESSION_KEY))


def _of_device(request: HttpRequest, token: str) -> Member | None:
    """The member that a device acts for. A session beside it isn't even read: a request is the device's or nobody's."""
    device = queries.device_of(token)
    request.device = device  # type: ignore[attr-defined]
    request.user = AnonymousUser() if device is None else cast("User", device.member.user)  # the query finds none without
    if device is None:
        return None
    services.saw(device=device, now=timezone.now())
    named = request.GET.get("workshop", device.workshop.code)
    return device.member if named.upper() == device.workshop.code.upper() else None
