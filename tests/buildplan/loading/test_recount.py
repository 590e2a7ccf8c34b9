from datetime import date
from decimal import Decimal

import pytest

from buildplan.loading.recount import Count, Identity, KnownLot, changes
from inventory.shelflife.calc import StatedDate

MAY, JUNE = StatedDate(date(2027, 5, 31), "month"), StatedDate(date(2027, 6, 30), "month")
OPENED = date(2027, 1, 5)
FRIDGE, SHELF = "fridge", "shelf"


def identity(code="S-1", **more):
    return Identity(1, code, **more)


def row(code="S-1", place=FRIDGE, quantity=10, state="", **more):
    return Count(Identity(1, code, state=state, **more), place, Decimal(quantity))


def lot(pk, code="S-1", **more):
    return KnownLot(pk, identity(code, **more))


def recounted(counts, lots, held):
    """What changes as (lot or its identity, place, before, after), and what was refused."""
    refused = []
    exact = {spot: Decimal(quantity) for spot, quantity in held.items()}
    found = changes(counts, lots, exact, lambda index, text: refused.append((index, text)))
    return [(change.lot.pk or change.lot.identity, change.place, change.before, change.after) for change in found], refused


def moved(counts, lots, held):
    found, refused = recounted(counts, lots, held)
    assert refused == []
    return found


def refusal(counts, lots, held):
    _, [(index, text)] = recounted(counts, lots, held)
    return index, text


def test_unchanged_stock_changes_nothing():
    assert moved([row()], [lot(1)], {(1, FRIDGE): 10}) == []


def test_more_and_less_is_the_difference():
    assert moved([row(quantity=7)], [lot(1)], {(1, FRIDGE): 10}) == [(1, FRIDGE, 10, 7)]
    assert moved([row(quantity=12)], [lot(1)], {(1, FRIDGE): 10}) == [(1, FRIDGE, 10, 12)]


def test_a_place_that_is_not_named_stays():
    assert moved([row(quantity=7)], [lot(1)], {(1, FRIDGE): 10, (1, SHELF): 5}) == [(1, FRIDGE, 10, 7)]


def test_another_code_or_item_stays():
    lots = [lot(1), lot(2, "S-2"), KnownLot(3, Identity(2, "S-1"))]
    held = {(1, FRIDGE): 10, (2, FRIDGE): 5, (3, FRIDGE): 5}
    assert moved([row(quantity=7)], lots, held) == [(1, FRIDGE, 10, 7)]


def test_blank_cells_fit_the_only_lot_of_the_code():
    lots = [lot(1, expires=MAY, opened=OPENED, state="quarantined")]
    assert moved([row(quantity=7)], lots, {(1, FRIDGE): 10}) == [(1, FRIDGE, 10, 7)]


def test_a_lot_that_the_row_spells_out_goes_before_one_that_fits():
    lots = [lot(1, opened=OPENED), lot(2)]
    held = {(1, FRIDGE): 10, (2, FRIDGE): 20}
    assert moved([row(quantity=21), row(quantity=9, opened=OPENED)], lots, held) == [(2, FRIDGE, 20, 21), (1, FRIDGE, 10, 9)]


def test_rows_need_not_repeat_the_dates_of_a_code():
    lots = [lot(1, expires=MAY, opened=OPENED), lot(2, expires=MAY)]
    held = {(1, FRIDGE): 10, (2, FRIDGE): 20}
    assert moved([row(quantity=21), row(quantity=9, opened=OPENED)], lots, held) == [(2, FRIDGE, 20, 21), (1, FRIDGE, 10, 9)]


def test_a_lot_that_lies_there_goes_before_one_that_lies_elsewhere():
    lots = [lot(1), lot(2, opened=OPENED)]
    assert moved([row(quantity=9)], lots, {(1, SHELF): 20, (2, FRIDGE): 10}) == [(2, FRIDGE, 10, 9)]


def test_a_lot_of_the_group_that_no_row_names_is_gone():
    lots = [lot(1), lot(2, opened=OPENED)]
    assert moved([row(quantity=10, state="good")], lots, {(1, FRIDGE): 10, (2, FRIDGE): 4}) == [(2, FRIDGE, 4, 0)]


def test_several_that_fit_are_refused():
    lots = [lot(1, opened=OPENED), lot(2, opened=date(2027, 2, 1))]
    index, text = refusal([row()], lots, {(1, FRIDGE): 1, (2, FRIDGE): 2})
    assert index == 0
    assert text.startswith("several lots fit: opened 2027-01-05 state good; opened 2027-02-01 state good: ")


def test_an_unknown_lot_is_new():
    assert moved([row("NEW", expires=MAY)], [lot(1)], {}) == [(identity("NEW", expires=MAY), FRIDGE, 0, 10)]


def test_a_new_lot_in_two_places_is_one():
    found = moved([row("NEW", expires=MAY), row("NEW", SHELF, 3)], [], {})
    assert found == [(identity("NEW", expires=MAY), FRIDGE, 0, 10), (identity("NEW", expires=MAY), SHELF, 0, 3)]


def test_another_state_of_a_known_batch_is_a_new_lot_with_its_dates():
    lots = [lot(1, expires=MAY)]
    found = moved([row(quantity=6), row(quantity=4, state="failed")], lots, {(1, FRIDGE): 10})
    assert found == [(1, FRIDGE, 10, 6), (identity(expires=MAY, state="failed"), FRIDGE, 0, 4)]


def test_other_dates_of_a_known_code_are_refused():
    assert refusal([row(expires=JUNE)], [lot(1, expires=MAY)], {}) == (
        0,
        "this lot is known with expires 2027-05: a lot code has the same dates in every row",
    )


def test_other_dates_within_the_file_are_refused():
    index, text = refusal([row("NEW", expires=MAY), row("NEW", SHELF, expires=JUNE)], [], {})
    assert (index, text.split(":")[0]) == (1, "this lot is known with expires 2027-05")


def test_the_same_lot_twice_in_a_group_is_refused():
    index, text = refusal([row(expires=MAY), row()], [lot(1, expires=MAY)], {(1, FRIDGE): 10})
    assert index == 1
    assert text.startswith("an earlier row here already counts the lot with expires 2027-05 state good")


def test_without_a_code_other_dates_are_another_lot():
    found = moved([row("", expires=JUNE)], [lot(1, "", expires=MAY)], {(1, SHELF): 10})
    assert found == [(identity("", expires=JUNE), FRIDGE, 0, 10)]


@pytest.mark.parametrize("state", ["", "good"])
def test_a_blank_state_of_a_new_lot_is_good(state):
    [(found, *_)] = moved([row("NEW", state=state)], [], {})
    assert found.state == "good"
