"""An evening: a project with a step before and one behind, a drawer, a lot."""

from datetime import UTC, datetime
from decimal import Decimal
from types import SimpleNamespace

import pytest
from django_scopes import scope

from buildplan.tonight.queries import tonight
from tests import factories
from tests.factories import DAY

NOW = datetime(2027, 2, 20, 12, tzinfo=UTC)


@pytest.fixture
def drawers(workshop):
    return [factories.PlaceFactory(workshop=workshop, path=path) for path in ("Hangar/Drawer 10", "Hangar/Drawer 2")]


@pytest.fixture
def steps(project, bench, workshop, drawers):
    """F1 is done; F2 takes 40 rivets of 100 and 20 clecos of 30; F3 comes after F2 and takes a spar that nobody has."""
    rivet = factories.ItemFactory(workshop=workshop, code="RIVET", name="Rivet")
    cleco = factories.ItemFactory(workshop=workshop, code="CLECO-4", name="Cleco", kind="cleco")
    spar = factories.ItemFactory(workshop=workshop, code="SPAR", name="Spar")
    first = factories.StepFactory(project=project, code="F1", title="Deburr", done=True)
    second = factories.StepFactory(project=project, code="F2", title="Rivet", minutes=90, after=[first])
    third = factories.StepFactory(project=project, code="F3", title="Close", after=[second])
    factories.CallOutFactory(step=second, item=rivet, quantity=Decimal(40))
    factories.CallOutFactory(step=second, item=cleco, quantity=Decimal(20))
    factories.CallOutFactory(step=third, item=spar)
    factories.stock(factories.LotFactory(bench=bench, item=rivet, code="R-1"), 100, drawers[0])
    factories.stock(factories.LotFactory(bench=bench, item=cleco, code="TUB"), 30, drawers[1])
    return SimpleNamespace(first=first, second=second, third=third, rivet=rivet, cleco=cleco, spar=spar)


@pytest.fixture
def ask(workshop):
    """The evening's answer, by the codes of steps: None of a ready one, else what blocks it as kind and text and way."""

    def ask(**given):
        with scope(workshop=workshop):
            found = tonight(**{"today": DAY, "now": NOW, **given})
        answer = {one.step.code: None for one in found.ready}
        return answer | {
            one.step.code: [(block.kind.value, block.text, block.way.text, block.way.day) for block in one.verdict.blocks]
            for one in found.blocked
        }

    return ask
