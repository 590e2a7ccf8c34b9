"""A section with two steps, and people to close it up."""

from datetime import UTC, datetime
from fractions import Fraction
from uuid import uuid4

import pytest

from buildplan.closeup import services
from buildplan.closeup.services import Measured, Read, Stated
from buildplan.closeup.starting import CODES, Fact
from inventory.workshop.memberships import set_holders
from tests import factories

NOW = datetime(2027, 2, 20, 12, tzinfo=UTC)
MADE = tuple(code for code in CODES if code != Fact.SEEN)


@pytest.fixture
def step(project):
    return factories.StepFactory(project=project, code="K1-01", title="Fit the baffles")


@pytest.fixture
def section(step):
    factories.StepFactory(project=step.project, section=step.section, code="K1-02", title="Seal the ends")
    return step.section


@pytest.fixture
def inspector(workshop):
    return factories.MemberFactory(workshop=workshop, role="inspector", name="Amos Reed")


@pytest.fixture
def holder(bench, builder, owner):
    """The builder who holds the bench."""
    set_holders(bench=bench, members=[builder], by=owner)
    return builder


@pytest.fixture
def ticked(section, builder, inspector):
    """Every point of the starting list is ticked."""
    for code in MADE:
        services.tick(section=section, point=code, by=builder, now=NOW)
    services.tick(section=section, point=Fact.SEEN, by=inspector, now=NOW)
    return section


@pytest.fixture
def close(section, builder):
    """Close the section up."""

    def close(by=builder, reasons=None, key=None, now=NOW, **said):
        return services.close(section=section, reasons=reasons or {}, by=by, now=now, key=key or uuid4(), **said)

    return close


LIMIT = {"drop": Measured(Fraction(1, 2), "inH2O"), "minutes": 15, "source": "an invented manual, page 3"}


@pytest.fixture
def leak(section, builder):
    """A test of the section's tank."""
    return services.make_leak_test(section=section, stated=Stated("Left tank", **LIMIT), key=uuid4(), by=builder)


@pytest.fixture
def read(leak, builder):
    """Write a reading down: minutes after the first hour of the day, inches of water, Celsius, hectopascals."""

    def read(minute, pressure, celsius=20, barometer=1013, test=leak, key=None, by=builder):
        found = Read(
            NOW.replace(hour=9, minute=minute),
            Measured(Fraction(str(pressure)), "inH2O"),
            Measured(Fraction(str(celsius)), "C"),
            Measured(Fraction(str(barometer)), "hPa"),
        )
        return services.add_reading(test=test, read=found, key=key or uuid4(), by=by, now=NOW)

    return read
