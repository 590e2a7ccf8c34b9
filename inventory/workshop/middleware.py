"""Puts the workshop of the signed-in person, or of the device, around each request; notes where people are signed in."""

from collections.abc import Callable
from contextlib import suppress
from typing import cast

from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.core.cache import cache
from django.db import OperationalError
from django.http import HttpRequest, HttpResponse
from django.utils import timezone, translation
from django.utils.cache import patch_vary_headers
from django_scopes import scope

from inventory.common.strays import is_api
from inventory.workshop import queries, reading, services, sessions
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


class ReaderMiddleware:
    """Shows each request in the way of who reads it: by the workshop's clock, in their language, sizes and days.

    Programs are answered in English. A language that nobody chose is the browser's, as it is for who isn't signed in.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        """Django gives the next handler."""
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Find the reader, then go on as they like it. Whatever was in force before is in force again after the answer."""
        member: Member | None = request.member  # type: ignore[attr-defined] # the middleware before this sets it
        reader = reading.reader_of(member.workshop, member) if member else reading.nobody()
        if is_api(request):
            with reading.read_by(reader, settings.LANGUAGE_CODE):
                return self.get_response(request)
        with reading.read_by(reader, reader.language or translation.get_language_from_request(request)):
            response = self.get_response(request)
            response.headers.setdefault("Content-Language", translation.get_language() or settings.LANGUAGE_CODE)
        patch_vary_headers(response, ["Accept-Language"])
        return response


class SignedInMiddleware:
    """Notes where people are signed in, once a minute for each session: the list that they look through for strangers."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        """Django gives the next handler."""
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """After the page, so that the one that signs in is noted as well, and the one that signs out is not."""
        response = self.get_response(request)
        if not getattr(request, "token_sent", False) and request.user.is_authenticated:
            _note(request, request.user)
        return response


def seen_key(session_key: str) -> str:
    """What stands in the cache for a minute after a session was noted."""
    return f"signed-in-{session_key}"


def _note(request: HttpRequest, user: User) -> None:
    key = request.session.session_key
    if key is None or not cache.add(seen_key(key), True, timeout=sessions.SEEN_EVERY.total_seconds()):  # noqa: FBT003 - the cache's API
        return
    with suppress(OperationalError):  # a database that is busy for long: the next request notes it, and this page is shown
        sessions.saw(user=user, key=key, agent=request.headers.get("User-Agent", ""), now=timezone.now())


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
