"""Where labels stand, and what stands where on a label."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.labels.calc import (
    EDGE,
    LEADING,
    LEAST_TYPE,
    STARTING,
    Cell,
    Line,
    TooSmallError,
    arrange,
    cells,
    fit,
    misfit,
)

A4 = STARTING[0]


def measure(text, size, bold):
    """Every letter is as wide as it is high: wider than any type."""
    return len(text) * size * (1.1 if bold else 1.0)


@pytest.mark.parametrize("sheet", STARTING, ids=lambda sheet: sheet.key)
def test_starting_sheets_fit_their_pages(sheet):
    assert misfit(sheet) is None


def test_cells_go_across_then_down_then_to_the_next_page():
    found = list(cells(A4, start=3, count=24))

    assert found[:2] == [Cell(0, Decimal("139.0"), Decimal("12.5")), Cell(0, Decimal(8), Decimal("46.5"))]
    assert found[21:] == [
        Cell(0, Decimal("139.0"), Decimal("250.5")),
        Cell(1, Decimal(8), Decimal("12.5")),
        Cell(1, Decimal("73.5"), Decimal("12.5")),
    ]


@pytest.mark.parametrize("start", [0, 25])
def test_cells_refuse_a_start_that_is_not_on_the_page(start):
    with pytest.raises(ValueError, match="start: A4, 3 x 8 labels has the labels 1 to 24"):
        list(cells(A4, start=start, count=1))


@pytest.mark.parametrize(
    ("change", "field", "text"),
    [
        (
            {"columns": 4},
            "columns",
            "across, 8 mm before the first, 4 labels of 63 mm and 3 gaps of 2.5 mm take 267.5 mm, but the page has 210 mm",
        ),
        ({"rows": 9}, "rows", "down, 12.5 mm before the first, 9 labels of 34 mm and 8 gaps of 0 mm take 318.5 mm"),
        ({"left": Decimal("16.01")}, "columns", "take 210.01 mm"),
        ({"page_width": Decimal(1201)}, "page_width", "8 to 1200 mm"),
        ({"label_height": Decimal("7.9")}, "label_height", "at least 8 mm"),
        ({"gap_y": Decimal(-1)}, "gap_y", "0 or more"),
        ({"rows": 0}, "rows", "at least 1"),
        ({"columns": 30, "rows": 30}, "rows", "30 x 30 are 900 labels"),
    ],
)
def test_misfit_names_the_measurement_and_why(change, field, text):
    found = misfit(replace(A4, **change))

    assert found is not None
    assert found.field == field
    assert text in found.text


def test_misfit_allows_labels_up_to_the_very_edge():
    assert misfit(replace(A4, left=Decimal(16))) is None


lengths = st.decimals(min_value=8, max_value=300, places=2)


@given(sheet=st.builds(replace, st.just(A4), columns=st.integers(1, 9), rows=st.integers(1, 9), gap_x=lengths, label_width=lengths))
def test_every_label_of_a_sheet_that_fits_lies_on_its_page(sheet):
    if misfit(sheet) is None:
        for cell in cells(sheet, start=1, count=sheet.cells):
            assert cell.page == 0
            assert cell.left + sheet.label_width <= sheet.page_width
            assert cell.top + sheet.label_height <= sheet.page_height


@given(width=lengths, height=lengths, modules=st.integers(12, 61))
def test_arranged_parts_lie_on_the_label_and_apart(width, height, modules):
    try:
        found = arrange(width, height, modules)
    except TooSmallError:
        return
    for box in (found.symbol, found.text):
        assert box.left >= EDGE
        assert box.top >= EDGE
        assert box.left + box.width <= width - EDGE
        assert box.top + box.height <= height - EDGE
    assert found.symbol.width == found.module * modules
    beside = found.text.left >= found.symbol.left + found.symbol.width
    below = found.text.top >= found.symbol.top + found.symbol.height
    assert beside or below


def test_modules_are_whole_dots_of_a_thermal_printer():
    assert arrange(Decimal(63), Decimal(34), 37).module == Decimal("0.625")
    assert arrange(Decimal(37), Decimal(13), 20).module == Decimal("0.5")


def test_a_tall_label_has_its_text_below():
    found = arrange(Decimal(25), Decimal(50), 37)

    assert found.text.top > found.symbol.top + found.symbol.height
    assert found.text.width == Decimal(22)


def test_arrange_says_what_size_would_do():
    with pytest.raises(TooSmallError, match=r"37 mm by 13 mm is too small .* takes one 31.875 mm wide and 16.875 mm high, or"):
        arrange(Decimal(37), Decimal(13), 37)
    arrange(Decimal("31.875"), Decimal("16.875"), 37)
    arrange(Decimal(17), Decimal("23.875"), 37)


lines = st.lists(
    st.builds(Line, st.text(max_size=60), st.floats(6, 12), need=st.integers(0, 3), bold=st.booleans(), tail=st.booleans()), max_size=8
)


@given(lines=lines, width=st.floats(40, 300), height=st.floats(17, 150))
def test_text_never_leaves_its_box(lines, width, height):
    for placed in fit(lines, width, height, measure):
        assert measure(placed.text, placed.size, placed.bold) <= width
        assert placed.size >= LEAST_TYPE
        assert placed.foot - placed.size >= -1e-6
        assert placed.foot + placed.size * (LEADING - 1) <= height + 1e-6


def test_fit_leaves_out_the_most_needless_first():
    lines = [Line("CODE", 10, bold=True), Line("name", 8, need=3), Line("lot", 8, need=1), Line("TOKEN", 7)]

    assert [placed.text for placed in fit(lines, 200, 18.5, measure)] == ["CODE", "lot", "TOKEN"]
    assert [placed.text for placed in fit(lines, 200, 13, measure)] == ["CODE", "TOKEN"]
    assert [placed.text for placed in fit(lines, 200, 7, measure)] == ["TOKEN"]


def test_fit_cuts_a_name_at_its_end_and_a_path_at_its_start():
    name, path = fit([Line("a long name of a thing", 8), Line("Hangar/Rack 2/Drawer 7", 8, tail=True)], 50, 100, measure)

    assert name.text == "a long na…"
    assert path.text == "…/Drawer 7"
    assert name.size == path.size == LEAST_TYPE


def test_fit_narrows_before_it_cuts():
    (placed,) = fit([Line("0123456789", 10)], 60, 100, measure)

    assert placed.text == "0123456789"
    assert placed.size == pytest.approx(6, rel=0.01)


def test_fit_leaves_out_blank_lines():
    assert fit([Line("", 8)], 50, 50, measure) == ()
