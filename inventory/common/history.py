"""Who changed an editable row, and why."""

from collections.abc import Hashable, Iterable, Mapping, Sequence
from typing import Any, Literal, TypeVar

from django.db import connection, models
from django.utils import timezone
from simple_history.utils import get_history_manager_for_model

from inventory.common.rows import BATCH, batches

Row = TypeVar("Row", bound=models.Model)
Key = TypeVar("Key", bound=Hashable)
MOST_WHY = 100  # characters of a reason: simple-history's column


def changed_by(row: Row, by: models.Model | None, why: str = "") -> Row:
    """Name the member behind the next save or delete of `row`, and their reason where they gave one; the history keeps both."""
    row._history_user = by  # type: ignore[attr-defined]  # noqa: SLF001 - simple-history's documented hook
    row._change_reason = why or None  # type: ignore[attr-defined]  # noqa: SLF001 - likewise
    return row


def create_many(rows: Sequence[Row], by: models.Model | None) -> list[Row]:
    """Save new rows of one model and note that they were made. A fixed number of queries for each 500."""
    if not rows:
        return []
    model = type(rows[0])
    made = model._default_manager.bulk_create(rows, batch_size=BATCH)  # noqa: SLF001 - Django's documented API
    note(model, [row.pk for row in made], "+", by)
    return made


def note(model: type[models.Model], ids: Iterable[int], what: Literal["+", "~", "-"], by: models.Model | None) -> None:
    """Copy rows as they are into their history: made, changed, or about to be deleted, all at once.

    The database copies: simple-history would build each row a second time in Python, which takes longer than to save them.
    """
    history, table = get_history_manager_for_model(model).model, model._meta.db_table  # noqa: SLF001 - Django's documented API
    columns = ", ".join(connection.ops.quote_name(field.column) for field in history.tracked_fields)
    start = (
        f"INSERT INTO {history._meta.db_table} ({columns}, history_relation_id, history_date, history_type, history_user_id) "  # noqa: S608, SLF001 - names of our tables
        f"SELECT {columns}, id, %s, %s, %s FROM {table} WHERE id IN "
    )
    said = [connection.ops.adapt_datetimefield_value(timezone.now()), what, None if by is None else by.pk]
    with connection.cursor() as cursor:
        for batch in batches(ids):
            cursor.execute(f"{start}({', '.join(['%s'] * len(batch))})", [*said, *batch])


def assign(row: models.Model, fields: Mapping[str, object]) -> bool:
    """Set `fields` on `row`; whether that changes any."""
    differing = {name: value for name, value in fields.items() if getattr(row, name) != value}
    for name, value in differing.items():
        setattr(row, name, value)
    return bool(differing)


def update_many(model: type[Row], rows: Sequence[Row], fields: Sequence[str], by: models.Model | None) -> None:
    """Save these fields of changed rows of one model and note that they were changed."""
    model._default_manager.bulk_update(rows, fields, batch_size=BATCH)  # noqa: SLF001 - Django's documented API
    note(model, [row.pk for row in rows], "~", by)


def delete_many(model: type[Row], rows: Sequence[Row], by: models.Model | None) -> None:
    """Delete rows that nothing refers to: Django would look for such rows, and note the end of each by itself."""
    note(model, [row.pk for row in rows], "-", by)
    for batch in batches(row.pk for row in rows):
        doomed = model._default_manager.filter(pk__in=batch)  # noqa: SLF001 - likewise
        doomed._raw_delete(doomed.db)  # noqa: SLF001 - what delete() itself comes down to


def put_many(
    model: type[Row],
    present: Mapping[Key, Row],
    wanted: Mapping[Key, Mapping[str, Any]],
    by: models.Model | None,
) -> list[Row]:
    """Make the rows of one model what `wanted` says, in place: a row keeps its identity by its key. Gives back those removed.

    Only rows that differ are written, in bulk.
    """
    gone = [row for key, row in present.items() if key not in wanted]
    changed = [present[key] for key, fields in wanted.items() if key in present and assign(present[key], fields)]
    delete_many(model, gone, by)
    update_many(model, changed, sorted({name for fields in wanted.values() for name in fields}), by)
    create_many([model(**fields) for key, fields in wanted.items() if key not in present], by)
    return gone
