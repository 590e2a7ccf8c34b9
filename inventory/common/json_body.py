"""Bodies of the API: JSON alone, whatever is in it."""

from collections.abc import Mapping
from io import BytesIO
from typing import IO, Any

from django.conf import settings
from django.core.exceptions import RequestDataTooBig
from rest_framework.exceptions import ParseError
from rest_framework.parsers import JSONParser


class JsonBody(JSONParser):
    """JSON, as much as Django would read of a form. What would only end the reader, such as a list a thousand deep, is unreadable."""

    def parse(self, stream: IO[Any], media_type: str | None = None, parser_context: Mapping[str, Any] | None = None) -> dict[str, Any]:
        """The body's contents."""
        most = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
        body = stream.read() if most is None else stream.read(most + 1)
        if most is not None and len(body) > most:
            raise RequestDataTooBig(f"over {most} bytes")
        try:
            found: dict[str, Any] = super().parse(BytesIO(body), media_type, parser_context)
        except RecursionError as error:
            raise ParseError("this JSON nests too deep") from error
        return found
