"""A Saturday of sealing: two steps of 60 and 50 g, one before them, one that comes after, and two lots."""

from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction
from types import SimpleNamespace

import pytest

from buildplan.sealday import queries, services
from buildplan.sealday.services import PersonData
from tests import factories
from tests.factories import DAY

NOW = datetime(2027, 2, 20, 12, tzinfo=UTC)
SATURDAY = date(2027, 3, 13)
SUNDAY = date(2027, 3, 14)
WEEK = timedelta(days=7)
CREW = (PersonData("Ida", time(9), time(17)), PersonData("Jon", time(9), time(17)))


def seam(step, sealant, grams, code="KEEL"):
    """A seam that takes so many grams."""
    unset = {"length": None, "unit": "", "leg_a": None, "leg_b": None, "size_unit": ""}
    return factories.SeamFactory(step=step, sealant=sealant, code=code, shape="each", grams_each=Fraction(grams), **unset)


@pytest.fixture
def b2(workshop):
    known = {"gravity": Decimal("1.57"), "base": Decimal(100), "accelerator": Decimal(10)}
    return factories.ItemFactory(workshop=workshop, code="SEAL-B2", name="Sealant", kind="sealant", unit="g", lead_days=14, **known)


@pytest.fixture
def lots(bench, b2, drawer):
    """70 g that live through Monday, 200 g that live long."""
    return SimpleNamespace(
        old=factories.stock(factories.LotFactory(bench=bench, item=b2, code="S-1", expires_on=SUNDAY + timedelta(days=1)), 70, drawer).lot,
        new=factories.stock(factories.LotFactory(bench=bench, item=b2, code="S-2", expires_on=date(2027, 9, 1)), 200, drawer).lot,
    )


@pytest.fixture
def steps(project, b2):
    """In plan order: what masks, what seals, what fillets the day after, what fills with water two weeks later."""
    mask = factories.StepFactory(project=project, code="F3-03", planned_on=SATURDAY - timedelta(days=1))
    left = factories.StepFactory(project=project, code="F3-04", planned_on=SATURDAY, minutes=240, after=[mask])
    right = factories.StepFactory(project=project, code="F3-05", planned_on=SATURDAY, minutes=240, after=[mask])
    fillet = factories.StepFactory(project=project, code="F3-06", planned_on=SUNDAY, minutes=180, after=[left, right])
    water = factories.StepFactory(project=project, code="F3-08", planned_on=SATURDAY + 2 * WEEK, after=[fillet])
    seam(left, b2, 60)
    seam(right, b2, 50)
    return SimpleNamespace(mask=mask, left=left, right=right, fillet=fillet, water=water)


@pytest.fixture
def day(bench, steps, b2, owner):
    """Two people who place 20 g an hour each, 2 h of work life: 80 g a batch at most. 72 h of cure."""
    return planned(bench, SATURDAY, [steps.left, steps.right], b2, owner)


def planned(bench, on, steps, sealant, by, **said):
    """A seal day of whom nothing is missing, with the data sheet of one sealant."""
    figures = {"temperature_f": Fraction(75), "pace": Fraction(20), "division": Fraction("0.1"), **said}
    day = services.plan_seal_day(bench=bench, on=on, steps=steps, by=by, today=DAY, **figures)
    services.set_people(day=day, people=CREW, by=by)
    services.set_product(day=day, item=sealant, life_hours=Fraction(2), cure_hours=Fraction(72), by=by)
    return day


@pytest.fixture
def shown():
    return lambda day: queries.view(day, today=DAY, now=NOW)


def texts(reasons):
    return " | ".join(f"{reason.text} [{reason.source}]" for reason in reasons)
