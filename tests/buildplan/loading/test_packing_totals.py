"""Totals that are printed on a packing list: compared with what its lines add up to, never used."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildplan.loading.totals import Printed, Totals, difference
from inventory.models import Bag, Crate, PackingLine
from tests import loads
from tests.loads import load, loaded

UNIT = f"{loads.PACKING},unit"
LINES = "7A,1,AN470AD4-6,200", "7A/1,2,AN470AD4-6,3", "7B,3,SEAL-B2,50"


@pytest.mark.usefixtures("catalogue")
class TestRowsOfTotals:
    def test_total_of_a_bag_that_agrees_is_passed_over(self, file):
        found = loaded("packing", file("p.csv", loads.PACKING, *LINES, "7B,total,,50"), "--crate", "C-7")

        assert found.warnings == []
        assert found.loaded == {"lines": 3, "bags": 3, "made": ["crate C-7"]}
        assert PackingLine.objects.count() == 3

    def test_total_of_a_bag_counts_the_bags_in_it(self, file):
        found = loaded("packing", file("p.csv", loads.PACKING, *LINES, "7a,Total,,203", "7A/1,TOTAL,,3"), "--crate", "C-7")

        assert found.warnings == []

    def test_total_of_a_bag_that_differs_is_warned_of(self, file):
        found = loaded("packing", file("p.csv", loads.PACKING, *LINES, "7A,total,,204", "7B,total,,49.5"), "--crate", "C-7")

        look = "compare the file with the paper"
        assert found.warnings == [
            f"p.csv:5: quantity: the printed total of bag 7A is 204, and the lines add up to 203 ea, 1 fewer: {look}",
            f"p.csv:6: quantity: the printed total of bag 7B is 49.5, and the lines add up to 50 g, 0.5 more: {look}",
        ]
        assert found.loaded["lines"] == 3

    @pytest.mark.parametrize("total", ["203", "253"])  # the pieces alone, or all figures alike
    def test_total_of_all_agrees_either_way_where_units_differ(self, file, total):
        found = loaded("packing", file("p.csv", loads.PACKING, f",total,,{total}", *LINES), "--crate", "C-7")

        assert found.warnings == []

    def test_total_of_all_that_differs_is_warned_of(self, file):
        found = loaded("packing", file("p.csv", loads.PACKING, *LINES, ",total,,254"), "--crate", "C-7")

        assert found.warnings == [
            "p.csv:5: quantity: the printed total is 254, and the lines add up to 203 ea and 50 g: compare the file with the paper"
        ]

    def test_total_with_a_unit_is_of_that_unit_as_written(self, file):
        lines = "7A,1,FLT.140,3,ft", "7A,2,FLT.140,2,m", "7A,3,AN470AD4-6,9,"
        good = file("good.csv", UNIT, *lines, "7A,total,,3,ft", ",total,,2,m")
        bad = file("bad.csv", UNIT, *lines, "7A,total,,3,m", "7A,total,,1,lb")

        assert loaded("packing", good, "--crate", "C-7").warnings == []
        look = "and the lines add up to 3 ft and 2 m and 9 ea: compare the file with the paper"
        assert loaded("packing", bad, "--crate", "C-8").warnings == [
            f"bad.csv:5: quantity: the printed total of bag 7A is 3 m, {look}",
            f"bad.csv:6: quantity: the printed total of bag 7A is 1 lb, {look}",
        ]

    def test_total_of_a_bag_that_no_line_is_in_is_warned_of(self, file):
        found = loaded("packing", file("p.csv", loads.PACKING, *LINES, "9,total,,12", "10,total,,0"), "--crate", "C-7")

        assert found.warnings == [
            "p.csv:5: quantity: the printed total of bag 9 is 12, and the lines add up to nothing: compare the file with the paper"
        ]
        assert not Bag.objects.filter(path__in=["9", "10"]).exists()

    def test_total_of_all_is_kept_with_the_crate(self, file):
        loaded("packing", file("p.csv", loads.PACKING, *LINES, ",total,,253", "7A,total,,203"), "--crate", "C-7")

        assert (Crate.objects.get().printed_lines, Crate.objects.get().printed_quantity) == (None, Decimal(253))

    @pytest.mark.parametrize("rows", [(), ("7A,total,,203",), (",total,,253", ",total,,203"), (",total,,253.0001",)])
    def test_nothing_is_kept_where_not_one_total_of_all_is_stated(self, file, rows):
        loaded("packing", file("p.csv", loads.PACKING, *LINES, *rows), "--crate", "C-7")

        assert Crate.objects.get().printed_quantity is None

    def test_total_in_a_semicolon_file_takes_a_decimal_comma(self, file):
        header = loads.PACKING.replace(",", ";")
        found = loaded("packing", file("p.csv", header, "7A;1;SEAL-B2;2,5", "7A;total;;2,5"), "--crate", "C-7")

        assert found.warnings == []

    def test_total_that_does_not_read_stops_the_load(self, file):
        found = load("packing", file("p.csv", loads.PACKING, *LINES, "7A,total,,many", "7A//b,total,,3", ",total,,-1"), "--crate", "C-7")

        assert [error.split(": ")[:2] for error in found.errors] == [["p.csv:5", "quantity"], ["p.csv:6", "bag"], ["p.csv:7", "quantity"]]
        assert not Crate.objects.exists()

    def test_total_is_not_compared_while_a_row_is_bad(self, file):
        found = load("packing", file("p.csv", loads.PACKING, *LINES, "7A,4,NOPE,1", "7A,total,,999"), "--crate", "C-7")

        assert (len(found.errors), found.warnings) == (1, [])

    def test_totals_alone_are_no_list(self, file):
        found = load("packing", file("p.csv", loads.PACKING, "7A,total,,5"), "--crate", "C-7")

        assert found.errors == ["p.csv: totals alone: add the lines that they are of"]

    def test_line_called_total_that_names_an_item_is_a_line(self, file):
        loaded("packing", file("p.csv", loads.PACKING, "7A,total,SEAL-B2,5"), "--crate", "C-7")

        assert PackingLine.objects.get().number == "total"

    def test_command_tells_a_person_as_well(self, file):
        path = file("p.csv", loads.PACKING, *LINES, "7A,total,,204")
        found = loads.run("load", "packing", path, "--workshop", "MARSH", "--crate", "C-7")

        assert found.code == 0
        assert "warning: p.csv:5: quantity: the printed total of bag 7A is 204" in found.err


BAGS = st.sampled_from(["7A", "7A/1", "7A/1/B", "7B", "7", "7AA"])
FIGURES = st.decimals(min_value="0.001", max_value="1000000", places=3)


@given(lines=st.lists(st.tuples(BAGS, FIGURES, st.sampled_from(["ea", "m"])), min_size=1, max_size=12))
def test_sums_are_those_of_the_lines_in_the_bag_and_in_the_bags_in_it(lines):
    totals, bags = Totals(), [bag for bag, _, _ in lines]
    for bag, quantity, unit in lines:
        totals.add(bag, quantity, unit)

    for asked in ["", *bags]:
        inside = [(quantity, unit) for bag, quantity, unit in lines if not asked or f"{bag}/".startswith(f"{asked}/")]
        expected = {each: sum(Fraction(quantity) for quantity, unit in inside if unit == each) for _, each in inside}
        assert totals.sums(asked) == expected
    assert (totals.lines, totals.bags) == (len(lines), set(bags))


@given(quantity=FIGURES, printed=st.one_of(FIGURES, st.just(Decimal(0))))
def test_difference_is_nothing_exactly_where_both_agree(quantity, printed):
    totals = Totals()
    totals.add("7A", quantity, "ea")

    found = totals.compare(Printed(printed, "7A", "7A"))
    assert (found.difference == "") == (quantity == printed)


@pytest.mark.parametrize(
    ("listed", "printed", "told"), [(3, 3, ""), (3, 4, "1 fewer"), (5, 3, "2 more"), ("2.5", 3, "0.5 less"), (3, "2.5", "0.5 more")]
)
def test_difference_is_told_in_words(listed, printed, told):
    assert difference(Fraction(listed), Fraction(printed)) == told
