"""A request, as the middleware leaves it for the pages."""

from typing import cast

from django.conf import settings
from django.http import HttpRequest
from django_htmx.middleware import HtmxDetails
from rest_framework.request import Request

from inventory.workshop.models import Device, Member, User, Workshop


class MemberRequest(HttpRequest):
    """A request by a signed-in member. A view takes one where it lets nobody else in; for others both are None."""

    user: User
    member: Member
    workshop: Workshop
    device: Device | None
    token_sent: bool
    htmx: HtmxDetails


def site(request: HttpRequest) -> str:
    """Where the site is for who gets a link: the address that it was given, else the one asked for."""
    return settings.RIVETLOFT_ADDRESS or f"{request.scheme}://{request.get_host()}"


def caller(request: Request) -> Member:
    """The member whom a request of the API acts for; its permission has let nobody else in."""
    return cast("Member", request.member)  # type: ignore[attr-defined] # DRF hands on what the middleware set
