"""What the API's lists of notices and work lists may be asked for."""

from typing import Any, ClassVar

from django_filters import rest_framework as filters

from buildplan.trace.models import VERDICTS, Notice, Task, Where


class NoticeFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Notices."""

    item = filters.CharFilter(field_name="items__item__code", lookup_expr="iexact", max_length=80, help_text="of the item of this code")

    class Meta:
        model = Notice
        fields: ClassVar[list[str]] = []


class TaskFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Lines of work lists."""

    notice = filters.NumberFilter(field_name="notice_id", help_text="of the notice of this id")
    verdict = filters.ChoiceFilter(choices=[(value, value) for value, _ in VERDICTS])
    where = filters.ChoiceFilter(choices=[(one.value, one.value) for one in Where])
    open = filters.BooleanFilter(method="are_open", help_text="true: nobody has looked at it; false: somebody has")

    class Meta:
        model = Task
        fields: ClassVar[list[str]] = []

    def are_open(self, rows: Any, name: str, value: bool) -> Any:
        """By whether somebody has ticked it."""
        del name
        return rows.filter(ticked_at__isnull=value)
