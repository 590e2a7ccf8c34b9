"""Tables made by one operation are what the models say, and what the single operations would have made."""

import pytest
from django.apps import apps
from django.db import connection, migrations, models
from django.db.migrations.state import ProjectState

from inventory.common.tables import Columns, Tables


def made():
    """Two models, one of which only later points at the other."""
    return [
        migrations.CreateModel("Shelf", [("id", models.BigAutoField(primary_key=True)), ("name", models.CharField(max_length=20))]),
        migrations.CreateModel("Jar", [("id", models.BigAutoField(primary_key=True)), ("grams", models.IntegerField())]),
        migrations.AddField("jar", "shelf", models.ForeignKey("shelves.shelf", on_delete=models.PROTECT)),
        migrations.AddConstraint("jar", models.CheckConstraint(condition=models.Q(grams__gt=0), name="jar_holds_something")),
    ]


def test_state_is_that_of_the_single_operations():
    together, singly = ProjectState(), ProjectState()
    _ = together.apps  # rendered already, as it is in a migrate
    Tables(made()).state_forwards("shelves", together)
    for operation in made():
        operation.state_forwards("shelves", singly)

    assert together.models.keys() == singly.models.keys()
    assert all(together.models[key] == singly.models[key] for key in singly.models)


@pytest.mark.django_db(transaction=True)
def test_tables_come_and_go():
    operation, before, after = Tables(made()), ProjectState(), ProjectState()
    operation.state_forwards("shelves", after)
    with connection.schema_editor() as editor:
        operation.database_forwards("shelves", editor, before, after)
    with connection.cursor() as cursor:
        assert "jar_holds_something" in connection.introspection.get_constraints(cursor, "shelves_jar")

    with connection.schema_editor() as editor:
        operation.database_backwards("shelves", editor, after, before)
    assert not {"shelves_jar", "shelves_shelf"} & set(connection.introspection.table_names())


@pytest.mark.django_db(transaction=True)
def test_columns_come_with_their_defaults_and_go():
    tables, before = Tables(made()), ProjectState()
    columns = Columns(
        [
            migrations.AddField("shelf", "colour", models.CharField(max_length=9, default="grey", db_default="grey")),
            migrations.AddField("shelf", "depth", models.IntegerField(null=True)),
        ]
    )
    tables.state_forwards("shelves", before)
    after = before.clone()
    columns.state_forwards("shelves", after)
    with connection.schema_editor() as editor:
        tables.database_forwards("shelves", editor, ProjectState(), before)
    before.apps.get_model("shelves", "shelf").objects.create(name="Top")
    with connection.schema_editor() as editor:
        columns.database_forwards("shelves", editor, before, after)
    assert after.apps.get_model("shelves", "shelf").objects.values_list("name", "colour", "depth").get() == ("Top", "grey", None)

    with connection.schema_editor() as editor:
        columns.database_backwards("shelves", editor, after, before)
    assert before.apps.get_model("shelves", "shelf").objects.values_list().get()[1:] == ("Top",)
    with connection.schema_editor() as editor:
        tables.database_backwards("shelves", editor, before, ProjectState())


@pytest.mark.django_db
@pytest.mark.parametrize("app", ["inventory", "buildplan"])
def test_every_constraint_and_index_of_the_models_is_in_the_database(app):
    missing = []
    for model in apps.get_app_config(app).get_models():
        named = {one.name for one in (*model._meta.constraints, *model._meta.indexes)}
        with connection.cursor() as cursor:
            found = connection.introspection.get_constraints(cursor, model._meta.db_table)
        missing += [f"{model.__name__}: {name}" for name in sorted(named - found.keys())]

    assert not missing
