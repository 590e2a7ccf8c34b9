from datetime import date
from decimal import Decimal

import pytest
from django_scopes import scopes_disabled

from inventory.models import Bag, Crate, PackingLine
from tests import factories, loads
from tests.loads import load, loaded

ALL = f"{loads.PACKING},name,unit,lot,made,expires"

pytestmark = pytest.mark.usefixtures("catalogue")


def test_packing_keeps_every_column(file):
    path = file("p.csv", ALL, "7A/1,12,AN470AD4-6,200,Rivets,,R-9,2026-11,2Q28", "7A,13,FLT.140,3,,ft,,,")
    found = loaded("packing", path, "--crate", "C-7", "--due", "2027-03-12")
    assert found.loaded == {"lines": 2, "bags": 2, "made": ["crate C-7"]}
    crate = Crate.objects.get()
    assert (crate.code, crate.bench.code, crate.due_on) == ("C-7", "TERN", date(2027, 3, 12))
    first, second = PackingLine.objects.select_related("item", "bag").order_by("number")
    assert (first.bag.path, first.number, first.item.code, first.name) == ("7A/1", "12", "MS20470AD4-6", "Rivets")
    assert (first.quantity, first.open_quantity, first.lot_code) == (200, 200, "R-9")
    assert (str(first.made), str(first.expires)) == ("2026-11", "2Q2028")
    assert (second.quantity, second.rounding) == (Decimal("0.914"), "3 ft = 0.9144 m, rounded half up to 0.914")


def test_packing_nests_bags(file):
    loaded("packing", file("p.csv", loads.PACKING, "7A/1/b,1,SEAL-B2,5", "7A / 2,1,SEAL-B2,5"), "--crate", "C-7")
    assert set(Bag.objects.values_list("path", "parent__path")) == {("7A", None), ("7A/1", "7A"), ("7A/1/b", "7A/1"), ("7A/2", "7A")}


def test_packing_without_a_due_day_has_none(file):
    loaded("packing", file("p.csv", loads.PACKING, "7A,1,SEAL-B2,5"), "--crate", "C-7")
    assert Crate.objects.get().due_on is None


def test_packing_fills_a_crate_that_is_there_and_empty(file, bench, other_bench):
    crate = factories.CrateFactory(bench=other_bench, code="C-7", due_on=date(2027, 3, 1))
    found = loaded("packing", file("p.csv", loads.PACKING, "7A,1,SEAL-B2,5"), "--crate", "c-7", "--due", "2027-03-12")
    assert found.loaded["made"] == []
    crate.refresh_from_db()
    assert (crate.due_on, crate.lines.count()) == (date(2027, 3, 12), 1)


def test_packing_refuses_a_crate_that_has_lines(file):
    path = file("p.csv", loads.PACKING, "7A,1,SEAL-B2,5")
    loaded("packing", path, "--crate", "C-7")
    before = loads.row_counts()
    found = load("packing", path, "--crate", "C-7", "--due", "2027-03-12")
    assert (found.code, found.errors) == (1, ["crate C-7 has packing lines already: a list is loaded once"])
    assert loads.row_counts() == before
    assert Crate.objects.get().due_on is None


def test_packing_refuses_another_benchs_crate(file, bench, other_bench):
    factories.CrateFactory(bench=other_bench, code="C-7")
    found = load("packing", file("p.csv", loads.PACKING, "7A,1,SEAL-B2,5"), "--crate", "C-7", "--bench", "TERN")
    assert found.errors == ["crate C-7 belongs to bench PLOVER, not to TERN"]


def test_packing_refuses_a_line_twice_in_a_bag(file):
    before = loads.row_counts()
    found = load("packing", file("p.csv", loads.PACKING, "7A,1a,SEAL-B2,5", "7B,1a,SEAL-B2,5", "7a,1A,SEAL-B2,5"), "--crate", "C-7")
    assert found.errors == ["p.csv:4: line: '1A' of bag 7a is already on p.csv:2: give each line of a bag its own number"]
    assert loads.row_counts() == before


def test_packing_refuses_bad_cells_all_at_once(file):
    rows = "7A//b,1,SEAL-B2,5,", ",2,SEAL-B2,5,", "7A,,SEAL-B2,0,", f"7A,4,NOPE,5,{'x' * 201}"
    found = load("packing", file("p.csv", f"{loads.PACKING},name", *rows), "--crate", "C-7")
    places = [error.split(": ")[:2] for error in found.errors]
    assert places == [
        ["p.csv:2", "bag"],
        ["p.csv:3", "bag"],
        ["p.csv:4", "quantity"],
        ["p.csv:4", "line"],
        ["p.csv:5", "item"],
        ["p.csv:5", "name"],
    ]


def test_packing_may_take_the_code_of_an_outsiders_crate(file, outsider):
    loaded("packing", file("p.csv", loads.PACKING, "7A,1,SEAL-B2,5"), "--crate", "OUTSIDE-CRATE")
    with scopes_disabled():
        assert PackingLine.objects.filter(workshop=outsider).count() == 1
