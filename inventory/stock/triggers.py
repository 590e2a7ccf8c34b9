"""The triggers that make the ledger append-only.

A migration that alters the movement table must end with `Guard()`: SQLite rebuilds an altered table and drops its triggers
without a word. `tests/inventory/stock/test_triggers.py` proves that they bite after all migrations.
"""

from typing import Any

from django.db.migrations.operations import RunPython

TABLE = "inventory_movement"
SENTENCE = "the ledger is append-only: undo a movement by its reverse"

_SQLITE = [
    f"CREATE TRIGGER IF NOT EXISTS ledger_no_{what.lower()} BEFORE {what} ON {TABLE} BEGIN SELECT RAISE(ABORT, '{SENTENCE}'); END"
    for what in ("UPDATE", "DELETE")
]
_POSTGRESQL = [
    (
        f"CREATE OR REPLACE FUNCTION ledger_refuse() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{SENTENCE}' USING ERRCODE = 'integrity_constraint_violation'; END $$"
    ),
    f"DROP TRIGGER IF EXISTS ledger_append_only ON {TABLE}",
    f"CREATE TRIGGER ledger_append_only BEFORE UPDATE OR DELETE ON {TABLE} FOR EACH ROW EXECUTE FUNCTION ledger_refuse()",
]
_DROP_SQLITE = [f"DROP TRIGGER IF EXISTS ledger_no_{what}" for what in ("update", "delete")]
_DROP_POSTGRESQL = [f"DROP TRIGGER IF EXISTS ledger_append_only ON {TABLE}"]


def _run(editor: Any, sqlite: list[str], postgresql: list[str]) -> None:
    for statement in sqlite if editor.connection.vendor == "sqlite" else postgresql:
        editor.execute(statement)


def install(_apps: Any, editor: Any) -> None:
    """Make the triggers, or make them again."""
    _run(editor, _SQLITE, _POSTGRESQL)


def remove(_apps: Any, editor: Any) -> None:
    """Take the triggers away: for a migration backwards, and for a test database that is emptied."""
    _run(editor, _DROP_SQLITE, _DROP_POSTGRESQL)


class Guard(RunPython):
    """Last operation of every migration that alters the movement table."""

    def __init__(self) -> None:
        """No arguments, so that a migration reads `Guard()`."""
        super().__init__(install, remove)
