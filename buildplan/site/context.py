"""What every template may ask for."""

from django.http import HttpRequest


def current_project(request: HttpRequest) -> dict[str, str]:
    """The project that the address names, so that the menu stays with it; pages of no project carry it as `?project=`."""
    match = request.resolver_match
    named = match.kwargs.get("project", "") if match else ""
    return {"current_project": named or request.GET.get("project", "")}
