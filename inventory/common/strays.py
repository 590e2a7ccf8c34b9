"""What no view answered: people get a page, programs a problem document."""

from http import HTTPStatus

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.views import defaults

from inventory.common.documents import MEDIA_TYPE, document

API = "/api/v1/"


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """There is nothing at this address."""
    if is_api(request):
        return _document(HTTPStatus.NOT_FOUND, "Nothing is at this address: the API's description lists those that there are")
    return defaults.page_not_found(request, exception)


def failed(request: HttpRequest) -> HttpResponse:
    """A mistake of ours."""
    if is_api(request):
        return _document(HTTPStatus.INTERNAL_SERVER_ERROR, "This is a mistake of the site's, not yours: it is in its log")
    return defaults.server_error(request)


def is_api(request: HttpRequest) -> bool:
    """Whether a program asks."""
    return request.path_info.startswith(API)


def _document(status: HTTPStatus, detail: str) -> HttpResponse:
    return JsonResponse(document(status, status.phrase, detail), status=status, content_type=MEDIA_TYPE)
