"""Rows that must exist once, whoever asks first; and many rows at once."""

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from itertools import islice
from typing import Any, TypeVar

from django.db import IntegrityError, models, transaction

BATCH = 500  # rows of one statement, values in one IN list: far below any engine's limit

Row = TypeVar("Row", bound=models.Model)
Value = TypeVar("Value")


def find_or_make(find: Callable[[], Row | None], make: Callable[[], Row]) -> tuple[Row, bool]:
    """The row that `find` finds, else the one that `make` saves, and whether it was made.

    A UNIQUE constraint must stand behind `make`: of two that make at once the later finds the other's row.
    """
    if (row := find()) is not None:
        return row, False
    try:
        with transaction.atomic():
            return make(), True
    except IntegrityError:
        if (row := find()) is None:
            raise
        return row, False


def batches(values: Iterable[Value], size: int = BATCH) -> Iterator[Sequence[Value]]:
    """`values` in lists of at most `size`, for queries that name each."""
    left = iter(values)
    while batch := list(islice(left, size)):
        yield batch


def referring(row: models.Model, *, besides: Collection[str] = ()) -> str:
    """What refers to a row, in words: `lots`, `packing lines`; empty where nothing does. One query a kind of row until the first.

    `besides` are the relations that don't count.
    """
    for relation in row._meta.related_objects:  # noqa: SLF001 - Django's documented API
        there: Any = relation.related_model._default_manager  # noqa: SLF001 - likewise
        if relation.get_accessor_name() not in besides and there.filter(**{relation.field.name: row}).exists():
            return str(there.model._meta.verbose_name_plural)  # noqa: SLF001 - likewise
    return ""
