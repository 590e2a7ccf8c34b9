"""Many rows of one table at once, where the ORM's own way is what takes the time.

`bulk_create` prepares each value of each row by several calls: for a batch of scans that took as long as all else together
(`tests.benchmarks.scans`). Here a value that is the same in all rows is prepared once, and one that the database takes as it is not at all.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from django.db import connection, models

from inventory.common.fields import QuantityField, to_thousandths
from inventory.common.rows import batches

_MOST_VALUES = 30_000  # of one statement: PostgreSQL takes 65,535, and SQLite 32,766


def insert(
    model: type[models.Model],
    same: Mapping[str, Any],
    names: Sequence[str],
    rows: Sequence[Sequence[Any]],
    instead: tuple[Sequence[str], Sequence[str]] | None = None,
) -> list[int]:
    """Insert `rows`, each with the values of `names`; give their ids, in order.

    `same` are values of all rows, and columns that neither names take the field's default. Names are those of columns
    (`workshop_id`). `instead`, where a row is there already: the columns by which it is known, and those that are then set.
    One statement, as long as the values of one fit.
    """
    fields = {field.attname: field for field in model._meta.concrete_fields if not field.primary_key}  # noqa: SLF001 - Django's documented API
    fixed = [(name, fields[name]) for name in fields if name not in names]
    constants = [field.get_db_prep_save(same[name] if name in same else field.get_default(), connection) for name, field in fixed]
    prepare = [_prepared(fields[name]) for name in names]
    columns = ", ".join(f'"{fields[name].column}"' for name in (*(name for name, _ in fixed), *names))
    marks = f"({', '.join(['%s'] * (len(fixed) + len(names)))})"
    ids: list[int] = []
    for batch in batches(rows, _MOST_VALUES // (len(fixed) + len(names))):
        values: list[Any] = []
        for row in batch:
            values += constants
            values += [value if ready is None else ready(value) for ready, value in zip(prepare, row, strict=True)]
        table, listed = model._meta.db_table, ", ".join([marks] * len(batch))  # noqa: SLF001 - Django's documented API
        ids += _insert(f"INSERT INTO {table} ({columns}) VALUES {listed}{_conflict(instead)} RETURNING id", values)  # noqa: S608 - names of our tables
    return ids


def _conflict(instead: tuple[Sequence[str], Sequence[str]] | None) -> str:
    if instead is None:
        return ""
    known, changed = instead
    return f" ON CONFLICT ({', '.join(known)}) DO UPDATE SET {', '.join(f'{name} = EXCLUDED.{name}' for name in changed)}"


def _insert(sql: str, values: list[Any]) -> list[int]:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        return [row[0] for row in cursor.fetchall()]


def _prepared(field: "models.Field[Any, Any]") -> Callable[[Any], Any] | None:
    """How a value of the field is made ready; None for one that is taken as it is. Values are of the field's own type already."""
    ready = _ready(field)
    return None if ready is None else lambda value: None if value is None else ready(value)


def _ready(field: "models.Field[Any, Any]") -> Callable[[Any], Any] | None:
    if isinstance(field, models.DateTimeField):
        return connection.ops.adapt_datetimefield_value
    if isinstance(field, models.DateField):
        return connection.ops.adapt_datefield_value
    if isinstance(field, models.UUIDField):
        return None if connection.features.has_native_uuid_field else lambda value: value.hex
    if isinstance(field, models.JSONField):
        return lambda value: connection.ops.adapt_json_value(value, field.encoder)
    return to_thousandths if isinstance(field, QuantityField) else None
