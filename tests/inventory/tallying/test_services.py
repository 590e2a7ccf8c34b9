"""Counting a crate, putting it away, closing it: what each service does, and what it refuses."""

from datetime import date
from decimal import Decimal
from fractions import Fraction
from uuid import UUID

import pytest
from django.db import connection
from django.db.models import Sum
from django.test.utils import CaptureQueriesContext

from inventory.common.quantities import BadQuantity
from inventory.common.texts import BadText
from inventory.models import Bag, Crate, Lot, Movement, PackingLine, Place, Tally
from inventory.receiving import services as receiving
from inventory.shelflife.calc import StatedDate
from inventory.stock import services as stock
from inventory.stock.models import End
from inventory.stock.queries import ledger_errors
from inventory.tallying import queries, services
from inventory.tallying.calc import Measured
from inventory.workshop.policy import NotAllowed
from tests import factories
from tests.factories import DAY

KEY = UUID(int=7)
JUNE = StatedDate(date(2027, 6, 30), "month")
MAY = StatedDate(date(2027, 5, 31), "month")


def line_now(line):
    return queries.line_tally(PackingLine.objects.select_related("crate", "bag").get(pk=line.pk))


def still_open(line):
    return PackingLine.objects.get(pk=line.pk).open_quantity


def in_stock(**which):
    return Movement.objects.filter(reverses=None, reversed_by=None, **which).aggregate(total=Sum("quantity"))["total"] or 0


class TestTally:
    def test_tally_finds_the_line_in_its_bag(self, count, lines, bags):
        found = count("MS20470AD4-6", 12)

        assert (found.line, found.bag, found.quantity, found.finding) == (lines["1"], bags["7"], 12, "good")
        assert line_now(lines["1"]).good == 12

    def test_tally_adds_up(self, count, lines):
        for quantity in (5, 7):
            count("MS20470AD4-6", quantity)

        assert line_now(lines["1"]).good == 12

    def test_tally_of_a_line_in_a_bag_inside_lies_in_that_bag(self, count, lines, bags):
        assert (count("SPAR", 1, bag="7").line, count("SPAR", 1, bag="7").bag) == (lines["3"], bags["7/A"])

    def test_tally_finds_a_line_that_lies_in_no_bag(self, count, crate, items):
        loose = factories.PackingLineFactory(crate=crate, number="9", item=items["SPAR"])

        assert count("SPAR", 1, bag="8").line == loose
        assert count("SPAR", 1, bag="7").line != loose

    def test_tally_takes_the_line_that_is_still_to_be_found(self, count, crate, items, bags):
        first, second = (
            factories.PackingLineFactory(crate=crate, bag=bags["8"], number=number, item=items["SPAR"], quantity=2) for number in ("8", "9")
        )

        assert [count("SPAR", 2, bag="8").line for _ in range(3)] == [first, second, first]

    def test_tally_takes_the_line_of_its_lot_before_another(self, count, crate, items, bags):
        for number, lot in (("8", "R7"), ("9", "R9")):
            factories.PackingLineFactory(crate=crate, bag=bags["8"], number=number, item=items["SPAR"], lot_code=lot)

        assert count("SPAR", 2, bag="8", lot_code="r9").line.number == "9"

    def test_tally_of_what_is_not_listed_has_no_line(self, count, crate):
        found = count("SPAR", 1, bag="8")

        assert found.line is None
        [extra] = queries.sheet(crate).extras
        assert (extra.item, extra.bag, extra.good) == ("SPAR", "8", 1)

    def test_tally_counts_once_a_request(self, count):
        first = count("MS20470AD4-6", 5, request_key=KEY)

        assert count("MS20470AD4-6", 9, request_key=KEY) == first
        assert Tally.objects.count() == 1

    def test_tally_of_a_mystery_keeps_what_was_measured(self, crate, bags, builder, minute):
        measured = Measured(Fraction(1, 8), Fraction(3, 8), "universal")
        said = {"crate": crate, "bag": bags["7"], "finding": "mystery", "measured": measured, "note": "no label"}
        found = services.tally(quantity=Decimal(3), at=minute(0), by=builder, **said)

        assert (found.item, found.line, found.diameter, found.length, found.head) == (
            None,
            None,
            Fraction(1, 8),
            Fraction(3, 8),
            "universal",
        )

    def test_tally_of_a_wrong_thing_may_name_it(self, crate, bags, lines, items, builder, minute):
        said = {"crate": crate, "bag": bags["7"], "line": lines["1"], "item": items["SPAR"], "finding": "wrong"}
        services.tally(quantity=Decimal(2), at=minute(0), by=builder, **said)

        assert (line_now(lines["1"]).wrong, line_now(lines["1"]).left) == (2, 18)

    def test_tally_refuses_another_item_than_the_line_lists(self, count, lines):
        with pytest.raises(services.NothingToCount, match="line 1 lists MS20470AD4-6"):
            count("SPAR", 1, line=lines["1"])

    def test_tally_refuses_to_count_nothing_named(self, count):
        with pytest.raises(services.NothingToCount, match="say what was counted"):
            count("SPAR", 1, item=None)

    @pytest.mark.parametrize("quantity", [0, -1, Decimal("0.0001")])
    def test_tally_refuses_what_is_no_quantity(self, count, quantity):
        with pytest.raises(BadQuantity):
            count("SPAR", quantity)

    @pytest.mark.parametrize("said", [{"finding": "lost"}, {"how": "guess"}, {"note": "x" * 201}, {"lot_code": "R\n7"}])
    def test_tally_refuses_words_that_it_does_not_know(self, count, said):
        with pytest.raises(BadText):
            count("SPAR", 1, **said)

    def test_tally_refuses_an_expiry_before_made(self, count):
        with pytest.raises(stock.BadDates):
            count("SEAL-B2", 1, bag="8", made=JUNE, expires=MAY)

    def test_tally_refuses_a_bag_of_another_crate(self, count, bench, workshop):
        other = Bag.objects.create(workshop=workshop, crate=factories.CrateFactory(bench=bench), name="9", path="9")

        with pytest.raises(services.OtherCrate, match="this bag lies in another crate than CRATE-"):
            count("SPAR", 1, bag="7", crate=other.crate)

    def test_tally_refuses_the_outsider_s_crate_line_and_item(self, count, foreign):
        for said in ({"crate": foreign.crate}, {"line": foreign}, {"item": foreign.item}):
            with pytest.raises(NotAllowed, match="another workshop's"):
                count("SPAR", 1, bag=None, **said)

    def test_tally_takes_hands(self, count, reader):
        with pytest.raises(NotAllowed):
            count("SPAR", 1, by=reader)


class TestCorrect:
    @pytest.fixture
    def correct(self, lines, builder, minute):
        def correct(counted, line="1", at=0, **said):
            return services.correct(**{"line": lines[line], "counted": Decimal(counted), "at": minute(at), "by": builder, **said})

        return correct

    def test_correct_counts_the_difference(self, correct, count, lines):
        count("MS20470AD4-6", 12)

        assert correct(20, at=1).quantity == 8
        assert correct(19, at=2).quantity == -1
        assert line_now(lines["1"]).good == 19

    def test_correct_that_agrees_counts_nothing(self, correct, count):
        count("MS20470AD4-6", 12)

        assert correct(12, at=1) is None

    def test_correct_refuses_where_somebody_counted_meanwhile(self, correct, count):
        count("MS20470AD4-6", 12)

        with pytest.raises(services.CountedSince, match="0 ea of MS20470AD4-6 were counted when you looked, and now 12 ea are"):
            correct(20, at=1, seen=Decimal(0))

    def test_correct_counts_once_a_request(self, correct, lines):
        assert correct(5, request_key=KEY) == correct(5, at=1, request_key=KEY)
        assert line_now(lines["1"]).good == 5

    def test_count_from_before_a_correction_is_refused_and_a_later_one_adds(self, correct, count, lines, minute):
        correct(20, at=5)

        with pytest.raises(services.OlderThanCorrection, match=r"from 2027-02-20 09:04, but .* at 2027-02-20 09:05"):
            count("MS20470AD4-6", 1, at=minute(4))
        count("MS20470AD4-6", 1, at=minute(6))
        assert line_now(lines["1"]).good == 21

    def test_count_from_before_a_correction_that_was_undone_adds(self, correct, count, builder, lines, minute):
        services.undo(tally=correct(20, at=5), by=builder, at=minute(6))

        count("MS20470AD4-6", 1, at=minute(4))
        assert line_now(lines["1"]).good == 1

    def test_correct_refuses_fewer_than_are_in_stock(self, correct, count, crate, drawer, storekeeper):
        count("MS20470AD4-6", 12)
        services.put_away(crate=crate, place=drawer, on=DAY, by=storekeeper)

        with pytest.raises(services.InStockAlready, match="12 ea of MS20470AD4-6 were put away already, and 11 ea are fewer"):
            correct(11, at=1)
        assert correct(13, at=1).quantity == 1

    def test_correct_starts_from_what_arrived_without_a_count(self, correct, lines, drawer, storekeeper):
        receiving.arrive(line=lines["1"], quantity=Decimal(12), place=drawer, on=DAY, by=storekeeper)

        assert line_now(lines["1"]).good == 12
        assert correct(12) is None


class TestUndo:
    def test_undo_takes_a_count_back_once(self, count, lines, builder, minute):
        found = count("MS20470AD4-6", 12)
        back = services.undo(tally=found, by=builder, at=minute(1))

        assert (back.undoes, back.quantity, line_now(lines["1"]).good) == (found, -12, 0)
        for tally in (found, back):
            with pytest.raises(services.AlreadyUndone):
                services.undo(tally=tally, by=builder, at=minute(2))

    def test_undo_of_one_request_happens_once(self, count, builder, minute):
        found = count("MS20470AD4-6", 12)

        assert len({services.undo(tally=found, by=builder, at=minute(1), request_key=KEY).pk for _ in range(2)}) == 1

    def test_undo_refuses_what_a_correction_has_overtaken(self, count, lines, builder, minute):
        found = count("MS20470AD4-6", 12)
        services.correct(line=lines["1"], counted=Decimal(20), at=minute(5), by=builder)

        with pytest.raises(services.OlderThanCorrection):
            services.undo(tally=found, by=builder, at=minute(6))

    def test_undo_refuses_what_was_put_away_until_that_is_reversed(self, count, crate, lines, drawer, storekeeper, minute):
        found = count("MS20470AD4-6", 12)
        [movement] = services.put_away(crate=crate, place=drawer, on=DAY, by=storekeeper)

        with pytest.raises(services.InStockAlready):
            services.undo(tally=found, by=storekeeper, at=minute(1))
        services.reverse(movement=movement, on=DAY, by=storekeeper)
        services.undo(tally=found, by=storekeeper, at=minute(1))
        assert (line_now(lines["1"]).good, still_open(lines["1"])) == (0, 20)

    def test_undo_refuses_the_outsider_s(self, count, crate, workshop, outsider, builder, minute):
        found = count("MS20470AD4-6", 12)
        with pytest.raises(NotAllowed):
            services.undo(tally=found, by=factories.MemberFactory(workshop=outsider), at=minute(1))


class TestNameMystery:
    def test_named_mystery_counts_for_its_line(self, crate, bags, lines, builder, minute):
        said = {"crate": crate, "bag": bags["7"], "finding": "mystery", "note": "rattling"}
        mystery = services.tally(quantity=Decimal(3), at=minute(0), by=builder, **said)
        named = services.name_mystery(mystery=mystery, line=lines["2"], at=minute(1), by=builder, request_key=KEY)

        assert (named.line, named.quantity, named.bag, named.note) == (lines["2"], 3, bags["7/A"], "was a mystery: rattling")
        assert services.name_mystery(mystery=mystery, line=lines["2"], at=minute(2), by=builder, request_key=KEY) == named
        assert queries.sheet(crate).extras == ()
        with pytest.raises(services.AlreadyUndone):
            services.name_mystery(mystery=mystery, line=lines["2"], at=minute(3), by=builder)

    def test_named_twice_or_no_mystery_is_refused(self, count, lines, builder, minute):
        with pytest.raises(services.NothingToCount, match="no mystery"):
            services.name_mystery(mystery=count("SPAR", 1), line=lines["2"], at=minute(1), by=builder)


class TestBags:
    def test_bag_counted_to_the_end_is_short_of_what_it_lacks(self, count, crate, bags, lines, builder):
        count("MS20470AD4-6", 12)
        assert line_now(lines["1"]).short == 0

        bag = services.finish_bag(bag=bags["7"], on=DAY, by=builder)
        assert (bag.counted_on, bag.counted_by, line_now(lines["1"]).short) == (DAY, builder, 8)
        services.reopen_bag(bag=bags["7"], by=builder)
        assert line_now(lines["1"]).short == 0

    def test_bag_finished_twice_keeps_the_first_day(self, bags, builder, owner):
        services.finish_bag(bag=bags["7"], on=DAY, by=builder)

        assert services.finish_bag(bag=bags["7"], on=date(2027, 2, 21), by=owner).counted_on == DAY

    def test_bag_is_laid_on_a_shelf_uncounted(self, bags, drawer, builder):
        assert services.lay_bag(bag=bags["7"], place=drawer, by=builder).place == drawer
        assert Movement.objects.filter(workshop=drawer.workshop).count() == 0

    def test_bag_is_not_laid_where_nothing_lies(self, bags, workshop, builder, outsider):
        with pytest.raises(stock.BadPlace):
            services.lay_bag(bag=bags["7"], place=stock.end_place(workshop, End.USED), by=builder)

    def test_bag_put_away_lies_on_no_shelf_any_more(self, count, crate, bags, drawer, storekeeper):
        count("MS20470AD4-6", 12)
        services.lay_bag(bag=bags["7"], place=drawer, by=storekeeper)
        services.finish_bag(bag=bags["7"], on=DAY, by=storekeeper)
        services.put_away(crate=crate, bag=bags["7"], place=drawer, on=DAY, by=storekeeper)

        assert Bag.objects.get(pk=bags["7"].pk).place is None


class TestPutAway:
    @pytest.fixture
    def put(self, crate, bags, drawer, storekeeper):
        def put(bag=None, **said):
            where = bags[bag] if bag else None
            return services.put_away(**{"crate": crate, "bag": where, "place": drawer, "on": DAY, "by": storekeeper, **said})

        return put

    def test_put_away_takes_what_was_counted_and_lowers_what_is_to_come(self, count, put, lines, drawer):
        count("MS20470AD4-6", 12)
        [movement] = put()

        assert (movement.quantity, movement.target, movement.ref) == (12, drawer, f"line:{lines['1'].pk}")
        assert (still_open(lines["1"]), Tally.objects.get().movement) == (8, movement)
        assert ledger_errors() == []

    def test_put_away_twice_puts_nothing_away_twice(self, count, put):
        count("MS20470AD4-6", 12)
        put()

        with pytest.raises(services.NothingToPutAway, match="nothing that was counted in crate CRATE-7 waits"):
            put()
        count("MS20470AD4-6", 3)
        assert [movement.quantity for movement in put()] == [3]

    def test_put_away_of_a_bag_takes_the_bags_inside_and_no_other(self, count, put):
        count("MS20470AD4-6", 12)
        count("SPAR", 2, bag="7/A")
        count("SEAL-B2", 100, bag="8")

        assert sorted(movement.quantity for movement in put("7")) == [2, 12]
        assert [movement.quantity for movement in put("8")] == [100]

    def test_put_away_takes_lot_and_dates_from_the_list_unless_they_were_read(self, count, put, lines):
        count("SEAL-B2", 100, bag="8")
        count("SEAL-B2", 50, bag="8", lot_code="S10", expires=JUNE)
        put()

        found = {lot.code: (lot.expires, lot.state) for lot in Lot.objects.filter(item=lines["4"].item)}
        assert found == {"S9": (MAY, "good"), "S10": (JUNE, "good")}

    def test_put_away_keeps_damaged_apart_as_disputed(self, count, put, lines):
        count("SPAR", 1, bag="7/A")
        count("SPAR", 1, bag="7/A", finding="damaged")
        put()

        assert set(Lot.objects.filter(item=lines["3"].item).values_list("state", flat=True)) == {"good", "disputed"}
        assert (in_stock(ref=f"line:{lines['3'].pk}"), in_stock(ref=f"line:{lines['3'].pk}/damaged")) == (1, 1)
        assert still_open(lines["3"]) == 0

    def test_put_away_leaves_wrong_things_and_mysteries_out_of_stock(self, count, put):
        count("SPAR", 1, bag="7/A", finding="wrong")
        count("SPAR", 1, bag="7/A", finding="mystery", item=None)

        with pytest.raises(services.NothingToPutAway):
            put()

    def test_put_away_takes_what_is_not_listed_bag_by_bag(self, count, put, crate, bags):
        count("SPAR", 5, bag="8")
        count("SEAL-B2", 3, bag="7")
        count("SPAR", 1, bag="8", finding="damaged")
        assert sorted((movement.ref, movement.quantity) for movement in put("8")) == [
            (f"bag:{bags['8'].pk}", 5),
            (f"bag:{bags['8'].pk}/damaged", 1),
        ]
        assert [(movement.ref, movement.quantity) for movement in put()] == [(f"bag:{bags['7'].pk}", 3)]
        assert [extra.waiting for extra in queries.sheet(crate).extras] == [0, 0]

    def test_put_away_takes_no_more_than_arrived_without_a_count_left(self, count, put, lines, drawer, storekeeper):
        receiving.arrive(line=lines["1"], quantity=Decimal(12), place=drawer, on=DAY, by=storekeeper)
        count("MS20470AD4-6", 20)

        assert [movement.quantity for movement in put()] == [8]
        assert still_open(lines["1"]) == 0

    def test_put_away_takes_a_correction_off_what_was_counted_last(self, count, put, lines, builder, minute):
        count("MS20470AD4-6", 12, lot_code="R7")
        count("MS20470AD4-6", 8, lot_code="R8")
        services.correct(line=lines["1"], counted=Decimal(10), at=minute(1), by=builder)

        assert [(movement.lot.code, movement.quantity) for movement in put()] == [("R7", 10)]
        assert set(Tally.objects.values_list("movement__quantity", flat=True)) == {10}

    def test_put_away_of_more_than_listed_closes_the_line(self, count, put, lines):
        count("MS20470AD4-6", 22)
        put()

        assert (still_open(lines["1"]), line_now(lines["1"]).over) == (0, 2)

    def test_reverse_makes_it_counted_and_not_put_away_again(self, count, put, lines, storekeeper):
        count("MS20470AD4-6", 12)
        [movement] = put()
        services.reverse(movement=movement, on=DAY, by=storekeeper)

        assert (still_open(lines["1"]), line_now(lines["1"]).waiting, Tally.objects.get().movement) == (20, 12, None)
        assert [again.quantity for again in put()] == [12]

    def test_reverse_of_damaged_opens_its_line_again(self, count, put, lines, storekeeper):
        count("SPAR", 1, bag="7/A", finding="damaged")
        [movement] = put()
        services.reverse(movement=movement, on=DAY, by=storekeeper)

        assert (still_open(lines["3"]), line_now(lines["3"]).waiting) == (2, 1)

    def test_reverse_of_what_arrived_before_the_count_lets_all_be_put_away(self, count, put, lines, drawer, storekeeper):
        first = receiving.arrive(line=lines["1"], quantity=Decimal(12), place=drawer, on=DAY, by=storekeeper)
        count("MS20470AD4-6", 20)
        put()
        services.reverse(movement=first, on=DAY, by=storekeeper)

        assert [movement.quantity for movement in put()] == [12]
        assert (in_stock(ref=f"line:{lines['1'].pk}"), still_open(lines["1"])) == (20, 0)

    def test_reverse_of_any_other_movement_works_as_before(self, lot, drawer, builder):
        factories.stock(lot, 5, place=drawer)
        used = stock.use(lot=lot, quantity=Decimal(2), place=drawer, on=DAY, by=builder)

        assert services.reverse(movement=used, on=DAY, by=builder).reverses == used

    def test_put_away_keeps_stock_keeping_to_its_roles(self, count, put, builder):
        count("MS20470AD4-6", 12)
        with pytest.raises(NotAllowed):
            put(by=builder)

    def test_put_away_refuses_a_place_of_the_outsider(self, count, put, outsider, workshop):
        count("MS20470AD4-6", 12)
        with pytest.raises(NotAllowed):
            put(place=Place(workshop=outsider, path="x", pk=0))


class TestCrate:
    def test_arrived_starts_the_clocks(self, crate, builder):
        assert services.arrived(crate=crate, on=DAY, by=builder).arrived_on == DAY
        assert services.arrived(crate=crate, on=None, by=builder).arrived_on is None

    def test_arrived_before_it_was_shipped_is_refused(self, crate, builder):
        Crate.objects.filter(pk=crate.pk).update(shipped_on=date(2027, 2, 21))
        with pytest.raises(services.FieldProblem, match="before it was shipped on 2027-02-21"):
            services.arrived(crate=crate, on=DAY, by=builder)

    def test_close_gives_up_what_is_missing_and_keeps_what_waits(self, count, crate, lines, storekeeper, drawer):
        count("MS20470AD4-6", 12)
        services.close(crate=crate, on=DAY, by=storekeeper)

        assert [still_open(lines[number]) for number in "1234"] == [12, 0, 0, 0]
        assert {each.kind for each in queries.differences(crate_now(crate))} == {"short"}
        services.put_away(crate=crate, place=drawer, on=DAY, by=storekeeper)
        assert still_open(lines["1"]) == 0

    def test_closed_crate_is_not_counted_nor_closed_again(self, count, crate, bags, lines, storekeeper, minute):
        found = count("SPAR", 1)
        services.close(crate=crate, on=DAY, by=storekeeper)
        acts = [
            lambda: count("SPAR", 1),
            lambda: services.correct(line=lines["1"], counted=Decimal(1), at=minute(1), by=storekeeper),
            lambda: services.undo(tally=found, by=storekeeper, at=minute(1)),
            lambda: services.finish_bag(bag=bags["7"], on=DAY, by=storekeeper),
            lambda: services.close(crate=crate, on=DAY, by=storekeeper),
        ]
        for act in acts:
            with pytest.raises(services.CountingClosed, match="was closed on 2027-02-20"):
                act()

    def test_reopen_takes_up_what_closing_gave_up(self, count, crate, lines, storekeeper):
        count("MS20470AD4-6", 12)
        receiving.cancel_rest(line=lines["2"], by=storekeeper)
        services.close(crate=crate, on=DAY, by=storekeeper)
        services.reopen(crate=crate, by=storekeeper)

        assert [still_open(lines[number]) for number in "1234"] == [20, 0, 2, 500]
        count("MS20470AD4-6", 1)
        with pytest.raises(services.CountingClosed, match="isn't closed"):
            services.reopen(crate=crate, by=storekeeper)

    def test_close_takes_who_keeps_stock(self, crate, builder):
        with pytest.raises(NotAllowed):
            services.close(crate=crate, on=DAY, by=builder)


def crate_now(crate):
    return Crate.objects.get(pk=crate.pk)


def test_queries_of_putting_away_do_not_grow_with_lines(crate, bags, items, count, drawer, storekeeper, django_assert_num_queries):
    given = {"crate": crate, "place": drawer, "on": DAY, "by": storekeeper}
    count("MS20470AD4-7", 1, bag="7/A")
    services.put_away(**given)  # makes the supplier's place
    count("MS20470AD4-6", 1)
    with CaptureQueriesContext(connection) as one:
        services.put_away(**given)
    for number in range(10, 40):
        factories.PackingLineFactory(crate=crate, bag=bags["8"], number=str(number), item=factories.ItemFactory(workshop=crate.workshop))
    for line in PackingLine.objects.filter(crate=crate, bag=bags["8"]).exclude(number="4"):
        count("SPAR", 1, line=line, item=None)

    with django_assert_num_queries(len(one)):
        services.put_away(**given)
