"""What travels is compressed: pages, styles and scripts. Not the API, whose ETags are sent back in If-Match and must stay strong."""

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware

from inventory.common.strays import is_api

TEXTS = ("text/", "application/javascript", "application/json", "application/manifest", "application/wasm", "image/svg")


class CompressionMiddleware(GZipMiddleware):
    """Django's own, for texts alone: a photo or PDF gains nothing.

    It may be used on pages with secrets (the BREACH attack, CVE-2013-3587): Django masks the CSRF token anew in each answer and adds
    random bytes to what is compressed (since 4.2), and the session's cookie is SameSite=Lax, so that another site can't make a browser
    ask for our pages again and again.
    """

    def process_response(self, request: HttpRequest, response: HttpResponseBase) -> HttpResponseBase:
        """Compress it where that helps."""
        if is_api(request) or not response.headers.get("Content-Type", "").startswith(TEXTS):
            return response
        return super().process_response(request, response)  # type: ignore[no-any-return, unused-ignore]
