"""Netting, offers, the expiry list and a use agree on when a lot ends, whatever it went through."""

from datetime import date, timedelta
from fractions import Fraction

import pytest

from buildplan.shortfall import queries
from inventory.shelflife.queries import expiries
from inventory.stock import services as stock
from inventory.stock.queries import holdings, life_of, usable_lots
from tests import factories

AS_OF = date(2027, 2, 20)
NEEDED = date(2027, 3, 6)
THROUGH = {
    "nothing": ({}, False),
    "a pass": ({"passes": 1}, True),
    "a pass and an excursion": ({"passes": 1, "storage_until": date(2027, 3, 1), "storage_why": "36 C in Shed"}, False),
    "an acceptance that reaches": ({"accepted_until": NEEDED}, True),
    "an acceptance that ends before": ({"accepted_until": NEEDED - timedelta(days=1)}, False),
    "an excursion, accepted": ({"passes": 1, "storage_until": date(2027, 3, 1), "accepted_until": NEEDED}, True),
    "an opening, accepted": ({"passes": 1, "opened_on": date(2027, 1, 1), "accepted_until": NEEDED}, True),
}


@pytest.mark.parametrize("through", THROUGH)
@pytest.mark.parametrize("min_life_days", [0, 30])
def test_all_agree(through, min_life_days, project, bench, drawer, builder):
    said, serves = THROUGH[through]
    item = factories.ItemFactory(
        workshop=bench.workshop,
        kind="sealant",
        unit="g",
        life_months=9,
        open_life_days=30,
        min_life_days=min_life_days,
        extend_part=Fraction(1, 2),
    )
    lot = factories.LotFactory(bench=bench, item=item, code="R7", made_on=date(2026, 5, 1), **said)
    factories.stock(lot, 100, place=drawer)
    step = factories.StepFactory(project=project, planned_on=NEEDED)
    factories.CallOutFactory(step=step, item=item, quantity=10)

    (line,) = queries.shortfall([project], before=None, as_of=AS_OF).lines
    [held] = holdings()
    last = life_of(lot).last_day
    assert held.life == life_of(lot)
    assert (line.usable == 10, lot.pk in usable_lots(NEEDED)) == (serves, serves)
    assert [(one.last_usable_day, len(one.trace)) for one in expiries(before=last)] == [(last, len(held.life.limits))]
    if serves:
        stock.use(lot=lot, quantity=10, place=drawer, on=NEEDED, by=builder)
    else:
        with pytest.raises(stock.NotUsable):
            stock.use(lot=lot, quantity=10, place=drawer, on=NEEDED, by=builder)
