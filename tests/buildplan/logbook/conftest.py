"""A log with a step that took things, and people to write it."""

from datetime import date, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest

from buildplan.logbook import services
from buildplan.logbook.services import Worked
from buildplan.models import LogEntry
from buildplan.records.services import Use, finish_step
from tests import factories
from tests.factories import DAY

BEFORE = DAY - timedelta(days=3)


@pytest.fixture
def step(project):
    return factories.StepFactory(project=project, code="F3-05", title="Seal the seams", minutes=90)


@pytest.fixture
def inspector(workshop):
    return factories.MemberFactory(workshop=workshop, role="inspector", name="Amos Reed")


@pytest.fixture
def finished(step, item, bench, drawer, builder):
    """The step took 40 of the item, of a lot with dates."""
    factories.CallOutFactory(step=step, item=item, quantity=Decimal(40))
    lot = factories.LotFactory(bench=bench, item=item, code="R7", expires_on=date(2027, 6, 30), made_on=date(2026, 6, 1))
    factories.stock(lot, 100, drawer)
    finish_step(step=step, on=BEFORE, uses=[Use(lot, drawer, Decimal(40))], by=builder, note="both sides")
    return lot


@pytest.fixture
def write(project, step, builder):
    """Write an entry of the step."""

    def write(text="Riveted the keel.", on=BEFORE, minutes=90, of=step, by=builder, **said) -> LogEntry:
        hours = [Worked(minutes, member=by)] if minutes else []
        given = {"hours": hours, "key": uuid4(), "step": of, **said}
        return services.write_entry(project=project, on=on, text=text, by=by, today=DAY, **given)

    return write
