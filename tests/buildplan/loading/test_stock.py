from datetime import date
from decimal import Decimal

import pytest
import time_machine
from django.utils import timezone
from django_scopes import scopes_disabled

from buildplan.models import LoadedFile
from inventory.models import Holding, Lot, Movement
from inventory.shelflife.calc import StatedDate
from inventory.stock.queries import ledger_errors
from tests import loads
from tests.loads import load, loaded

ALL = f"{loads.STOCK},unit,lot,made,expires,opened,state"


@pytest.fixture(autouse=True)
def ledger_holds(catalogue):
    """Whatever a test did, every holding is the sum of its movements."""
    yield
    assert ledger_errors() == []


def held():
    """What lies where: (lot code, opened, state, place) to quantity."""
    rows = Holding.objects.filter(quantity__gt=0).values_list("lot__code", "lot__opened_on", "lot__state", "place__path", "quantity")
    return {tuple(row[:4]): row[4] for row in rows}


def only_error(found):
    assert found.code == 1
    [error] = found.errors
    return error


def test_stock_keeps_every_column(file):
    path = file("s.csv", ALL, "AN470 AD4-6,200,Hangar / Rack 1/Drawer 3,,R-7,2024-02,2Q27,2026-12-24,quarantined")
    assert loaded("stock", path).loaded == {"lots": 1, "movements": 1, "made": []}
    lot = Lot.objects.select_related("item", "bench").get()
    assert (lot.item.code, lot.bench.code, lot.code, lot.state) == ("MS20470AD4-6", "TERN", "R-7", "quarantined")
    assert (str(lot.made), str(lot.expires), lot.opened_on) == ("2024-02", "2Q2027", date(2026, 12, 24))
    [holding] = Holding.objects.select_related("place")
    assert (holding.place.path, holding.quantity) == ("Hangar/Rack 1/Drawer 3", 200)


def test_stock_writes_what_the_ledger_should_say(file):
    loaded("stock", file("s.csv", loads.STOCK, "SEAL-B2,50,Fridge"))
    [movement] = Movement.objects.select_related("source", "target", "by")
    assert (movement.source.end, movement.target.path, movement.quantity) == ("supplier", "Fridge", 50)
    assert (movement.by.name, movement.by.user, movement.note, movement.on) == (
        "command line",
        None,
        "loaded from s.csv",
        timezone.localdate(),
    )
    assert movement.ref == f"load:{LoadedFile.objects.get(kind='stock').pk}"
    assert Lot.history.filter(id=movement.lot_id).values_list("history_type", "history_user_id").get() == ("+", movement.by.pk)


def test_stock_converts_and_says_how_it_rounded(file):
    loaded("stock", file("s.csv", ALL, "SEAL-B2,2,Fridge,oz,S-1,,,,", "FLT.140,1,Rack,ft,,,,,"))
    found = {
        row["item__code"]: (row["holdings__quantity"], row["rounding"])
        for row in Lot.objects.values("item__code", "holdings__quantity", "rounding")
    }
    assert found["SEAL-B2"] == (Decimal("56.699"), "2 oz = 56.699046... g, rounded half up to 56.699")
    assert found["FLT.140"] == (Decimal("0.305"), "1 ft = 0.3048 m, rounded half up to 0.305")


@time_machine.travel(date(2027, 3, 1))
def test_stock_reads_days_from_today(file):
    loaded("stock", file("s.csv", ALL, "SEAL-B2,1,Fridge,,S-1,today-40,today+18,today,"))
    lot = Lot.objects.get()
    assert (lot.made, lot.expires, lot.opened_on) == (StatedDate(date(2027, 1, 20)), StatedDate(date(2027, 3, 19)), date(2027, 3, 1))


def test_stock_in_two_places_is_one_lot(file):
    loaded("stock", file("s.csv", ALL, "SEAL-B2,10,Fridge,,S-1,,2027-05,,", "SEAL-B2,5,Fridge/Door,,s-1,,2027-05,,"))
    assert Lot.objects.count() == 1
    assert held() == {("S-1", None, "good", "Fridge"): 10, ("S-1", None, "good", "Fridge/Door"): 5}


def test_stock_of_a_batch_opened_or_judged_otherwise_is_another_lot(file):
    path = file(
        "s.csv",
        ALL,
        "SEAL-B2,250,Fridge,,S-1,,2027-05,,",
        "SEAL-B2,70,Fridge,,S-1,,2027-05,2027-01-05,",
        "SEAL-B2,30,Fridge,,S-1,,2027-05,,failed",
    )
    loaded("stock", path)
    opened = date(2027, 1, 5)
    assert held() == {
        ("S-1", None, "good", "Fridge"): 250,
        ("S-1", opened, "good", "Fridge"): 70,
        ("S-1", None, "failed", "Fridge"): 30,
    }


def test_stock_without_a_lot_code_adds_up(file):
    loaded("stock", file("s.csv", loads.STOCK, "SEAL-B2,10,Fridge", "SEAL-B2,2.5,FRIDGE"))
    loaded("stock", file("t.csv", loads.STOCK, "SEAL-B2,4,Fridge"))
    assert held() == {("", None, "good", "Fridge"): Decimal("16.5")}
    assert Lot.objects.count() == 1


def test_stock_without_a_lot_code_but_other_dates_is_another_lot(file):
    loaded("stock", file("s.csv", f"{loads.STOCK},expires", "SEAL-B2,10,Fridge,2027-05", "SEAL-B2,2,Fridge,2027-06", "SEAL-B2,3,Fridge,"))
    assert Lot.objects.count() == 3


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        (("10,Fridge,S-1,,", "5,Fridge,S-1,,"), "s.csv:3: lot: 'S-1' is already on s.csv:2 with the same place: add them up"),
        (("10,Fridge,S-1,,2027-05", "5,Door,S-1,,2027-06"), "s.csv:3: expires: 'S-1' has another date on s.csv:2"),
        (("10,Fridge,S-1,,2027-05", "5,Door,S-1,,"), "s.csv:3: expires: 'S-1' has another date on s.csv:2"),
        (("10,Fridge,S-1,2027-01,", "5,Door,S-1,2027-02,"), "s.csv:3: made: 'S-1' has another date on s.csv:2"),
        (("10,Fridge,S-1,2027-05,2027-05-31", "5,Door,S-1,2027-05-31,2027-05-31"), "s.csv:3: made: 'S-1' has another date"),
        (("10,Fridge,S-1,2027-05-02,2027-05-01",), "s.csv:2: expires: 2027-05-01 is before it was made (2027-05-02)"),
        (("10,Fridge//Door,S-1,,",), "s.csv:2: place: 'Fridge//Door'"),
        (("10,used,S-1,,",), "s.csv:2: place: 'used': used is an end of the ledger"),
        ((f"10,{'x' * 81},S-1,,",), "s.csv:2: place: "),
    ],
)
def test_stock_refuses_rows_that_contradict_each_other(file, rows, told):
    before = loads.row_counts()
    path = file("s.csv", f"{loads.STOCK},lot,made,expires", *(f"SEAL-B2,{row}" for row in rows))
    assert only_error(load("stock", path)).startswith(told)
    assert loads.row_counts() == before


def test_stock_refuses_a_life_past_the_calendar(file):
    loaded("catalogue", file("c.csv", f"{loads.CATALOGUE},life_months,open_life_days", f"{loads.SEALANT},12,45"))
    rows = "SEAL-B2,1,Fridge,9999-05,", "SEAL-B2,1,Fridge,,9999-12-30"
    found = load("stock", file("s.csv", f"{loads.STOCK},made,opened", *rows))
    assert [error.split(": ")[:2] for error in found.errors] == [["s.csv:2", "made"], ["s.csv:3", "opened"]]


def test_stock_refuses_a_lot_code_that_an_earlier_file_loaded(file):
    loaded("stock", file("s.csv", f"{loads.STOCK},lot", "SEAL-B2,10,Fridge,S-1"))
    before = loads.row_counts()
    error = only_error(load("stock", file("t.csv", f"{loads.STOCK},lot", "AN470AD4-6,5,Rack,S-1", "SEAL-B2,10,Door,s-1")))
    assert error == "t.csv:3: lot: 's-1' is on bench TERN already: to say how much lies where, load with --recount"
    assert loads.row_counts() == before


def test_stock_refuses_content_that_was_loaded_before(file, tmp_path):
    loaded("stock", file("s.csv", loads.STOCK, "SEAL-B2,10,Fridge"))
    book = loads.book(tmp_path / "again.xlsx", stock=["place,item,quantity", "Fridge,SEAL-B2,10"])
    assert only_error(load("stock", book)).startswith("again.xlsx:stock: this was loaded for bench TERN on ")
    assert held() == {("", None, "good", "Fridge"): 10}


def test_stock_takes_the_same_content_for_another_bench(file, other_bench):
    path = file("s.csv", f"{loads.STOCK},lot", "SEAL-B2,10,Fridge,S-1")
    loaded("stock", path, "--bench", "TERN")
    loaded("stock", path, "--bench", "PLOVER")
    assert sorted(Lot.objects.values_list("bench__code", flat=True)) == ["PLOVER", "TERN"]


def test_stock_adds_up_to_what_a_row_can_hold(file):
    found = load("stock", file("s.csv", loads.STOCK, "SEAL-B2,999999999999,Fridge", "SEAL-B2,2,Fridge"))
    assert found.errors == ["s.csv:3: quantity: with the rows before it 1000000000001 g, past 10^12: check them"]


def test_stock_of_an_outsider_is_untouched(file, outsider):
    with scopes_disabled():
        before = list(Holding.objects.filter(workshop=outsider).values_list("pk", "quantity"))
    loaded("stock", file("s.csv", f"{loads.STOCK},lot", "SEAL-B2,10,Shelf 0,OUTSIDE-LOT"))
    with scopes_disabled():
        assert list(Holding.objects.filter(workshop=outsider).values_list("pk", "quantity")) == before
    assert [error.split(": ")[1] for error in load("stock", file("t.csv", loads.STOCK, "OUTSIDE-ITEM,1,Fridge")).errors] == ["item"]


# Recount


@pytest.fixture
def stocked(file):
    """Two lots of one batch and one without a code, in two places."""
    rows = "250,Fridge,S-1,2027-05,", "70,Fridge,S-1,2027-05,2027-01-05", "40,Door,S-1,2027-05,", "9,Fridge,,,"
    path = file("s.csv", f"{loads.STOCK},lot,expires,opened", *(f"SEAL-B2,{row}" for row in rows))
    loaded("stock", path)
    return path


def recounted(file, *rows, columns="lot,expires,opened"):
    return loaded("stock", file("count.csv", f"{loads.STOCK},{columns}", *(f"SEAL-B2,{row}" for row in rows)), "--recount")


def test_recount_of_unchanged_stock_writes_no_movement(stocked):
    before = Movement.objects.count()
    assert loaded("stock", stocked, "--recount").loaded == {"lots": 0, "movements": 0, "made": []}
    assert Movement.objects.count() == before


def test_recount_moves_the_differences_of_named_groups(stocked, file):
    found = recounted(file, "240,Fridge,S-1,,", "70,Fridge,S-1,,2027-01-05", "12,Fridge,,,")
    assert found.loaded["movements"] == 2
    opened = date(2027, 1, 5)
    assert held() == {
        ("S-1", None, "good", "Fridge"): 240,
        ("S-1", opened, "good", "Fridge"): 70,
        ("S-1", None, "good", "Door"): 40,
        ("", None, "good", "Fridge"): 12,
    }
    ends = Movement.objects.order_by("-pk")[:2].values_list("source__path", "target__path", "quantity")
    assert set(ends) == {("Fridge", "counted", Decimal(10)), ("counted", "Fridge", Decimal(3))}


def test_recount_empties_what_a_group_no_longer_names(stocked, file):
    recounted(file, "240,Fridge,S-1,2027-05,")
    assert ("S-1", date(2027, 1, 5), "good", "Fridge") not in held()
    assert held()["S-1", None, "good", "Door"] == 40


def test_recount_makes_a_lot_that_is_not_there(stocked, file):
    assert recounted(file, "5,Fridge,S-2,2027-06,", "6,Freezer,S-2,2027-06,").loaded["lots"] == 1
    assert held()["S-2", None, "good", "Freezer"] == 6
    assert Lot.objects.get(code="S-2").expires == StatedDate(date(2027, 6, 30), "month")


def test_recount_reads_a_unit(stocked, file):
    recounted(file, "1.5,Door,S-1,kg", columns="lot,unit")
    assert held()["S-1", None, "good", "Door"] == 1500


def test_recount_refuses_other_dates(stocked, file):
    before = loads.row_counts()
    path = file("count.csv", f"{loads.STOCK},lot,expires", "SEAL-B2,1,Fridge,S-1,2027-07")
    assert only_error(load("stock", path, "--recount")).startswith("count.csv:2: lot: this lot is known with expires 2027-05")
    assert loads.row_counts() == before


def test_recount_refuses_zero_and_says_what_would_do(stocked, file):
    path = file("count.csv", f"{loads.STOCK},lot", "SEAL-B2,0,Fridge,S-1")
    told = "count.csv:2: quantity: '0' is zero: to say that none is left, correct the holding on the Shelves page"
    assert only_error(load("stock", path, "--recount")) == told


def test_recount_loads_what_was_not_loaded_yet(file):
    assert recounted(file, "5,Fridge,S-2,2027-06,").loaded == {"lots": 1, "movements": 1, "made": []}


def test_recount_of_our_bench_leaves_the_others(stocked, file, other_bench):
    path = file("p.csv", f"{loads.STOCK},lot,expires", "SEAL-B2,33,Fridge,S-1,2027-05")
    loaded("stock", path, "--bench", "PLOVER")
    loaded("stock", file("q.csv", f"{loads.STOCK},lot", "SEAL-B2,1,Fridge,S-1"), "--bench", "TERN", "--recount")
    assert Holding.objects.get(lot__bench=other_bench).quantity == 33


def test_a_recounted_file_is_not_loaded_after_all(file):
    path = file("s.csv", loads.STOCK, "SEAL-B2,10,Fridge")
    loaded("stock", path, "--recount")
    assert load("stock", path).code == 1


def test_stock_says_which_rows_tell_of_half_a_piece_and_keeps_them(file):
    found = loaded("stock", file("s.csv", loads.STOCK, "MS20470AD4-6,2.5,Drawer", "MS20470AD4-6,3,Shelf", "SEAL-B2,2.5,Fridge"))

    text = "2.5 ea of MS20470AD4-6 is no whole number of pieces: kept as written; count it to put it right"
    assert found.warnings == [f"s.csv:2: quantity: {text}"]
    assert sorted(held().values()) == [Decimal("2.5"), Decimal("2.5"), 3]
