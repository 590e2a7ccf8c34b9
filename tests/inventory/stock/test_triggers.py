"""The ledger's triggers, as they are after all migrations."""

import pytest
from django.db import DatabaseError, transaction

from inventory.models import Movement
from tests import factories


@pytest.fixture
def movement(lot):
    factories.stock(lot, 5)
    return Movement.objects.get()


def test_ledger_refuses_update(movement):
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        Movement.objects.filter(pk=movement.pk).update(note="changed")


def test_ledger_refuses_delete(movement):
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        Movement.objects.filter(pk=movement.pk).delete()
