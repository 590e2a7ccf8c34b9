"""A sealant with a batch of it, and a fridge with a thermometer."""

from datetime import date, datetime, timedelta
from fractions import Fraction
from http import HTTPStatus

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory.shelflife.storage import Reading
from tests import factories


@pytest.fixture
def inspector(workshop):
    return factories.MemberFactory(workshop=workshop, role="inspector", name="Ines")


@pytest.fixture
def sealant(workshop):
    """Nine months of life; half of it for each pass."""
    return factories.ItemFactory(
        workshop=workshop, code="SEAL-B2", kind="sealant", unit="g", life_months=9, extend_part=Fraction(1, 2), open_life_days=30
    )


@pytest.fixture
def batch(bench, sealant):
    """Usable through 2027-01-31."""
    return factories.LotFactory(bench=bench, item=sealant, code="R7", made_on=date(2026, 4, 30), made_as="month")


@pytest.fixture
def fridge(workshop):
    return factories.PlaceFactory(workshop=workshop, path="Fridge")


@pytest.fixture
def morning():
    """Eight o'clock on the day that `factories.stock` receives, so that what it puts lies there from midnight on."""
    return timezone.make_aware(datetime.combine(factories.DAY, datetime.min.time())) + timedelta(hours=8)


@pytest.fixture
def readings(morning):
    """Readings an hour apart, from the morning on."""

    def readings(*celsius, start=morning):
        return [Reading(start + timedelta(hours=hour), degrees) for hour, degrees in enumerate(celsius)]

    return readings


@pytest.fixture
def query_counts():
    """How many queries `ask` takes with one row and with many; `fill(count)` adds rows."""

    def query_counts(ask, fill):
        found = []
        for more in (1, 8):
            fill(more)
            ask()  # what is only read once for a process is read
            with CaptureQueriesContext(connection) as seen:
                assert ask().status_code == HTTPStatus.OK
            found.append(len(seen))
        return found

    return query_counts
