"""What every page shares: a `Problem` as a page, the way back after a form, messages of a form that went wrong."""

from collections.abc import Callable
from http import HTTPStatus

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.http import url_has_allowed_host_and_scheme

from inventory.common.problems import Problem

UNREADABLE = HTTPStatus.UNPROCESSABLE_ENTITY


class ProblemMiddleware:
    """Turns a `Problem` that a page raises into a page that says it, with its status."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        """Django gives the next handler."""
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Nothing to do on the way in."""
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        """Only a `Problem` is for the person; anything else stays a 500."""
        if not isinstance(error, Problem):
            return None
        return render(request, "problem.html", {"title": error.title, "detail": str(error)}, status=error.status)


def way_back(request: HttpRequest, default: str) -> str:
    """Where a form asked to return to (its `next`), if that is a page of this site; else `default`."""
    asked = request.POST.get("next") or request.GET.get("next") or ""
    if url_has_allowed_host_and_scheme(asked, allowed_hosts={request.get_host()}, require_https=request.is_secure()):
        return asked
    return default
