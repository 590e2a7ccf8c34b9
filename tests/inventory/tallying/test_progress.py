"""How far crates are counted: states of lines, the same for many crates at once, and the pages that show it."""

import re
from datetime import timedelta
from decimal import Decimal

import pytest
import time_machine
from django.urls import reverse
from django_scopes import scopes_disabled

from inventory.models import Crate
from inventory.tallying import calc, queries, services
from inventory.tallying.progress import Progress, State, progress, state
from tests import factories
from tests.factories import DAY


def words(page):
    return " ".join(re.sub(r"<[^>]+>", " ", page.content.decode()).split())


def compared(good=0, damaged=0, wrong=0, *, done=False):
    figures = {"listed": Decimal(10), "good": Decimal(good), "damaged": Decimal(damaged), "wrong": Decimal(wrong)}
    return state(calc.compare(**figures, done=done), Decimal(damaged + wrong))


def test_line_stands_under_the_first_state_that_fits():
    assert compared() == State.LEFT
    assert compared(9, 0) == State.LEFT
    assert compared(8, 1) == State.LEFT
    assert compared(10) == State.WHOLE
    assert compared(9, done=True) == State.SHORT
    assert compared(8, 1, done=True) == State.DAMAGED
    assert compared(9, 0, 1) == State.DAMAGED
    assert compared(11) == State.OVER


def test_progress_adds_up_and_counts_what_is_not_listed_as_over():
    found = progress([State.WHOLE, State.WHOLE, State.SHORT, State.LEFT], 2)
    assert found == Progress(whole=2, short=1, over=2, left=1)
    assert (found.lines, found.counted) == (6, 5)
    assert [(part.kind, part.count) for part in found.parts] == [("whole", 2), ("short", 1), ("over", 2), ("left", 1)]


@pytest.fixture
def counted(crate, count, bags, builder):
    """Bag 7 whole and finished; of bag A 48 of 50 and a damaged spar, finished; an unknown and a strange thing beside; bag 8 to count."""
    count("MS20470AD4-6", 20)
    count("MS20470AD4-7", 48, "7/A")
    count("SPAR", 1, "7/A", finding="damaged")
    count("SEAL-B2", 3, "7/A")
    services.finish_bag(bag=bags["7/A"], on=DAY, by=builder)
    return crate


def test_progress_of_many_crates_is_that_of_their_sheets(counted, bench, django_assert_num_queries):
    other = factories.CrateFactory(bench=bench)
    factories.PackingLineFactory(crate=other)
    with django_assert_num_queries(2):
        found = queries.progress_of([counted.pk, other.pk])
    assert found == {crate.pk: queries.sheet(crate).progress for crate in (counted, other)}
    assert found[counted.pk] == Progress(whole=1, damaged=1, short=1, over=1, left=1)
    within = {bag.path: bag.within for bag in queries.sheet(counted).bags}
    assert within["7/A"] == Progress(damaged=1, short=1, over=1)
    assert within["7"] == Progress(whole=1, damaged=1, short=1, over=1)


def test_counting_lists_crates_that_are_here_or_begun_and_not_closed(counted, bench):
    factories.PackingLineFactory(crate=factories.CrateFactory(bench=bench, code="AT-SEA"))
    here = factories.CrateFactory(bench=bench, code="HERE", arrived_on=DAY)
    factories.CrateFactory(bench=bench, code="OVER", arrived_on=DAY, closed_on=DAY)
    with scopes_disabled():
        Crate.objects.filter(code="OUTSIDE-CRATE").update(arrived_on=DAY)
    shown, more = queries.counting()
    assert ([one.code for one in shown], more) == (["HERE", counted.code], 0)
    assert shown[0].progress.lines == 0
    for _ in range(12):
        factories.CrateFactory(bench=bench, arrived_on=DAY)
    assert queries.counting()[1] == 2
    assert here.pk not in {one.id for one in queries.counting()[0]} or len(queries.counting()[0]) == 12


class TestPages:
    @pytest.fixture(autouse=True)
    def today(self):
        with time_machine.travel(DAY + timedelta(days=1), tick=False):
            yield

    @pytest.fixture
    def arrived(self, counted, storekeeper):
        counted.arrived_on = DAY
        counted.save()
        return counted

    def test_crates_and_crate_and_its_count_show_the_bars_with_their_figures(self, as_member, reader, arrived):
        client = as_member(reader)
        said = "1 as listed, 1 damaged or wrong, 1 short, 1 over or not listed, 1 still to count"
        for address in (reverse("crates"), reverse("crate", args=[arrived.pk]), reverse("count-crate", args=[arrived.pk])):
            page = client.get(address)
            assert said in words(page), address
            assert "CRATE-7: 4 of 5 lines counted" in words(page)
            assert " style=" not in page.content.decode()

    def test_days_left_to_claim_stand_beside_it(self, as_member, reader, arrived, workshop):
        assert "no claim clock known" in words(as_member(reader).get(reverse("crates")))

    def test_crates_takes_the_same_queries_however_many_are_counted(self, queries_of, reader, arrived, bench):
        few = queries_of(reader, reverse("crates"))
        for _ in range(5):
            crate = factories.CrateFactory(bench=bench, arrived_on=DAY)
            factories.PackingLineFactory(crate=crate)
        assert queries_of(reader, reverse("crates")) == few

    def test_outsider_s_crates_are_never_shown(self, as_member, reader, arrived):
        with scopes_disabled():
            Crate.objects.filter(code="OUTSIDE-CRATE").update(arrived_on=DAY)
        assert "OUTSIDE" not in words(as_member(reader).get(reverse("crates")))
