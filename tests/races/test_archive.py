"""A workshop is saved as it is at one moment, whatever is done to it meanwhile; and of two loads of one archive one is kept."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from decimal import Decimal

import pytest
from django.db import connection
from django_scopes import scope, scopes_disabled

from buildplan.archive.problems import BadArchive
from buildplan.archive.restoring import Asked, restore
from buildplan.archive.saving import save
from inventory.models import Movement, Workshop
from inventory.stock import services as stock
from inventory.stock.queries import ledger_errors
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)

NOW = datetime(2027, 3, 1, 12, tzinfo=UTC)


def test_what_moves_while_an_archive_is_written_is_not_half_in_it_and_does_not_wait(workshop, storekeeper, lot, drawer, tmp_path, at_once):
    stock.receive(lot=lot, quantity=Decimal(10), place=drawer, on=factories.DAY, by=storekeeper)
    moved = []

    def somebody_uses_one():
        try:
            with scope(workshop=workshop):
                moved.append(stock.use(lot=lot, quantity=Decimal(1), place=drawer, on=factories.DAY, by=storekeeper))
        finally:
            connection.close()

    def told(rows):
        """Between two tables, once: on another connection, which must not have to wait."""
        if rows and not moved:
            with ThreadPoolExecutor(1) as pool:
                pool.submit(somebody_uses_one).result(timeout=15)

    saved = save(workshop=workshop, path=tmp_path / "one.zip", now=NOW, told=told)

    assert (saved.rows["inventory.Movement"], Movement.objects.count()) == (1, 2)

    found = at_once(lambda number: restore(asked=Asked(saved.path, code="COPY", link=True)) if number < 2 else None)[:2]

    kept = [one for one in found if not isinstance(one, Exception)]
    assert len(kept) == 1
    assert all(isinstance(one, BadArchive) for one in found if one not in kept)
    with scopes_disabled():
        assert Workshop.objects.filter(code="COPY").count() == 1
    assert ledger_errors() == []
