from decimal import Decimal
from fractions import Fraction

import pytest
from django_scopes import scopes_disabled

from inventory.models import Identifier, Item
from tests import factories, loads
from tests.loads import load, loaded

ALL = "ITEM,NAME,KIND,UNIT,identifiers,pack,lead_days,life_months,open_life_days,min_life_days,diameter,gravity,base,accelerator"


def only_error(found):
    assert found.code == 1
    [error] = found.errors
    return error


def test_catalogue_keeps_every_column(workshop, file):
    path = file("c.csv", ALL, "SEAL-B2,Tank sealant,Sealant,g,PS-B2; B2,150.5,14,9,45,3,1/8,1.61,100,12.5")
    assert loaded("catalogue", path).loaded == {"items": 1, "new": 1, "changed": 0, "identifiers": 3, "made": []}
    item = Item.objects.get()
    assert (item.code, item.name, item.kind, item.unit) == ("SEAL-B2", "Tank sealant", "sealant", "g")
    assert (item.pack, item.lead_days, item.life_months) == (Decimal("150.5"), 14, 9)
    assert (item.open_life_days, item.min_life_days, item.diameter) == (45, 3, Fraction(1, 8))
    assert (item.gravity, item.base, item.accelerator) == (Decimal("1.61"), Decimal(100), Decimal("12.5"))
    assert set(Identifier.objects.values_list("text", "key")) == {("SEAL-B2", "SEAL-B2"), ("PS-B2", "PS-B2"), ("B2", "B2")}


def test_catalogue_leaves_blank_what_is_not_known(workshop, file):
    loaded("catalogue", file("c.csv", ALL, "A,Thing,part,ea,,,,,,,,,,"))
    item = Item.objects.get()
    assert (item.pack, item.lead_days, item.life_months, item.open_life_days, item.min_life_days) == (None, None, None, None, 0)
    assert (item.diameter, item.gravity, item.base, item.accelerator) == (None, None, None, None)


def test_catalogue_again_updates_in_place(workshop, file):
    loaded("catalogue", file("c.csv", f"{loads.CATALOGUE},pack,lead_days", "A,Thing,part,ea,100,5", "B,Other,part,ea,,"))
    pk = Item.objects.get(code="A").pk
    found = loaded("catalogue", file("d.csv", f"{loads.CATALOGUE},lead_days,identifiers", "a,Better name,tool,ea,7,A-1"))
    assert found.loaded == {"items": 1, "new": 0, "changed": 1, "identifiers": 1, "made": []}
    item = Item.objects.get(pk=pk)
    assert (item.code, item.name, item.kind, item.pack, item.lead_days) == ("A", "Better name", "tool", Decimal(100), 7)
    assert Item.objects.count() == 2


def test_catalogue_again_clears_what_a_column_leaves_blank(workshop, file):
    loaded("catalogue", file("c.csv", f"{loads.CATALOGUE},lead_days", "A,Thing,part,ea,5"))
    loaded("catalogue", file("d.csv", f"{loads.CATALOGUE},lead_days", "A,Thing,part,ea,"))
    assert Item.objects.get().lead_days is None


def test_catalogue_again_only_adds_identifiers(workshop, file):
    loaded("catalogue", file("c.csv", f"{loads.CATALOGUE},identifiers", "A,Thing,part,ea,A-1;A-2"))
    loaded("catalogue", file("d.csv", f"{loads.CATALOGUE},identifiers", "A,Thing,part,ea,a-2;A-3"))
    assert set(Identifier.objects.values_list("text", flat=True)) == {"A", "A-1", "A-2", "A-3"}


def test_catalogue_again_unchanged_changes_nothing(workshop, file):
    path = file("c.csv", f"{loads.CATALOGUE},pack", "A,Thing,part,ea,2.5")
    loaded("catalogue", path)
    histories = Item.history.count()
    assert loaded("catalogue", path).loaded == {"items": 1, "new": 0, "changed": 0, "identifiers": 0, "made": []}
    assert Item.history.count() == histories


def test_catalogue_refuses_an_item_twice_and_names_the_first_row(workshop, file):
    path = file("c.csv", loads.CATALOGUE, loads.RIVETS, "ms20470 ad4-6,Again,rivet,ea")
    assert only_error(load("catalogue", path)) == "c.csv:3: item: 'ms20470 ad4-6' is already on c.csv:2: keep one of these rows"


@pytest.mark.parametrize("rows", [("A,Thing,part,ea,X", "B,Other,part,ea,x"), ("A,Thing,part,ea,B", "B,Other,part,ea,")])
def test_catalogue_refuses_a_code_of_two_items_in_one_file(workshop, file, rows):
    error = only_error(load("catalogue", file("c.csv", f"{loads.CATALOGUE},identifiers", *rows)))
    assert error.startswith("c.csv:3: ")
    assert "already means another item, on c.csv:2" in error


def test_catalogue_takes_an_items_own_code_among_its_identifiers(workshop, file):
    loaded("catalogue", file("c.csv", f"{loads.CATALOGUE},identifiers", "A,Thing,part,ea,a;A-1;A-1"))
    assert Identifier.objects.count() == 2


def test_catalogue_refuses_an_identifier_that_means_another_item(catalogue, file):
    path = file("c.csv", f"{loads.CATALOGUE},identifiers", "NEW,Thing,part,ea,an470ad4-6")
    assert only_error(load("catalogue", path)) == "c.csv:2: identifiers: an470ad4-6 already means MS20470AD4-6: a code means one item"


def test_catalogue_refuses_an_item_under_another_of_its_codes(catalogue, file):
    error = only_error(load("catalogue", file("c.csv", loads.CATALOGUE, "AN470AD4-6,Rivet,rivet,ea")))
    assert error.startswith("c.csv:2: item: AN470AD4-6 already means MS20470AD4-6")


def lot_of(item):
    factories.LotFactory(bench=factories.BenchFactory(workshop=item.workshop), item=item)


def call_out_of(item):
    factories.CallOutFactory(step__project__bench__workshop=item.workshop, item=item)


def line_of(item):
    factories.PackingLineFactory(crate__bench__workshop=item.workshop, item=item)


@pytest.mark.parametrize("count", [lot_of, call_out_of, line_of])
def test_catalogue_refuses_another_unit_of_an_item_that_is_counted(catalogue, file, count):
    count(Item.objects.get(code="SEAL-B2"))
    error = only_error(load("catalogue", file("c.csv", loads.CATALOGUE, "SEAL-B2,Tank sealant,sealant,kg")))
    assert error.startswith("c.csv:2: unit: SEAL-B2 is counted in g already")


def test_catalogue_takes_another_unit_of_an_item_that_nothing_is_counted_in(catalogue, file):
    loaded("catalogue", file("c.csv", loads.CATALOGUE, "SEAL-B2,Tank sealant,sealant,kg"))
    assert Item.objects.get(code="SEAL-B2").unit == "kg"


@pytest.mark.parametrize(
    ("column", "cell", "told"),
    [
        ("kind", "rivit", "'rivit' is unknown: did you mean rivet?"),
        ("kind", "", "blank"),
        ("unit", "furlongs per week", "is no known unit"),
        ("unit", "EA", "write ea for a count"),
        ("unit", "hour", "hour is a time"),
        ("pack", "0", "is zero"),
        ("pack", "0.0005", "write at most 3 decimals"),
        ("lead_days", "-1", "is not from 0 to 99999"),
        ("lead_days", "1.5", "is no whole number"),
        ("life_months", "0", "is not from 1 to 9999"),
        ("diameter", "1/0", "is no fraction"),
        ("gravity", "1000", "write a number under 1000"),
        ("gravity", "1.1234567", "write at most 6 decimals"),
        ("base", "-1", "is negative"),
        ("name", "x" * 201, "201 characters long"),
        ("name", "two\x1flines", "invisible character"),
        ("identifiers", "x" * 81, "81 characters long"),
        ("item", "A;B", 'holds a ";"'),
        ("item", "", "blank"),
    ],
)
def test_catalogue_refuses_a_bad_cell(workshop, file, column, cell, told):
    cells = {"item": "A", "name": "Thing", "kind": "part", "unit": "ea", column: cell}
    before = loads.row_counts()
    error = only_error(load("catalogue", file("c.csv", ",".join(cells), ",".join(cells.values()))))
    assert error.startswith(f"c.csv:2: {column}: ")
    assert told in error
    assert loads.row_counts() == before


def test_catalogue_tells_every_fault_at_once(catalogue, file):
    path = file("c.csv", f"{loads.CATALOGUE},identifiers", ",Thing,part,ea,", "B,,nut,ea,", "C,Thing,part,ea,AN470AD4-6")
    places = [error.split(": ")[:2] for error in load("catalogue", path).errors]
    assert places == [["c.csv:2", "item"], ["c.csv:3", "name"], ["c.csv:3", "kind"], ["c.csv:4", "identifiers"]]


def test_catalogue_of_an_outsider_is_unseen(workshop, outsider, file):
    loaded("catalogue", file("c.csv", loads.CATALOGUE, "OUTSIDE-ITEM,Ours,part,ea"))
    assert Item.objects.get().name == "Ours"
    with scopes_disabled():
        assert Item.objects.get(workshop=outsider).name == "a thing"


def test_catalogue_takes_odd_spaces_between_words(workshop, file):
    loaded("catalogue", file("c.csv", loads.CATALOGUE, "A,O\u00a0ring  kit,part,ea"))
    assert Item.objects.get().name == "O ring  kit"
