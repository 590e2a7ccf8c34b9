"""That nothing is forgotten: every table is in an archive or left out for a reason, and every way in which a row names another is known."""

import re

import pytest
from django.apps import apps
from django.conf import settings
from django.db import models

from buildplan.archive import cells, kinds
from buildplan.archive.tables import Kind, all_tables, original

START = re.compile(r"""["']([a-z]+(?:-[a-z]+)*):(?:\{|["'])""")  # of f"step:{...}", and of a text that is nothing but such a start
FILES = [
    path for app in ("inventory", "buildplan") for path in sorted((settings.BASE_DIR / app).rglob("*.py")) if "migrations" not in path.parts
]
OURS = ("inventory", "buildplan")
# What no file of an archive holds, of any table of a workshop: said here by hand, so that a column that goes missing shows.
UNWRITTEN = {
    "inventory.Device": {"prefix", "digest"},
    "inventory.FeedAddress": {"prefix", "digest"},
    "inventory.HistoricalDevice": {"prefix"},
    "inventory.HistoricalFeedAddress": {"prefix"},
    "inventory.HistoricalInvitation": {"prefix"},
    "inventory.HistoricalMember": {"user"},
    "inventory.Invitation": {"prefix", "digest"},
    "inventory.Photo": {"file"},
}
OF_ALL = {"workshop", "history_id", "history_relation"}


def label(model):
    return model._meta.label


def test_every_table_is_in_the_archive_or_left_out_for_a_reason():
    found = apps.get_models(include_auto_created=True)
    left = {label(model) for model in found if label(model) not in all_tables()}
    reasons = {label(model) for model in found if model._meta.app_label in kinds.APPS_LEFT_OUT} | set(kinds.LEFT_OUT)

    assert left <= reasons | {label(model) for model in found if original(model) and label(original(model)) in reasons}
    assert set(kinds.LEFT_OUT) <= {label(model) for model in found}, "the reason of a table that is gone"
    assert set(kinds.APPS_LEFT_OUT) == {model._meta.app_label for model in found} - set(OURS)
    assert all(kinds.LEFT_OUT.values())
    assert len(left & set(all_tables())) == 0


def test_every_table_of_the_archive_knows_its_workshop_and_numbers_its_rows():
    for name, table in all_tables().items():
        fields = {field.name for field in table.model._meta.concrete_fields}
        assert "workshop" in fields or kinds.WORKSHOP in (name, table.of), name
        assert isinstance(table.model._meta.pk, models.AutoField | models.BigAutoField), name
        assert not table.model._meta.local_many_to_many, f"{name}: a many-to-many table has no workshop"


def test_every_column_is_written_but_secrets_and_what_is_the_same_in_all_rows():
    for name, table in all_tables().items():
        fields = {field.name for field in table.model._meta.concrete_fields}
        assert fields - set(table.names) - OF_ALL == UNWRITTEN.get(name, set()), name


def test_no_column_that_is_named_like_a_secret_is_written_unless_it_is_said_why():
    for name, table in all_tables().items():
        for column in table.names:
            if kinds.SECRET_NAMES & set(column.split("_")):
                path = f"{name.replace('.Historical', '.')}.{column}"
                assert path in kinds.NO_SECRET, f"{path}: hold it back, or say in NO_SECRET why it is no secret"


def test_every_column_can_be_written_and_read(db):
    for table in all_tables().values():
        for column in table.columns:
            if column.kind not in {Kind.LINK, Kind.ACCOUNT}:
                assert cells.writer(column.field)
                assert cells.reader(column.field)


def test_every_link_leads_to_a_table_of_the_archive():
    for name, table in all_tables().items():
        for column in table.columns:
            if column.kind is Kind.LINK:
                assert column.target in all_tables(), f"{name}.{column.name} names a row of {column.target}, which is left out"


def test_all_json_is_known_by_whether_it_holds_ids():
    found = {column.target for table in all_tables().values() for column in table.columns if column.kind is Kind.JSON}

    assert found == set(kinds.JSON), "say in kinds.JSON how the ids in it are renamed, or that it holds none"


def test_every_kind_of_reference_in_the_code_is_known():
    found = {}
    for path in FILES:
        if "archive" in path.parts:
            continue
        for start in START.findall(path.read_text(encoding="utf-8")):
            found.setdefault(start, path)

    strange = {start: str(path) for start, path in found.items() if start not in kinds.REFS and start not in kinds.NO_REFS}
    assert strange == {}, "a kind of reference that an archive doesn't know: add it to REFS, or to NO_REFS if it names no row"
    assert set(kinds.REFS) - set(found) == set()
    assert set(kinds.NO_REFS) - set(found) == set()


def test_every_reference_leads_to_a_table_of_the_archive():
    named = [*kinds.REFS.values(), *filter(None, (table for each in kinds._SUBJECTS.values() for table in each))]

    assert set(named) <= set(all_tables())


@pytest.mark.parametrize("path", sorted({*kinds.REF_COLUMNS, *kinds.TEXTS, *kinds.JSON, *kinds.NO_SECRET}))
def test_what_is_registered_is_there(path):
    table, _, column = path.rpartition(".")
    assert column in all_tables()[table].names


def test_each_file_has_its_own_name():
    files = [table.file for table in all_tables().values()]

    assert len(set(files)) == len(files)


def test_ids_in_json_and_texts_are_renamed_and_nothing_else_is():
    def new(table, old):
        return (
            old
            + {"inventory.Member": 100, "inventory.Photo": 200, "inventory.Lot": 300, "inventory.Place": 400, "buildplan.Step": 500}[table]
        )

    seen = {"hours": [[10, 30], [9, 60], ["Wren", 90]], "photos": [1, 2], "took": ["lot 9"], "text": "9"}
    renamed = kinds.JSON["buildplan.Signature.seen"](seen, new)
    assert renamed == {"hours": [["Wren", 90], [109, 60], [110, 30]], "photos": [201, 202], "took": ["lot 9"], "text": "9"}
    assert renamed["hours"] == sorted([[110, 30], [109, 60], ["Wren", 90]], key=str), (
        "in the order in which it is compared with what is now"
    )
    scan = kinds.JSON["inventory.Scan.answer"]
    assert scan({"lot": 7, "choices": [{"lot": 8, "bag": "7A"}], "quantity": 7, "near": [7]}, new) == {
        "lot": 307,
        "choices": [{"lot": 308, "bag": "7A"}],
        "quantity": 7,
        "near": [7],
    }
    assert scan({"lot": "R7", "tally": None, "movements": []}, new) == {"lot": "R7", "tally": None, "movements": []}
    subject = kinds.TEXTS["buildplan.Task.subject"]
    for text, says in (
        ("shelf:1:2", "shelf:301:402"),
        ("step:7:lot:9", "step:507:lot:309"),
        ("step:7:item:9", "step:507:item:9"),
        ("step:7:item:A:9", "step:507:item:A:9"),
        ("free text: 9", "free text: 9"),
        ("", ""),
    ):
        assert subject(text, new) == says
    assert kinds.TEXTS["buildplan.PickTick.steps"]("1,2,30", new) == "501,502,530"


@pytest.mark.parametrize(
    "value", [None, 1, "x", [], {}, {"photos": 1, "hours": 1, "points": 1}, {"photos": [1, None], "hours": [1, [], None], "points": [1]}]
)
def test_json_of_another_shape_is_left_as_it_is(value):
    for rename in kinds.JSON.values():
        assert rename(value, lambda _table, old: old) == value
