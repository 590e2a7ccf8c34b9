"""Many lots and many deliveries at once."""

from datetime import date
from decimal import Decimal

from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.shelflife.calc import StatedDate
from inventory.stock import services
from tests import factories
from tests.factories import DAY

MAY = StatedDate(date(2027, 5, 31), "month")


class TestFindOrMakeLots:
    def test_lots_are_found_as_one_by_one_and_made_once(self, bench, item, storekeeper):
        data = [
            services.LotData(item.pk),
            services.LotData(item.pk, expires=MAY),
            services.LotData(item.pk),
            services.LotData(item.pk, "R7", expires=MAY),
            services.LotData(item.pk, "R7"),
            services.LotData(item.pk, state="disputed"),
        ]
        there, _ = services.find_or_make_lot(bench=bench, item=item, expires=MAY, by=storekeeper)

        found = services.find_or_make_lots(bench=bench, lots=data, by=storekeeper)
        assert (found[0], found[1], found[3]) == (found[2], there, found[4])
        assert [(lot.code, lot.state, lot.expires) for lot in found[3:]] == [
            ("R7", "good", MAY),
            ("R7", "good", MAY),
            ("", "disputed", None),
        ]
        assert services.find_or_make_lots(bench=bench, lots=data, by=storekeeper) == found

    def test_queries_do_not_grow_with_lots_without_a_code(self, bench, workshop, storekeeper, django_assert_num_queries):
        items = [factories.ItemFactory(workshop=workshop) for _ in range(30)]
        with CaptureQueriesContext(connection) as one:
            services.find_or_make_lots(bench=bench, lots=[services.LotData(items[0].pk)], by=storekeeper)

        with django_assert_num_queries(len(one)):
            services.find_or_make_lots(bench=bench, lots=[services.LotData(item.pk) for item in items[1:]], by=storekeeper)


def test_receive_many_gives_each_its_own_reference(lot, bench, drawer, storekeeper):
    other = factories.LotFactory(bench=bench)
    deliveries = [(lot, drawer, Decimal(1)), (other, drawer, Decimal(2))]
    moved = services.receive_many(deliveries=deliveries, on=DAY, by=storekeeper, refs=["line:1", "line:2"])

    assert [movement.ref for movement in moved] == ["line:1", "line:2"]
