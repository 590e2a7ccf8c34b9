"""Many tables, or many columns, made by one operation of a migration."""

from collections.abc import Sequence
from typing import Any

from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.operations import CreateModel
from django.db.migrations.operations.base import Operation


class _Together(Operation):
    """Operations of one kind, after which Django renders the models once.

    Else it renders every model anew after each, which for a hundred tables that hang together takes most of a first `migrate`.
    """

    reduces_to_sql = True
    reversible = True

    def __init__(self, operations: Sequence[Operation]) -> None:
        """`operations` as makemigrations wrote them."""
        self.operations = operations

    def deconstruct(self) -> tuple[str, list[Any], dict[str, Any]]:
        """How a migration writes it."""
        return self.__class__.__qualname__, [self.operations], {}

    def state_forwards(self, app_label: str, state: Any) -> None:
        """Without the rendered models, which are made again when somebody asks."""
        state.__dict__.pop("apps", None)
        for operation in self.operations:
            operation.state_forwards(app_label, state)


class Tables(_Together):
    """Makes tables in their final form: operations that make models and then add to those same models."""

    def database_forwards(self, app_label: str, schema_editor: Any, _from_state: Any, to_state: Any) -> None:
        """Each table with all its columns and constraints."""
        for model in self._models(app_label, schema_editor, to_state):
            schema_editor.create_model(model)

    def database_backwards(self, app_label: str, schema_editor: Any, from_state: Any, _to_state: Any) -> None:
        """The last one first."""
        for model in reversed(self._models(app_label, schema_editor, from_state)):
            schema_editor.delete_model(model)

    def _models(self, app_label: str, schema_editor: Any, state: Any) -> list[Any]:
        names = [operation.name for operation in self.operations if isinstance(operation, CreateModel)]
        models = [state.apps.get_model(app_label, name) for name in names]
        return [model for model in models if self.allow_migrate_model(schema_editor.connection.alias, model)]

    def describe(self) -> str:
        """What it does, in one line."""
        return "Make tables"


class Columns(_Together):
    """Adds columns to tables that are there: AddField operations. Each column may be null, or has a constant default of the database.

    Such a column needs no new table on SQLite either, where Django would copy the whole table for each.
    """

    def database_forwards(self, app_label: str, schema_editor: Any, _from_state: Any, to_state: Any) -> None:
        """Each column, with its default in the rows that are there."""
        for model, field in self._fields(app_label, schema_editor, to_state):
            BaseDatabaseSchemaEditor.add_field(schema_editor, model, field)

    def database_backwards(self, app_label: str, schema_editor: Any, from_state: Any, _to_state: Any) -> None:
        """The last one first."""
        for model, field in reversed(self._fields(app_label, schema_editor, from_state)):
            BaseDatabaseSchemaEditor.remove_field(schema_editor, model, field)

    def _fields(self, app_label: str, schema_editor: Any, state: Any) -> list[tuple[Any, Any]]:
        named: list[Any] = list(self.operations)
        models = [(state.apps.get_model(app_label, one.model_name), one.name) for one in named]
        alias = schema_editor.connection.alias
        return [(model, model._meta.get_field(name)) for model, name in models if self.allow_migrate_model(alias, model)]  # noqa: SLF001

    def describe(self) -> str:
        """What it does, in one line."""
        return "Add columns"
