"""Who changed an editable row, and why."""

from typing import TypeVar

from django.db import models

Row = TypeVar("Row", bound=models.Model)
MOST_WHY = 100  # characters of a reason: simple-history's column


def changed_by(row: Row, by: models.Model | None, why: str = "") -> Row:
    """Name the member behind the next save or delete of `row`, and their reason where they gave one; the history keeps both."""
    row._history_user = by  # type: ignore[attr-defined]  # noqa: SLF001 - simple-history's documented hook
    row._change_reason = why or None  # type: ignore[attr-defined]  # noqa: SLF001 - likewise
    return row
