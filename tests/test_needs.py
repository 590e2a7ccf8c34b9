"""A run can't pass by leaving out what it was meant to run."""

import shutil
from types import SimpleNamespace

import pytest
from django.db import connection

from tests import needs

OTHER = {"sqlite": "postgres", "postgresql": "sqlite"}


def test_required_chromium_that_is_absent_stops_the_run(monkeypatch):
    monkeypatch.setenv("RIVETLOFT_REQUIRE", "chromium")
    monkeypatch.setattr(shutil, "which", lambda _: None)

    with pytest.raises(pytest.UsageError, match="chromium on PATH"):
        needs.refuse_what_is_absent()


def test_run_on_another_database_than_required_stops(monkeypatch):
    monkeypatch.setenv("RIVETLOFT_REQUIRE", OTHER[connection.vendor])

    with pytest.raises(pytest.UsageError, match=f"this run is on {connection.vendor}"):
        needs.refuse_what_is_absent()


def test_unknown_word_stops_the_run(monkeypatch):
    monkeypatch.setenv("RIVETLOFT_REQUIRE", "postgress")

    with pytest.raises(pytest.UsageError, match="postgress: write chromium, gettext, sqlite or postgres"):
        needs.refuse_what_is_absent()


@pytest.mark.parametrize("required", ["", None])
def test_nothing_required_stops_nothing(monkeypatch, required):
    monkeypatch.delenv("RIVETLOFT_REQUIRE", raising=False)
    if required is not None:
        monkeypatch.setenv("RIVETLOFT_REQUIRE", required)

    needs.refuse_what_is_absent()


def test_run_of_databases_alone_leaves_out_what_touches_none(monkeypatch, request):
    monkeypatch.setenv("RIVETLOFT_TESTS", "database")
    items, told = [request.node], []

    def tell(*, items):
        told.extend(items)

    config = SimpleNamespace(hook=SimpleNamespace(pytest_deselected=tell))

    needs.leave_out_what_is_alike_on_each_database(config, items)

    assert (items, told) == ([], [request.node])


def test_run_of_databases_alone_keeps_what_touches_one(db, request):
    assert needs.asks_the_database(request.node)


@pytest.mark.alike
def test_run_of_databases_alone_leaves_out_what_is_alike(db, request):
    assert not needs.asks_the_database(request.node)


def test_unknown_choice_of_tests_stops_the_run(monkeypatch, request):
    monkeypatch.setenv("RIVETLOFT_TESTS", "databases")

    with pytest.raises(pytest.UsageError, match="databases: write database"):
        needs.leave_out_what_is_alike_on_each_database(request.config, [])


@pytest.mark.postgres
@pytest.mark.django_db
def test_marked_test_runs_on_postgresql_alone():
    with connection.cursor() as cursor:
        cursor.execute("SELECT version()")
        assert cursor.fetchone()[0].startswith("PostgreSQL")
