"""Single things of the pool are known to scans by their serial numbers."""

from datetime import date

import pytest

from inventory.models import Identifier, Loan, Thing
from inventory.pool import services as pool
from inventory.stock.queries import ledger_errors
from tests import factories
from tests.pool import foreign_thing, lend, squeezer
from tests.scans import NOW, one


@pytest.fixture(autouse=True)
def _now(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def things(shared_bench, drawer, storekeeper):
    """Two squeezers of one item, whose lots have no code."""
    first = squeezer(shared_bench, drawer, storekeeper, serial="SQ-0007")
    second = squeezer(shared_bench, drawer, storekeeper, serial="SQ-0008", item=first.lot.item)
    for thing in (first, second):
        thing.lot.code = ""
        thing.lot.save()
    return first, second


def test_find_says_what_it_is_and_where_it_lies(things, builder, drawer):
    answer = one(builder, "sq-0007")

    assert (answer.status, answer.body["item"], answer.body["lot"]) == (200, "SQUEEZER", things[0].lot_id)
    assert answer.body["text"] == f"SQUEEZER SQ-0007, Rivet squeezer: it lies in {drawer.path}"


def test_find_says_who_has_it(things, builder, drawer):
    lend(things[0].lot, drawer, builder, quantity=1, due_on=date(2027, 3, 1))

    assert one(builder, "]C0SQ-0007").body["text"].endswith(f": {builder.name} has it, back by 2027-03-01")


def test_lend_and_return_are_of_that_very_thing_and_name_it(things, builder, drawer):
    lent = one(builder, "SQ-0008", "lend")
    assert (lent.status, lent.body["text"]) == (200, f"1 ea of SQUEEZER SQ-0008 lent to {builder.name}")
    assert Loan.objects.get().lot_id == things[1].lot_id

    again = one(builder, "SQ-0008", "lend")
    assert again.body["detail"] == "all of SQUEEZER SQ-0008 is lent: nothing of it lies on a shelf"

    back = one(builder, "SQ-0008", "return")
    assert back.body["text"] == f"1 ea of SQUEEZER SQ-0008 back in {drawer.path} from {builder.name}"
    assert Loan.objects.get().open == 0
    assert ledger_errors() == []


def test_lend_by_the_item_s_code_names_the_thing_too(things, builder):
    answer = one(builder, "SQUEEZER", "lend", lot=things[1].lot_id)

    assert answer.body["text"].startswith("1 ea of SQUEEZER SQ-0008 lent to")


def test_put_carries_that_thing(things, builder, workshop):
    shelf = factories.PlaceFactory(workshop=workshop, path="Shelf")
    answer = one(builder, "SQ-0007", "put", place="Shelf")

    assert (answer.status, answer.body["lot"]) == (200, things[0].lot_id)
    assert answer.body["text"].startswith("1 ea of SQUEEZER SQ-0007 carried from")
    assert things[0].lot.holdings.get(place=shelf).quantity == 1


def test_code_of_the_catalogue_comes_first(things, builder, item):
    Identifier.objects.create(workshop=item.workshop, item=item, text="SQ-0007", key="SQ-0007")

    assert one(builder, "SQ-0007").body["item"] == item.code


def test_serial_of_two_things_asks_which(things, builder, shared_bench, drawer, storekeeper):
    drill = factories.ItemFactory(workshop=shared_bench.workshop, code="DRILL", kind="tool")
    other = squeezer(shared_bench, drawer, storekeeper, serial="sq-0007", item=drill)
    answer = one(builder, "SQ-0007", "lend")

    assert (answer.status, answer.body["type"]) == (409, "urn:rivetloft:problem:choose")
    assert answer.body["detail"] == "2 things have the serial number SQ-0007, of SQUEEZER and DRILL: say which by `lot`"
    assert [choice["lot"] for choice in answer.body["choices"]] == [things[0].lot_id, other.lot_id]
    assert one(builder, "SQ-0007", "lend", lot=other.lot_id).body["text"].startswith("1 ea of DRILL sq-0007 lent to")


def test_retired_thing_is_known_and_not_lent(things, builder, storekeeper):
    pool.retire_thing(thing=things[0], condition="bent", by=storekeeper, now=NOW)

    assert "Rivet squeezer, retired on 2027-02-20: " in one(builder, "SQ-0007").body["text"]
    assert one(builder, "SQ-0007", "lend").outcome == "refused"
    assert Thing.objects.get(pk=things[0].pk).retired_at == NOW


def test_outsider_s_serial_is_unknown(things, builder, outsider):
    foreign_thing(outsider)

    assert one(builder, "OUTSIDE-SERIAL").outcome == "unknown"
