"""What every test may ask for: our workshop, and an outsider's beside it."""

import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from functools import partial
from http import HTTPStatus

import hypothesis
import pytest
from django.conf import settings
from django.core.cache import cache
from django.core.management import call_command
from django.db import connection
from django.test import Client, TransactionTestCase
from django.test.utils import CaptureQueriesContext
from django_scopes import scope, scopes_disabled

from buildplan.fitting import triggers as mark_events
from inventory.stock import triggers
from inventory.workshop.middleware import seen_key
from inventory.workshop.services import issue_device
from tests import factories, needs
from tests.kept import KeptRows

# A slow moment of the machine is no fault of the code.
hypothesis.settings.register_profile("any machine", deadline=None)
hypothesis.settings.load_profile("any machine")


def pytest_configure():
    needs.refuse_what_is_absent()
    # A live server's thread that kept its connection would keep PostgreSQL from dropping the test database.
    connection.settings_dict["CONN_MAX_AGE"] = 0
    # Passwords of tests guard nothing: the slow hash of the site would only be waited for.
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


def pytest_collection_modifyitems(config, items):
    needs.skip_what_cannot_run(items)
    needs.leave_out_what_is_alike_on_each_database(config, items)


def _empty(case):
    """Empty every table behind a test that committed, without making Django's rights and types anew: nothing asks for those.

    SQLite empties a table by DELETE, which the ledger refuses: the triggers are lifted for that moment alone.
    """
    with connection.schema_editor() as editor:
        triggers.remove(None, editor)
        mark_events.remove(None, editor)
    call_command("flush", verbosity=0, interactive=False, reset_sequences=False, inhibit_post_migrate=True)
    with connection.schema_editor() as editor:
        triggers.install(None, editor)
        mark_events.install(None, editor)


TransactionTestCase._fixture_teardown = _empty


@pytest.fixture(scope="session")
def migrated_file(django_db_setup, tmp_path_factory):
    """An SQLite file with all tables and nothing in them, to copy: making one takes as long as dozens of tests."""
    path = tmp_path_factory.mktemp("migrated") / "empty.sqlite3"
    if connection.vendor == "sqlite":
        with closing(sqlite3.connect(connection.settings_dict["NAME"])) as ours, closing(sqlite3.connect(path)) as copy:
            ours.backup(copy)
    else:
        environment = {**os.environ, "DATABASE_URL": f"sqlite:///{path}"}
        subprocess.run([sys.executable, "manage.py", "migrate", "--verbosity", "0"], cwd=settings.BASE_DIR, env=environment, check=True)
    return path


@pytest.fixture
def own_file(migrated_file, tmp_path):
    """A database of a process of its own: all tables, nothing in them."""
    return shutil.copy(migrated_file, tmp_path / "own.sqlite3")


OUTSIDE = KeptRows(partial(factories.furnished_workshop, "OUTSIDE"))


@pytest.fixture
def outsider(db, settings):
    """Another workshop with everything in it: nobody of ours may see or move any of it."""
    settings.SIMPLE_HISTORY_ENABLED = False  # nobody asks for theirs
    with scopes_disabled():
        furnished = OUTSIDE.put()
    settings.SIMPLE_HISTORY_ENABLED = True
    return furnished


@pytest.fixture
def workshop(db, outsider):
    """Our workshop, its scope active for the whole test."""
    with scopes_disabled():
        ours = factories.WorkshopFactory(code="MARSH")
    with scope(workshop=ours):
        yield ours


@pytest.fixture
def bench(workshop):
    return factories.BenchFactory(workshop=workshop, code="TERN")


@pytest.fixture
def shared_bench(workshop):
    return factories.BenchFactory(workshop=workshop, code="POOL", shared=True)


@pytest.fixture
def other_bench(workshop):
    return factories.BenchFactory(workshop=workshop, code="PLOVER")


@pytest.fixture
def owner(workshop):
    return factories.MemberFactory(workshop=workshop, role="owner")


@pytest.fixture
def storekeeper(workshop):
    return factories.MemberFactory(workshop=workshop, role="storekeeper")


@pytest.fixture
def builder(workshop):
    return factories.MemberFactory(workshop=workshop, role="builder")


@pytest.fixture
def reader(workshop):
    return factories.MemberFactory(workshop=workshop, role="reader")


@pytest.fixture
def item(workshop):
    return factories.ItemFactory(workshop=workshop)


@pytest.fixture
def lot(bench, item):
    return factories.LotFactory(bench=bench, item=item)


@pytest.fixture
def drawer(workshop):
    return factories.PlaceFactory(workshop=workshop, path="Hangar/Rack 1/Drawer 3")


@pytest.fixture
def project(bench):
    return factories.ProjectFactory(bench=bench, code="TERN-1")


@pytest.fixture
def as_member(client):
    """The test client, signed in as a member."""

    def as_member(member):
        client.force_login(member.user, backend="django.contrib.auth.backends.ModelBackend")
        cache.set(seen_key(client.session.session_key), True)  # seen within the minute: a page then costs what it costs
        return client

    return as_member


@pytest.fixture
def as_device():
    """A client that sends the token of a new device of a member, with these scopes."""

    def as_device(member, *scopes):
        _, token = issue_device(member=member, name="Scanner", scopes=scopes or ("manage",), by=member)
        return Client(headers={"authorization": f"Bearer {token}"}, enforce_csrf_checks=True)

    return as_device


@pytest.fixture(autouse=True)
def _nothing_counted():
    """Requests of one test don't count against the rate of the next."""
    cache.clear()


@pytest.fixture(autouse=True)
def _uploads_apart(settings, tmp_path):
    """Photos of a test lie in a folder of its own."""
    settings.MEDIA_ROOT = tmp_path / "uploads"


@pytest.fixture
def queries_of(as_member):
    """How many SQL queries a page takes for a member."""

    def queries_of(member, address):
        client = as_member(member)
        with CaptureQueriesContext(connection) as found:
            assert client.get(address).status_code == HTTPStatus.OK
        return len(found)

    return queries_of
