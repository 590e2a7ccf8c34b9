"""The API's own page, and its description as a file."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.text import slugify
from django.views.decorators.http import require_safe
from drf_spectacular.renderers import OpenApiJsonRenderer, OpenApiYamlRenderer

from buildplan.site.reference import description, operations

_RENDERERS = {"yaml": OpenApiYamlRenderer, "json": OpenApiJsonRenderer}


@require_safe
def api_page(request: HttpRequest) -> HttpResponse:
    """What all of the API has in common, and every operation by its name. Open to all: it holds nothing of a workshop."""
    return render(request, "api/reference.html", {"parts": list(operations().items())})


@require_safe
def api_part(request: HttpRequest, part: str) -> HttpResponse:
    """The operations of one part, with their parameters and examples."""
    found = {slugify(tag): (tag, ones) for tag, ones in operations().items()}
    if part not in found:
        raise Http404
    tag, ones = found[part]
    return render(request, "api/part.html", {"tag": tag, "operations": ones})


@require_safe
def openapi(request: HttpRequest, form: str) -> HttpResponse:
    """The OpenAPI document, for tools."""
    del request
    body = _RENDERERS[form]().render(description(), renderer_context={})
    return HttpResponse(body, content_type=f"application/{form}", headers={"Content-Disposition": f'inline; filename="rivetloft.{form}"'})
