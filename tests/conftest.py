"""What every test may ask for: our workshop, and an outsider's beside it."""

import pytest
from django.db import connection
from django.test import TransactionTestCase
from django_scopes import scope, scopes_disabled

from inventory.stock import triggers
from tests import factories, needs


def pytest_configure():
    needs.refuse_what_is_absent()


def pytest_collection_modifyitems(items):
    needs.skip_what_cannot_run(items)


_teardown = TransactionTestCase._fixture_teardown


def _teardown_without_triggers(case):
    """SQLite empties a table by DELETE, which the ledger refuses: lift the triggers for the clean-up alone."""
    with connection.schema_editor() as editor:
        triggers.remove(None, editor)
    _teardown(case)
    with connection.schema_editor() as editor:
        triggers.install(None, editor)


TransactionTestCase._fixture_teardown = _teardown_without_triggers


@pytest.fixture
def outsider(db):
    """Another workshop with everything in it: nobody of ours may see or move any of it."""
    with scopes_disabled():
        return factories.furnished_workshop("OUTSIDE")


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
