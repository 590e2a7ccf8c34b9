"""New ids for the rows of an archive: taken from the table's own numbers, so that nobody else gets them, and in the order of the old.

An old id that no row of the archive has (of what was deleted, and is still named in a history or a reference) gets a number of its own too:
else it would come to name a stranger.
"""

from array import array
from bisect import bisect_left
from collections.abc import Iterator

from django.db import connection, models

_AT_ONCE = 10_000


class Numbers:
    """The ids of one table, old to new."""

    def __init__(self, model: type[models.Model]) -> None:
        """Nothing is taken yet."""
        self._table = model._meta.db_table  # noqa: SLF001 - Django's documented API
        self._old, self._new = array("q"), array("q")
        self._others: dict[int, int] = {}
        self._last = 0

    def see(self, old: int) -> None:
        """There is a row of this id."""
        self._old.append(old)

    def take(self) -> int | None:
        """Take a new id for each row that was seen; gives the id that two rows have, if any."""
        self._old = array("q", sorted(self._old))
        if twice := next((one for one, other in zip(self._old, self._old[1:], strict=False) if one == other), None):
            return twice
        self._new = array("q", sorted(self._taken(len(self._old))))
        return None

    def row(self, old: int) -> int | None:
        """The new id of a row of the archive; None where it has no such row."""
        at = bisect_left(self._old, old)
        return self._new[at] if at < len(self._old) and self._old[at] == old else None

    def any(self, old: int) -> int:
        """The new id of a row, or of one that is gone."""
        found = self.row(old)
        if found is not None:
            return found
        if old not in self._others:
            (self._others[old],) = self._taken(1)
        return self._others[old]

    def settle(self) -> None:
        """Keep the numbers of what is gone from being given again. PostgreSQL has done so."""
        if connection.vendor == "sqlite" and self._others:
            with connection.cursor() as cursor:
                cursor.execute("DELETE FROM sqlite_sequence WHERE name = %s", [self._table])
                cursor.execute("INSERT INTO sqlite_sequence (name, seq) VALUES (%s, %s)", [self._table, self._last])

    def _taken(self, count: int) -> Iterator[int]:
        return self._from_counter(count) if connection.vendor == "sqlite" else self._from_sequence(count)

    def _from_counter(self, count: int) -> Iterator[int]:
        """SQLite: who loads holds the one write lock, so what follows the last number is free."""
        if not self._last:
            with connection.cursor() as cursor:
                cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = %s", [self._table])
                found = cursor.fetchone()
            self._last = found[0] if found else 0
        first, self._last = self._last + 1, self._last + count
        return iter(range(first, first + count))

    def _from_sequence(self, count: int) -> Iterator[int]:
        with connection.cursor() as cursor:
            for start in range(0, count, _AT_ONCE):
                many = min(_AT_ONCE, count - start)
                cursor.execute("SELECT nextval(pg_get_serial_sequence(%s, 'id')) FROM generate_series(1, %s)", [self._table, many])
                yield from (row[0] for row in cursor.fetchall())
