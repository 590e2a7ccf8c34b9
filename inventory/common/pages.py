"""What every page shares: a `Problem` as a page, the way back after a form, messages of a form that went wrong."""

from collections.abc import Callable
from http import HTTPStatus
from urllib.parse import urlsplit

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
        """On the way out, an address that only takes a form says so: Django's own answer is an empty page."""
        response = self.get_response(request)
        if response.status_code != HTTPStatus.METHOD_NOT_ALLOWED or response.streaming or response.content:
            return response
        page = render(request, "405.html", {"back": came_from(request)}, status=response.status_code)
        page["Allow"] = response["Allow"]
        return page

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        """Only a `Problem` is for the person; anything else stays a 500."""
        if not isinstance(error, Problem):
            return None
        context = {
            "title": error.title,
            "detail": str(error),
            "back": came_from(request),
            "forbidden": error.status == HTTPStatus.FORBIDDEN,
        }
        return render(request, "problem.html", context, status=error.status)


def came_from(request: HttpRequest) -> str:
    """The page of this site that a press came from, as the browser says; empty where it doesn't, or names the very page that failed."""
    said = request.META.get("HTTP_REFERER", "")
    if not url_has_allowed_host_and_scheme(said, allowed_hosts={request.get_host()}, require_https=request.is_secure()):
        return ""
    parts = urlsplit(said)
    found = parts.path + (f"?{parts.query}" if parts.query else "")
    return "" if found == request.get_full_path() else found


def way_back(request: HttpRequest, default: str) -> str:
    """Where a form asked to return to (its `next`), if that is a path of this site; else `default`.

    A text without a slash would be taken for the name of an address, which there is none of.
    """
    asked = request.POST.get("next") or request.GET.get("next") or ""
    return asked if asked.startswith("/") and url_has_allowed_host_and_scheme(asked, allowed_hosts=None) else default
