"""The triggers that keep what was written down of marked pieces as it was written.

A migration that alters the table of mark events must end with `GuardEvents()`: SQLite rebuilds an altered table and drops its triggers
without a word. `tests/buildplan/fitting/test_assemblies.py` fails where they are gone.
"""

from typing import Any

from django.db.migrations.operations import RunPython

TABLE = "buildplan_markevent"
SENTENCE = "what was done to a piece stays as it was written: add a line that puts it right"

_SQLITE = [
    f"CREATE TRIGGER IF NOT EXISTS mark_event_no_{what.lower()} BEFORE {what} ON {TABLE} BEGIN SELECT RAISE(ABORT, '{SENTENCE}'); END"
    for what in ("UPDATE", "DELETE")
]
_POSTGRESQL = [
    (
        f"CREATE OR REPLACE FUNCTION mark_event_refuse() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{SENTENCE}' USING ERRCODE = 'integrity_constraint_violation'; END $$"
    ),
    f"DROP TRIGGER IF EXISTS mark_event_append_only ON {TABLE}",
    f"CREATE TRIGGER mark_event_append_only BEFORE UPDATE OR DELETE ON {TABLE} FOR EACH ROW EXECUTE FUNCTION mark_event_refuse()",
]
_DROP_SQLITE = [f"DROP TRIGGER IF EXISTS mark_event_no_{what}" for what in ("update", "delete")]
_DROP_POSTGRESQL = [f"DROP TRIGGER IF EXISTS mark_event_append_only ON {TABLE}"]


def _run(editor: Any, sqlite: list[str], postgresql: list[str]) -> None:
    for statement in sqlite if editor.connection.vendor == "sqlite" else postgresql:
        editor.execute(statement)


def install(_apps: Any, editor: Any) -> None:
    """Make the triggers, or make them again."""
    _run(editor, _SQLITE, _POSTGRESQL)


def remove(_apps: Any, editor: Any) -> None:
    """Take the triggers away: for a migration backwards, and for a test database that is emptied."""
    _run(editor, _DROP_SQLITE, _DROP_POSTGRESQL)


class GuardEvents(RunPython):
    """Last operation of every migration that alters the table of mark events."""

    def __init__(self) -> None:
        """No arguments, so that a migration reads `GuardEvents()`."""
        super().__init__(install, remove)
