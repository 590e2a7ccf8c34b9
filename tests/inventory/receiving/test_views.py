"""Crates on their way, and what arrives of them."""

import re
from datetime import UTC, date, datetime
from decimal import Decimal
from http import HTTPStatus

import pytest
import time_machine
from django.urls import reverse

from inventory.models import Bag, Crate, Holding, Lot, Movement, PackingLine, Place
from inventory.receiving import queries, services
from inventory.shelflife.calc import StatedDate
from inventory.stock.queries import ledger_errors
from inventory.tallying.services import finish_bag, tally
from inventory.workshop.policy import NotAllowed
from tests import factories
from tests.factories import DAY

DUE = date(2027, 3, 1)
PATH = "Hangar/Rack 2/Drawer 7"


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel(DAY, tick=False):
        yield


def words(page):
    return " ".join(re.sub(r"<[^>]+>", " ", page.content.decode()).split())


@pytest.fixture
def crate(bench):
    return factories.CrateFactory(bench=bench, code="CRATE-7", due_on=DUE)


@pytest.fixture
def line(crate, item):
    """10 ea still to come, in no bag."""
    return factories.PackingLineFactory(crate=crate, item=item)


@pytest.fixture
def bags(crate, workshop):
    outer = Bag.objects.create(workshop=workshop, crate=crate, name="7A", path="7A")
    inner = Bag.objects.create(workshop=workshop, crate=crate, parent=outer, name="1", path="7A/1")
    other = Bag.objects.create(workshop=workshop, crate=crate, name="7AB", path="7AB")
    for bag in (outer, inner, other):
        factories.PackingLineFactory(crate=crate, bag=bag, number="1")
    return outer, inner, other


def open_lines():
    return set(PackingLine.objects.filter(open_quantity__gt=0).values_list("bag__path", flat=True))


class TestQueries:
    def test_crates_stand_by_due_day_and_leave_out_what_has_arrived(self, bench, crate, line):
        for code, due, still_open in (("SOON", DAY, 1), ("NEVER", None, 1), ("HERE", DAY, 0)):
            given = {"crate": factories.CrateFactory(bench=bench, code=code, due_on=due), "quantity": Decimal(1)}
            factories.PackingLineFactory(**given, open_quantity=Decimal(still_open))

        assert [(row.code, row.open_lines, row.lines) for row in queries.crates()] == [("SOON", 1, 1), ("CRATE-7", 1, 1), ("NEVER", 1, 1)]

    def test_lines_in_a_bag_are_its_own_and_those_of_the_bags_in_it(self, bags):
        assert {line.bag.path for line in queries.lines_in(bags[0])} == {"7A", "7A/1"}

    def test_undated_counts_what_dies_and_states_no_date(self, crate, workshop):
        sealant = factories.ItemFactory(workshop=workshop, kind="sealant")
        lived = factories.ItemFactory(workshop=workshop, life_months=9)
        factories.PackingLineFactory(crate=crate, item=sealant)
        factories.PackingLineFactory(crate=crate, item=lived)
        factories.PackingLineFactory(crate=crate, item=sealant, expires_on=DUE)
        factories.PackingLineFactory(crate=crate)

        assert queries.undated(crate) == 2


class TestArriveAll:
    def test_arrive_all_takes_in_what_the_list_states(self, crate, bench, workshop, drawer, storekeeper):
        given = {"lot_code": "R7", "expires_on": date(2027, 6, 30), "expires_as": "quarter"}
        line = factories.PackingLineFactory(crate=crate, open_quantity=Decimal(4), **given)

        (moved,) = services.arrive_all(lines=[line], place=drawer, on=DAY, by=storekeeper)

        assert (moved.quantity, moved.lot.code, str(moved.lot.expires), moved.lot.bench) == (4, "R7", "2Q2027", bench)
        assert open_lines() == set()
        assert ledger_errors() == []

    def test_arrive_all_passes_over_what_is_here(self, line, crate, drawer, storekeeper):
        here = factories.PackingLineFactory(crate=crate, open_quantity=Decimal(0))

        assert len(services.arrive_all(lines=[line, here], place=drawer, on=DAY, by=storekeeper)) == 1

    def test_arrive_all_refuses_a_second_time(self, line, drawer, storekeeper):
        services.arrive_all(lines=[line], place=drawer, on=DAY, by=storekeeper)

        with pytest.raises(services.NothingOpen):
            services.arrive_all(lines=[line], place=drawer, on=DAY, by=storekeeper)
        assert Movement.objects.count() == 1

    def test_arrive_all_is_all_or_nothing(self, line, crate, bench, item, drawer, storekeeper):
        factories.LotFactory(bench=bench, item=item, code="R7", expires_on=date(2027, 6, 30))
        bad = factories.PackingLineFactory(crate=crate, item=item, lot_code="R7", expires_on=date(2027, 7, 1))

        with pytest.raises(services.stock.OtherDates):
            services.arrive_all(lines=[line, bad], place=drawer, on=DAY, by=storekeeper)
        assert not Movement.objects.exists()
        assert PackingLine.objects.filter(open_quantity__gt=0).count() == 2

    def test_arrive_all_refuses_builder_and_outsider(self, line, drawer, builder):
        for by in (builder, factories.MemberFactory()):
            with pytest.raises(NotAllowed):
                services.arrive_all(lines=[line], place=drawer, on=DAY, by=by)

    def test_arrive_refuses_what_changed_since_it_was_seen(self, line, drawer, storekeeper):
        given = {"line": line, "quantity": Decimal(4), "place": drawer, "on": DAY, "by": storekeeper, "seen": Decimal(10)}
        services.arrive(**given)

        with pytest.raises(services.ChangedSince, match=r"10 ea .* when you looked, and now 6 ea are"):
            services.arrive(**given)
        assert Holding.objects.get().quantity == 4


class TestPages:
    def test_crates_say_what_is_due_and_overdue(self, as_member, reader, bench, crate, line):
        factories.PackingLineFactory(crate=factories.CrateFactory(bench=bench, code="LATE", due_on=date(2027, 2, 19)))
        factories.PackingLineFactory(crate=factories.CrateFactory(bench=bench, code="UNKNOWN"))

        page = words(as_member(reader).get(reverse("crates")))
        assert "CRATE-7 to TERN; 1 of 1 line still to come; due Mon 2027-03-01" in page
        assert "due Fri 2027-02-19, 1 day overdue" in page
        assert "no due day: it counts once it has one" in page

    def test_no_crates_say_what_to_do(self, as_member, reader):
        page = words(as_member(reader).get(reverse("crates")))

        assert "Nothing is on its way" in page
        assert "OUTSIDE" not in page

    def test_crate_lists_its_lines_by_bag(self, as_member, reader, crate, bags, line):
        page = words(as_member(reader).get(reverse("crate", args=[crate.pk])))

        at = [page.index(heading) for heading in ("In no bag", "Bag 7A ", "Bag 7A/1", "Bag 7AB")]
        assert at == sorted(at)
        assert "Take in" not in page

    def test_crate_warns_of_what_dies_and_states_no_date(self, as_member, storekeeper, crate, workshop):
        factories.PackingLineFactory(crate=crate, item=factories.ItemFactory(workshop=workshop, kind="sealant"))

        assert "1 line can die on the shelf and states no date" in words(as_member(storekeeper).get(reverse("crate", args=[crate.pk])))

    def test_crate_takes_the_same_queries_whatever_is_in_it(self, queries_of, owner, crate, workshop):
        def grow(name):
            bag = Bag.objects.create(workshop=workshop, crate=crate, name=name, path=name)
            factories.PackingLineFactory(crate=crate, bag=bag)

        grow("first")
        few = queries_of(owner, reverse("crate", args=[crate.pk]))
        for number in range(20):
            grow(str(number))
        assert queries_of(owner, reverse("crate", args=[crate.pk])) == few


class TestCounted:
    """A crate that is here: what is still to count, what was counted, and no form that takes in as listed what was counted."""

    @pytest.fixture
    def here(self, crate, line, bags):
        Crate.objects.update(arrived_on=DAY)
        return Crate.objects.select_related("bench").get(pk=crate.pk)

    @pytest.fixture
    def count(self, here, line, owner):
        at = datetime(2027, 2, 20, 9, tzinfo=UTC)
        return lambda quantity, **more: tally(
            **{"crate": here, "bag": None, "line": line, "quantity": Decimal(quantity), "at": at, "by": owner, **more}
        )

    def test_crates_say_how_many_lines_are_still_to_count(self, as_member, reader, here, count):
        count(10)

        page = words(as_member(reader).get(reverse("crates")))
        assert "CRATE-7 to TERN; arrived Sat 2027-02-20; 3 of 4 lines still to count, 1 counted" in page
        assert "still to come" not in page
        assert "overdue" not in page

    def test_crate_says_what_is_still_to_count_and_what_is_not_put_away(self, as_member, reader, here, count):
        count(10)

        assert "arrived Sat 2027-02-20. 3 of 4 lines still to count, 4 not put away." in words(
            as_member(reader).get(reverse("crate", args=[here.pk]))
        )

    def test_line_that_is_counted_says_so_and_has_no_form(self, as_member, storekeeper, here, line, count):
        address = reverse("crate", args=[here.pk])
        assert reverse("arrived", args=[line.pk]) in as_member(storekeeper).get(address).content.decode()
        count(4)
        count(1, finding="damaged")

        page = as_member(storekeeper).get(address)
        assert "4 counted good, 1 damaged, 5 still to count" in words(page)
        assert reverse("arrived", args=[line.pk]) not in page.content.decode()
        assert "All of it arrived as listed" not in words(page)

    def test_line_of_a_bag_that_is_counted_to_the_end_is_short(self, as_member, storekeeper, here, bags):
        finish_bag(bag=bags[2], on=DAY, by=storekeeper)

        page = as_member(storekeeper).get(reverse("crate", args=[here.pk]))
        short = PackingLine.objects.get(bag=bags[2])
        assert "10 short" in words(page)
        assert reverse("arrived", args=[short.pk]) not in page.content.decode()

    def test_taken_in_as_it_arrived_is_no_count_and_the_rest_keeps_its_form(self, as_member, storekeeper, here, line, drawer):
        services.arrive(line=line, quantity=Decimal(4), place=drawer, on=DAY, by=storekeeper)

        page = as_member(storekeeper).get(reverse("crate", args=[here.pk]))
        assert reverse("arrived", args=[line.pk]) in page.content.decode()
        assert "6 still to count" in words(page)

    def test_order_sheet_leads_to_counting_what_is_here(self, as_member, storekeeper, project, here, line, count):
        count(4)

        page = as_member(storekeeper).get(reverse("order-sheet", args=[project.code]))
        assert "Arrived Sat 2027-02-20: count and put away" in words(page)
        assert "4 counted good, 6 still to count" in words(page)
        assert reverse("arrived", args=[line.pk]) not in page.content.decode()
        assert reverse("due", args=[here.pk]) not in page.content.decode()

    def test_crates_and_crate_take_the_same_queries_whatever_was_counted(self, queries_of, owner, bench, crate, here, count):
        count(4)
        pages = [reverse("crates"), reverse("crate", args=[crate.pk])]
        few = [queries_of(owner, page) for page in pages]
        for at in range(5):
            count(1, line=factories.PackingLineFactory(crate=crate, number=f"N{at}"))
            factories.PackingLineFactory(crate=factories.CrateFactory(bench=bench, arrived_on=DAY))

        assert [queries_of(owner, page) for page in pages] == few


class TestArrived:
    @pytest.fixture
    def send(self, as_member, storekeeper, line):
        client = as_member(storekeeper)
        given = {"quantity": "10", "seen": "10", "place": PATH, "on": str(DAY), "next": "/crates/"}
        return lambda **more: client.post(reverse("arrived", args=[line.pk]), {**given, **more})

    def test_arrived_takes_the_label_s_word(self, send, line):
        answer = send(lot_code="R7", made="2026-11", expires="2Q27")

        lot = Lot.objects.get()
        assert answer.url == "/crates/"
        assert (lot.code, lot.made, lot.expires) == ("R7", StatedDate.parse("2026-11"), StatedDate.parse("2Q27"))
        assert Holding.objects.get().place == Place.objects.get(path=PATH)
        assert open_lines() == set()

    def test_arrived_in_part_leaves_the_rest_open(self, send, line):
        send(quantity="4")

        line.refresh_from_db()
        assert line.open_quantity == 6

    def test_arrived_in_part_gives_up_the_rest_when_told(self, send, line):
        send(quantity="4", close_rest="on")

        assert open_lines() == set()

    def test_arrived_twice_from_one_page_receives_once(self, send):
        send(quantity="4")

        page = send(quantity="4")
        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "were still to come when you looked" in words(page)
        assert Holding.objects.get().quantity == 4

    @pytest.mark.parametrize(
        ("given", "told"),
        [
            ({"quantity": "0"}, "Give more than 0"),
            ({"place": ""}, "This field is required"),
            ({"place": "Hangar//Drawer"}, "the place name is blank"),
            ({"place": "used"}, "used is an end of the ledger"),
            ({"on": "2027-02-21"}, "2027-02-21 is still to come"),
            ({"expires": "soon"}, "write 2027-03-14, 2027-03 or 2Q27"),
            ({"made": "2027-05", "expires": "2027-03-01"}, "is before it was made"),
        ],
    )
    def test_arrived_says_what_is_wrong_and_keeps_what_was_typed(self, send, given, told):
        page = send(lot_code="TYPED", **given)

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert told in words(page)
        assert 'value="TYPED"' in page.content.decode()
        assert not Movement.objects.exists()
        assert not Place.objects.filter(path__startswith="Hangar").exists()

    def test_arrived_refuses_a_builder(self, as_member, builder, line):
        assert as_member(builder).get(reverse("arrived", args=[line.pk])).status_code == HTTPStatus.FORBIDDEN


class TestArrivedAsListed:
    @pytest.fixture
    def signed_in(self, as_member, storekeeper):
        return as_member(storekeeper)

    def test_whole_crate(self, signed_in, crate, bags, line):
        page = signed_in.post(reverse("crate-arrived", args=[crate.pk]), {"place": PATH, "on": str(DAY)}, follow=True)

        assert open_lines() == set()
        assert f"4 lines are in {PATH} now" in words(page)

    def test_whole_bag_with_the_bags_in_it(self, signed_in, bags):
        signed_in.post(reverse("bag-arrived", args=[bags[0].pk]), {"place": PATH, "on": str(DAY)})

        assert open_lines() == {"7AB"}

    def test_twice_is_told_and_receives_once(self, signed_in, crate, line):
        for _ in range(2):
            page = signed_in.post(reverse("crate-arrived", args=[crate.pk]), {"place": PATH, "on": str(DAY)})

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "they arrived already" in words(page)
        assert Movement.objects.count() == 1

    def test_what_is_wrong_is_told_and_what_was_typed_kept(self, signed_in, crate, line):
        page = signed_in.post(reverse("crate-arrived", args=[crate.pk]), {"place": PATH, "on": "2028-01-01"})

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert f'value="{PATH}"' in page.content.decode()

    def test_builder_is_refused(self, as_member, builder, crate):
        assert as_member(builder).post(reverse("crate-arrived", args=[crate.pk])).status_code == HTTPStatus.FORBIDDEN


class TestDue:
    def test_due_day_is_changed_and_cleared(self, as_member, storekeeper, crate):
        client = as_member(storekeeper)
        for day, kept in (("2027-04-01", date(2027, 4, 1)), ("", None)):
            answer = client.post(reverse("due", args=[crate.pk]), {"due_on": day})
            crate.refresh_from_db()
            assert (answer.url, crate.due_on) == (reverse("crate", args=[crate.pk]), kept)

    def test_due_day_before_the_order_is_told(self, as_member, storekeeper, bench):
        crate = factories.CrateFactory(bench=bench, ordered_on=DAY)

        page = as_member(storekeeper).post(reverse("due", args=[crate.pk]), {"due_on": "2027-02-01"})
        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "is before the order on 2027-02-20" in words(page)

    def test_builder_is_refused(self, as_member, builder, crate):
        assert as_member(builder).get(reverse("due", args=[crate.pk])).status_code == HTTPStatus.FORBIDDEN
