"""The sheet, the differences and the receipt, against the ledger."""

from decimal import Decimal

import pytest
from django.db import connection
from django.db.models import Sum
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.models import Crate, Movement, Tally
from inventory.receiving import services as receiving
from inventory.stock.queries import ledger_errors
from inventory.tallying import queries, services
from inventory.tallying.calc import Measured
from tests import factories
from tests.factories import DAY


@pytest.fixture
def put(crate, drawer, storekeeper, bags):
    def put(bag=None):
        return services.put_away(crate=crate, bag=bags[bag] if bag else None, place=drawer, on=DAY, by=storekeeper)

    return put


def by_path(found):
    return {bag.path: bag for bag in found.bags}


def test_sheet_stands_by_bags_and_counts_what_is_inside(count, crate, builder):
    count("SPAR", 2, bag="7/A")
    count("MS20470AD4-6", 5)
    found = by_path(queries.sheet(crate))

    assert list(found) == ["7", "7/A", "8"]
    assert [(bag.found_within, bag.lines_within, bag.bags_within, bag.begun) for bag in found.values()] == [
        (1, 3, 1, True),
        (1, 2, 0, True),
        (0, 1, 0, False),
    ]
    assert (found["7/A"].depth, found["7/A"].name, found["7"].percent) == (1, "A", 33)
    [line] = found["7"].lines
    assert (line.listed, line.good, line.left, line.waiting, line.last_by) == (20, 5, 15, 5, builder.name)


def test_sheet_of_a_bag_is_that_bag_and_those_inside(crate, bags, count):
    count("SEAL-B2", 5, bag="8")

    assert [bag.path for bag in queries.sheet(crate, bags["7"]).bags] == ["7", "7/A"]
    assert queries.sheet(crate, bags["7/A"]).extras == ()


def test_sheet_shows_what_lies_in_no_bag(crate, items, count):
    factories.PackingLineFactory(crate=crate, number="9", item=items["SPAR"])
    count("SPAR", 1, bag=None)

    loose = queries.sheet(crate).bags[-1]
    assert (loose.id, [line.good for line in loose.lines]) == (None, [1])


def test_sheet_leaves_out_the_outsider_s(foreign, crate):
    assert queries.sheet(foreign.crate).lines == ()


def test_queries_do_not_grow_with_lines_and_counts(crate, count, bags, items, put):
    def taken(read):
        with CaptureQueriesContext(connection) as found:
            read(crate)
        return len(found)

    count("SPAR", 1, bag="7/A")
    one = [taken(read) for read in (queries.sheet, queries.differences, queries.receipt)]
    for number in range(10, 40):
        factories.PackingLineFactory(crate=crate, bag=bags["8"], number=str(number), item=items["SPAR"])
        count("SPAR", 1, bag="8")
    put()
    assert [taken(read) for read in (queries.sheet, queries.differences, queries.receipt)] == one == [5, 5, 7]


def test_differences_name_each_kind_apart(count, crate, bags, lines, builder, minute):
    count("MS20470AD4-6", 12)
    count("MS20470AD4-6", 3, finding="damaged")
    count("SPAR", 3, bag="7/A")
    count("MS20470AD4-7", 50, bag="7/A", finding="wrong")
    count("SEAL-B2", 2, bag="7")
    said = {"crate": crate, "bag": bags["8"], "finding": "mystery", "measured": Measured(), "note": "bent"}
    services.tally(quantity=Decimal(4), at=minute(0), by=builder, **said)
    services.finish_bag(bag=bags["7"], on=DAY, by=builder)

    found = [(each.kind, each.item, each.bag, each.quantity) for each in queries.differences(crate)]
    assert found == [
        ("short", "MS20470AD4-6", "7", 5),
        ("damaged", "MS20470AD4-6", "7", 3),
        ("over", "SEAL-B2", "7", 2),
        ("wrong", "MS20470AD4-7", "7/A", 50),
        ("over", "SPAR", "7/A", 1),
        ("mystery", "", "8", 4),
    ]
    [mystery] = [each for each in queries.differences(crate) if each.kind == "mystery"]
    assert (mystery.item_id, mystery.note, Tally.objects.get(pk=mystery.tally_id).note) == (None, "bent", "bent")


def test_everything_missing_is_short_once_the_crate_is_closed(crate, storekeeper):
    assert queries.differences(crate) == ()

    closed = services.close(crate=crate, on=DAY, by=storekeeper)
    assert [each.quantity for each in queries.differences(closed)] == [20, 50, 2, 500]


def test_candidates_are_lines_that_lack_something(crate, count, lines):
    measured = Measured(lines["1"].item.diameter or None, None, "")
    found = queries.candidates(Measured(queries.calc.Fraction(1, 8), None, ""), queries.sheet(crate))
    assert {each.line.number for each in found} == {"1", "2"}
    assert queries.candidates(measured, queries.sheet(crate)) == ()

    count("MS20470AD4-6", 20)
    found = queries.candidates(Measured(queries.calc.Fraction(1, 8), None, ""), queries.sheet(crate))
    assert {each.line.number for each in found} == {"2"}


def test_receipt_compares_what_is_printed_and_never_uses_it(crate):
    assert queries.receipt(crate).totals.agree

    Crate.objects.filter(pk=crate.pk).update(printed_lines=4, printed_quantity=Decimal(570))
    totals = queries.receipt(Crate.objects.get(pk=crate.pk)).totals
    assert (totals.lines, totals.quantity, totals.agree) == (4, 572, False)


def test_receipt_says_where_each_line_was_put_and_who_counted(count, crate, put, drawer, builder, storekeeper):
    count("SPAR", 1, bag="7/A")
    count("SPAR", 1, bag="7/A", finding="damaged", by=storekeeper)
    put()
    found = queries.receipt(crate)
    [line] = [line for line in found.sheet.lines if line.item == "SPAR"]

    assert [(each.place, each.state, each.quantity) for each in found.places_of(line)] == [
        (drawer.path, "good", 1),
        (drawer.path, "disputed", 1),
    ]
    assert sorted(found.counted_by) == sorted({builder.name, storekeeper.name})


def test_receipt_shows_what_arrived_without_a_count(crate, lines, drawer, storekeeper):
    receiving.arrive_all(lines=list(lines.values()), place=drawer, on=DAY, by=storekeeper)
    found = queries.receipt(crate)

    assert (found.good, found.went_in, found.waiting) == (572, 572, 0)


acts = st.lists(
    st.tuples(
        st.sampled_from(["good", "damaged", "correct", "undo", "put", "reverse", "arrive"]),
        st.sampled_from(["7", "7/A", "8"]),
        st.sampled_from(["MS20470AD4-6", "SPAR", "SEAL-B2"]),
        st.integers(1, 30),
    ),
    max_size=14,
)


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(acts=acts)
def test_receipt_agrees_with_the_ledger_whatever_is_done(acts, workshop, bench, items, storekeeper, drawer, minute):
    """The sum of the movements under a crate's lines and bags is what it says was put away, good and disputed."""
    crate = factories.CrateFactory(bench=bench)
    listed = [("7", "MS20470AD4-6", 20), ("7/A", "SPAR", 2), ("8", "SEAL-B2", 50)]
    data = [receiving.LineData(bag, str(n), items[code].pk, Decimal(quantity)) for n, (bag, code, quantity) in enumerate(listed)]
    lines = receiving.load_lines(crate=crate, lines=data, by=storekeeper)
    bags = {bag.path: bag for bag in crate.bags.all()}
    for number, (act, bag, code, quantity) in enumerate(acts):
        try:
            _do(act, crate, bags[bag], items[code], lines[quantity % 3], quantity, drawer, storekeeper, minute(number))
        except (services.Problem, IndexError):
            continue
        found = queries.receipt(crate)
        refs = {ref for ref, _ in found.placed}
        standing = Movement.objects.filter(ref__in=refs, reverses=None, reversed_by=None)
        assert found.went_in == (standing.aggregate(total=Sum("quantity"))["total"] or 0)
        assert found.went_in == sum(row.good_in + row.damaged_in for row in found.sheet.rows)
        assert found.went_in + found.waiting == found.good + found.damaged
        assert ledger_errors() == []


def _do(act, crate, bag, item, line, quantity, place, by, at):
    said = {"by": by, "at": at}
    if act in {"good", "damaged"}:
        services.tally(crate=crate, bag=bag, item=item, quantity=Decimal(quantity), finding=act, **said)
    elif act == "correct":
        services.correct(line=line, counted=Decimal(quantity), **said)
    elif act == "undo":
        services.undo(tally=Tally.objects.filter(crate=crate).order_by("-pk")[quantity % 3], **said)
    elif act == "put":
        services.put_away(crate=crate, bag=bag if quantity % 2 else None, place=place, on=DAY, by=by)
    elif act == "arrive":
        receiving.arrive(line=line, quantity=Decimal(quantity), place=place, on=DAY, by=by)
    else:
        movements = Movement.objects.filter(target=place, reversed_by=None).order_by("-pk")
        services.reverse(movement=movements[quantity % 3], on=DAY, by=by)
