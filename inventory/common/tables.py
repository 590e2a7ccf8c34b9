"""Many tables made by one operation of a migration."""

from collections.abc import Sequence
from typing import Any

from django.db.migrations.operations import CreateModel
from django.db.migrations.operations.base import Operation


class Tables(Operation):
    """Makes tables in their final form: operations that make models and then add to those same models.

    Django renders every model anew after each operation, which for a hundred tables that hang together takes most of a first `migrate`;
    after this one it renders them once.
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
