"""Eight at once count, put away and take back in one crate: nothing is lost, nothing happens twice."""

from collections import Counter
from decimal import Decimal
from uuid import UUID

import pytest
from django.db.models import Sum

from inventory.models import Lot, Movement, PackingLine, Tally
from inventory.receiving import services as receiving
from inventory.stock.queries import ledger_errors, on_hand
from inventory.tallying import queries, services
from tests import factories
from tests.factories import DAY
from tests.inventory.tallying.conftest import NINE

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def crate(bench, workshop, storekeeper):
    crate = factories.CrateFactory(bench=bench)
    items = [factories.ItemFactory(workshop=workshop) for _ in range(4)]
    data = [receiving.LineData("7", str(number), item.pk, Decimal(20)) for number, item in enumerate(items)]
    receiving.load_lines(crate=crate, lines=data, by=storekeeper)
    return crate


@pytest.fixture
def lines(crate):
    return list(PackingLine.objects.filter(crate=crate).select_related("crate__bench", "item", "bag").order_by("pk"))


@pytest.fixture
def count(crate, lines, builder):
    def count(line, quantity=1, **said):
        return services.tally(crate=crate, bag=line.bag, line=line, quantity=Decimal(quantity), at=NINE, by=builder, **said)

    return count


def kinds(results):
    return Counter(type(result).__name__ for result in results)


def good(line):
    return Tally.objects.filter(line=line).aggregate(total=Sum("quantity"))["total"] or 0


def test_eight_counts_of_one_line_add_up(at_once, lines, count):
    assert kinds(at_once(lambda _: [count(lines[0]) for _ in range(5)])) == {"list": 8}
    assert good(lines[0]) == 40


def test_eight_forms_of_one_request_count_once(at_once, lines, count):
    results = at_once(lambda _: count(lines[0], 5, request_key=UUID(int=7)))

    assert len({result.pk for result in results}) == 1
    assert good(lines[0]) == 5


def test_eight_say_how_many_there_are_in_all_and_the_sum_is_that(at_once, lines, count, builder):
    count(lines[0], 3)

    at_once(lambda _: services.correct(line=lines[0], counted=Decimal(20), at=NINE, by=builder))
    assert good(lines[0]) == 20


def test_eight_take_one_count_back_and_it_goes_back_once(at_once, lines, count, builder):
    count(lines[0], 2)
    wrong = count(lines[0], 5)

    assert kinds(at_once(lambda _: services.undo(tally=wrong, by=builder, at=NINE))) == {"Tally": 1, "AlreadyUndone": 7}
    assert good(lines[0]) == 2


def test_eight_put_one_crate_away_once(at_once, crate, lines, count, drawer, storekeeper):
    for line in lines:
        count(line, 20)

    results = at_once(lambda _: services.put_away(crate=crate, place=drawer, on=DAY, by=storekeeper))
    assert kinds(results) == {"list": 1, "NothingToPutAway": 7}
    assert [on_hand(lot) for lot in Lot.objects.filter(bench=crate.bench)] == [20] * 4
    assert not PackingLine.objects.filter(crate=crate, open_quantity__gt=0).exists()
    assert ledger_errors() == []


def test_counting_and_putting_away_at_once_lose_nothing(at_once, crate, lines, count, drawer, storekeeper):
    def act(number):
        if number % 2:
            return [count(line) for line in (lines if number % 4 == 1 else lines[::-1])]
        try:
            return services.put_away(crate=crate, place=drawer, on=DAY, by=storekeeper)
        except services.NothingToPutAway:
            return []

    assert kinds(at_once(act)) == {"list": 8}
    found = queries.receipt(crate)
    assert [good(line) for line in lines] == [4] * 4
    assert found.went_in + found.waiting == 16
    if found.waiting:
        services.put_away(crate=crate, place=drawer, on=DAY, by=storekeeper)
    assert queries.receipt(crate).went_in == 16
    assert ledger_errors() == []


def test_put_away_taken_back_and_arrivals_at_once_wait_for_each_other(at_once, crate, lines, count, drawer, storekeeper):
    for line in lines[:2]:
        count(line, 10)
    moved = services.put_away(crate=crate, place=drawer, on=DAY, by=storekeeper)

    def act(number):
        if number < 4:
            return services.reverse(movement=moved[number % 2], on=DAY, by=storekeeper)
        if number < 6:
            return receiving.arrive(line=lines[number % 2], quantity=Decimal(1), place=drawer, on=DAY, by=storekeeper)
        return services.put_away(crate=crate, place=drawer, on=DAY, by=storekeeper)

    found = kinds(at_once(act))
    assert set(found) <= {"Movement", "AlreadyReversed", "NothingToPutAway", "list"}, found
    assert found["AlreadyReversed"] == 2
    assert Movement.objects.filter(reverses__isnull=False).count() == 2
    assert ledger_errors() == []


def test_eight_close_a_crate_once(at_once, crate, storekeeper):
    results = at_once(lambda _: services.close(crate=crate, on=DAY, by=storekeeper))

    assert kinds(results) == {"Crate": 1, "CountingClosed": 7}
