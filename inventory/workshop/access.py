"""Who may see a page at all: people who are signed in and members of a workshop."""

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec, cast

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from inventory.workshop.request import MemberRequest

Args = ParamSpec("Args")
View = Callable[Concatenate[HttpRequest, Args], HttpResponse]


def members_only(view: Callable[Concatenate[MemberRequest, Args], HttpResponse]) -> View[Args]:
    """Send a stranger to the sign-in page, and tell who belongs to no workshop what to do."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: Args.args, **kwargs: Args.kwargs) -> HttpResponse:
        member = cast("MemberRequest", request)
        if member.member is not None:
            return view(member, *args, **kwargs)
        if "workshop" in request.GET:  # named, and not one of theirs: a foreign workshop looks like one that doesn't exist
            raise Http404
        return render(request, "workshop/no_membership.html", status=403)

    return cast("View[Args]", login_required(guarded))
