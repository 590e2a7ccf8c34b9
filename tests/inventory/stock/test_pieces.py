"""What is counted by the piece is whole, whichever way it comes in; what is weighed or measured may be a part."""

from decimal import Decimal
from uuid import uuid4

import pytest

from inventory.claims import services as claims
from inventory.claims.services import Chosen
from inventory.common.quantities import PartOfPiece
from inventory.models import Holding, Movement, PackingLine
from inventory.pool import passing
from inventory.receiving import services as receiving
from inventory.receiving.services import LineData
from inventory.stock import services
from inventory.stock.queries import ledger_errors
from inventory.tallying import services as tallying
from tests import factories, scans
from tests.factories import DAY
from tests.scans import NOW

HALF = Decimal("2.5")


@pytest.fixture
def shelf(workshop):
    return factories.PlaceFactory(workshop=workshop, path="Hangar/Shelf")


@pytest.fixture
def stocked(lot, drawer):
    factories.stock(lot, 10, place=drawer)
    return lot


@pytest.fixture
def half(lot, drawer):
    """What an old file said: 2.5 ea."""
    factories.stock(lot, "2.5", place=drawer)
    return lot


@pytest.fixture
def line(bench, item):
    return factories.PackingLineFactory(crate=factories.CrateFactory(bench=bench), item=item, quantity=Decimal(4))


def held(lot):
    return sum(Holding.objects.filter(lot=lot).values_list("quantity", flat=True), Decimal(0))


STOCK = {
    "receive": lambda lot, by, drawer, _: services.receive(lot=lot, quantity=HALF, place=drawer, on=DAY, by=by),
    "move": lambda lot, by, drawer, shelf: services.move(lot=lot, quantity=HALF, source=drawer, target=shelf, on=DAY, by=by),
    "use": lambda lot, by, drawer, _: services.use(lot=lot, quantity=HALF, place=drawer, on=DAY, by=by),
    "scrap": lambda lot, by, drawer, _: services.scrap(lot=lot, quantity=HALF, place=drawer, on=DAY, by=by),
    "lose": lambda lot, by, drawer, _: services.lose(lot=lot, quantity=HALF, place=drawer, on=DAY, by=by),
    "adjust": lambda lot, by, drawer, _: services.adjust(lot=lot, counted=HALF, place=drawer, on=DAY, by=by),
    "spoil": lambda lot, by, drawer, _: services.spoil(lot=lot, quantity=HALF, place=drawer, on=DAY, by=by),
    "set_aside": lambda lot, by, *_: services.set_aside(lot=lot, ref="step:1", quantity=HALF, by=by),
}


@pytest.mark.parametrize("way", STOCK)
def test_stock_refuses_part_of_a_piece_and_names_the_field(stocked, owner, drawer, shelf, way):
    with pytest.raises(PartOfPiece, match=rf"^2.5 ea of {stocked.item.code} is no whole number of pieces: give 2 or 3$") as refused:
        STOCK[way](stocked, owner, drawer, shelf)

    assert refused.value.field == ("counted" if way == "adjust" else "quantity")
    assert (held(stocked), Movement.objects.filter(lot=stocked).count()) == (10, 1)


@pytest.mark.parametrize("way", STOCK)
def test_stock_takes_a_part_of_what_is_weighed(workshop, bench, owner, drawer, shelf, way):
    lot = factories.LotFactory(bench=bench, item__unit="g", item__workshop=workshop)
    factories.stock(lot, 10, place=drawer)

    assert STOCK[way](lot, owner, drawer, shelf)
    assert ledger_errors() == []


def test_half_that_a_file_said_leaves_as_a_whole(half, owner, drawer, shelf):
    services.move(lot=half, quantity=HALF, source=drawer, target=shelf, on=DAY, by=owner)
    with pytest.raises(PartOfPiece, match=r"0.5 ea of .*: give 1, or none"):
        services.use(lot=half, quantity=Decimal("0.5"), place=shelf, on=DAY, by=owner)

    assert services.use(lot=half, quantity=HALF, place=shelf, on=DAY, by=owner).quantity == HALF


def test_half_that_a_file_said_is_put_right_by_a_count(half, owner, drawer):
    services.adjust(lot=half, counted=Decimal(2), place=drawer, on=DAY, by=owner)

    assert held(half) == 2


@pytest.mark.parametrize("action", ["take", "put", "count"])
def test_scan_refuses_part_of_a_piece(stocked, item, owner, drawer, shelf, action, time_machine):
    time_machine.move_to(NOW, tick=False)
    place = shelf.path if action == "put" else drawer.path
    answer = scans.one(owner, item.code, action, quantity="0.5", place=place)

    assert (answer.outcome, answer.status) == ("refused", 400)
    assert answer.body["detail"] == f"0.5 ea of {item.code} is no whole number of pieces: give 1, or none"
    assert held(stocked) == 10


def test_scan_carries_a_half_that_a_file_said(half, item, owner, shelf, time_machine):
    time_machine.move_to(NOW, tick=False)

    assert scans.one(owner, item.code, "put", place=shelf.path).outcome == "done"


def test_scan_counts_no_part_of_a_piece_in_a_crate(line, item, owner, time_machine):
    time_machine.move_to(NOW, tick=False)

    answer = scans.one(owner, item.code, "tally", quantity="2.5", bag=line.crate.code)
    assert (answer.status, line.tallies.count()) == (400, 0)


def test_tally_refuses_part_of_a_piece(line, owner):
    crate, said = line.crate, {"at": NOW, "by": owner}
    tallying.tally(crate=crate, bag=None, line=line, quantity=Decimal(3), **said)

    with pytest.raises(PartOfPiece):
        tallying.tally(crate=crate, bag=None, line=line, quantity=HALF, **said)
    with pytest.raises(PartOfPiece):
        tallying.correct(line=line, counted=HALF, **said)
    with pytest.raises(PartOfPiece):
        tallying.count_fewer(line=line, quantity=Decimal("0.5"), **said)
    assert [row.quantity for row in line.tallies.all()] == [3]


def test_mystery_may_be_any_quantity(line, owner):
    assert tallying.tally(crate=line.crate, bag=None, finding="mystery", quantity=HALF, at=NOW, by=owner).quantity == HALF


def test_crate_s_lines_and_orders_are_whole(line, item, bench, drawer, owner):
    data = LineData(bag="", number="9", item_id=item.pk, quantity=HALF)
    for refused in (
        lambda: receiving.add_line(crate=line.crate, data=data, by=owner),
        lambda: receiving.edit_line(line=line, quantity=HALF, by=owner),
        lambda: receiving.arrive(line=line, quantity=HALF, place=drawer, on=DAY, by=owner),
        lambda: receiving.expect(bench=bench, item=item, quantity=HALF, due_on=None, ordered_on=DAY, by=owner),
    ):
        with pytest.raises(PartOfPiece):
            refused()
    assert [row.quantity for row in PackingLine.objects.filter(crate__bench=bench)] == [4]


def test_bench_gives_and_asks_for_whole_pieces(stocked, item, bench, other_bench, owner):
    said = {"until": None, "note": "", "key": uuid4(), "by": owner, "now": NOW}
    with pytest.raises(PartOfPiece):
        passing.offer(lot=stocked, quantity=HALF, taker=other_bench, **said)
    with pytest.raises(PartOfPiece):
        passing.ask(item=item, quantity=HALF, taker=bench, giver=other_bench, **said)


def test_claim_is_of_whole_pieces_or_of_all_that_differs(bench, item, owner):
    crate = factories.CrateFactory(bench=bench, carrier="Van", sender=None)
    line = factories.PackingLineFactory(crate=crate, item=item, quantity=HALF)  # as the sender's list says
    tallying.close(crate=crate, on=DAY, by=owner)

    with pytest.raises(PartOfPiece, match=r"0.5 ea of .* give 1, or none"):
        claims.draft_claims(crate=crate, on=DAY, by=owner, chosen=[Chosen(line.pk, item.pk, "shortage", Decimal("0.5"))])
    with pytest.raises(claims.NobodyToAsk):  # it got as far as that
        claims.draft_claims(crate=crate, on=DAY, by=owner)
