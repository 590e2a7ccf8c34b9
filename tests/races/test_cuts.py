"""Eight at once plan a cut of one blank, plan by one form, or saw one cut: it happens once."""

from collections import Counter
from datetime import UTC, date, datetime
from uuid import UUID, uuid4

import pytest

from buildplan.cutting import services
from buildplan.cutting.models import Cut
from buildplan.cutting.services import BlankData, PlannedPiece
from inventory.models import Movement, SetAside
from inventory.stock.queries import ledger_errors
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)
DAY = date(2027, 3, 6)


@pytest.fixture
def blank(workshop, owner):
    return services.save_blank(item=factories.ItemFactory(workshop=workshop, kind="sheet"), said=BlankData("sheet"), by=owner)


@pytest.fixture
def pieces(project, blank, owner):
    """Two steps that both want what the one blank gives."""
    steps = [factories.StepFactory(project=project) for _ in range(2)]
    return [
        services.save_piece(step=step, stated=PlannedPiece(step.code, f"W-{at}", blank.pk, 4, per_blank=4), by=owner)
        for at, step in enumerate(steps)
    ]


@pytest.fixture
def lot(bench, blank, drawer):
    lot = factories.LotFactory(bench=bench, item=blank.item)
    factories.stock(lot, 1, place=drawer)
    return lot


def test_one_blank_is_promised_once(at_once, blank, lot, pieces, builder):
    results = at_once(
        lambda number: services.plan_cut(blank=blank, lot=lot, now={pieces[number % 2]: 4}, later={}, key=uuid4(), by=builder, accept=True)
    )

    kinds = Counter(type(result).__name__ for result in results)
    assert kinds["Cut"] == 1
    assert set(kinds) <= {"Cut", "BlankPromised", "NotThatMany"}
    assert SetAside.objects.get().quantity == 1


def test_one_form_plans_one_cut_and_it_is_sawn_once(at_once, blank, lot, pieces, builder, drawer):
    planned = at_once(lambda number: services.plan_cut(blank=blank, lot=lot, now={pieces[0]: 4}, later={}, key=UUID(int=7), by=builder))
    assert {made.pk for made in planned} == {Cut.objects.get().pk}

    said = {"source": drawer, "target": drawer, "kept": (), "on": DAY, "now": datetime(2027, 3, 6, tzinfo=UTC), "by": builder}
    sawn = at_once(lambda number: services.saw_cut(cut=planned[0], **said))
    assert Counter(type(result).__name__ for result in sawn) == {"Cut": 1, "CutOver": 7}
    assert Movement.objects.filter(ref=planned[0].ref).count() == 1
    assert ledger_errors() == []
