"""Pages of the API's lists."""

from typing import Any

from django.db.models import QuerySet
from rest_framework.exceptions import NotFound, ValidationError
from rest_framework.pagination import CursorPagination
from rest_framework.request import Request
from rest_framework.views import APIView

from inventory.common.problems import Problem


class BadCursor(Problem):
    """A cursor that no list of ours gave."""

    title = "This cursor doesn't do"

    def __init__(self) -> None:
        """It is a client's text: what is wrong with it doesn't matter, only what would do."""
        super().__init__("this cursor is none of ours: follow `next` and `previous` as they are, or start without one")


class Cursor(CursorPagination):
    """Pages by cursor: rows that come or go meanwhile are neither shown twice nor passed over. Oldest first.

    A view that wants another order gives its `ordering`, which must start with a column that has no nulls and end in a unique one.
    """

    page_size = 50
    page_size_query_param = "page_size"
    max_page_size = 200
    ordering = "pk"

    def get_ordering(self, request: Request, queryset: QuerySet[Any], view: APIView) -> tuple[str, ...]:
        """The view's own order, else ours."""
        del request, queryset
        wanted = getattr(view, "ordering", self.ordering)
        return (wanted,) if isinstance(wanted, str) else tuple(wanted)

    def get_page_size(self, request: Request) -> int:
        """Rows a page. Refuses what is no number from 1 to 200: who asks for 1000 must not believe that 200 were all."""
        asked = request.query_params.get(self.page_size_query_param, str(self.page_size))
        if not (asked.isascii() and asked.isdigit() and len(asked) <= 4 and 1 <= int(asked) <= self.max_page_size):  # noqa: PLR2004
            raise ValidationError({self.page_size_query_param: [f"Give a number from 1 to {self.max_page_size}."]})
        return int(asked)

    def decode_cursor(self, request: Request) -> Any:
        """The cursor asked for; None for the first page."""
        try:
            return super().decode_cursor(request)
        except NotFound as error:
            raise BadCursor from error

    def paginate_queryset(self, queryset: Any, request: Request, view: APIView | None = None) -> list[Any] | None:
        """One page. A position that is no value of its column is refused too."""
        try:
            return super().paginate_queryset(queryset, request, view)
        except ValueError as error:
            raise BadCursor from error

    def get_schema_operation_parameters(self, view: APIView) -> list[dict[str, Any]]:
        """The two parameters with their limits."""
        found: list[dict[str, Any]] = super().get_schema_operation_parameters(view)
        for parameter in found:
            if parameter["name"] == self.page_size_query_param:
                parameter["schema"] = {"type": "integer", "minimum": 1, "maximum": self.max_page_size, "default": self.page_size}
        return found
