"""Rows that must exist once, whoever asks first."""

from collections.abc import Callable
from typing import TypeVar

from django.db import IntegrityError, models, transaction

Row = TypeVar("Row", bound=models.Model)


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
