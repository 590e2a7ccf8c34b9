"""The API's own page, and its description as a file."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe
from drf_spectacular.renderers import OpenApiJsonRenderer, OpenApiYamlRenderer

from buildplan.site.reference import description, operations

_RENDERERS = {"yaml": OpenApiYamlRenderer, "json": OpenApiJsonRenderer}


@require_safe
def api_page(request: HttpRequest) -> HttpResponse:
    """Every operation with its parameters and examples. Open to all: it holds nothing of a workshop."""
    return render(request, "api/reference.html", {"parts": list(operations().items())})


@require_safe
def openapi(request: HttpRequest, form: str) -> HttpResponse:
    """The OpenAPI document, for tools."""
    del request
    body = _RENDERERS[form]().render(description(), renderer_context={})
    return HttpResponse(body, content_type=f"application/{form}", headers={"Content-Disposition": f'inline; filename="rivetloft.{form}"'})
