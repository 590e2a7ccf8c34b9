"""Which of their columns is which of ours: what is proposed, and what is refused."""

from hypothesis import given, settings
from hypothesis import strategies as st

from buildplan.loading import mapping
from buildplan.loading.columns import COLUMNS
from buildplan.loading.mapping import ColumnMap


def taken(table, *titles, remembered=None):
    """What is proposed, by our column, as their title."""
    found = mapping.propose(table, titles, remembered or {})
    return {name: titles[one.at] for name, one in found.items() if one.at is not None}


def test_propose_takes_our_own_names_in_any_case_and_order():
    assert taken("stock", "Place", "QUANTITY", "item") == {"place": "Place", "quantity": "QUANTITY", "item": "item"}


def test_propose_takes_words_that_sellers_use():
    given = ("Box", "Pos", "Part No.", "Description", "Qty shipped", "UoM", "Batch No.", "Exp. date")
    assert taken("packing", *given) == {
        "bag": "Box",
        "line": "Pos",
        "item": "Part No.",
        "name": "Description",
        "quantity": "Qty shipped",
        "unit": "UoM",
        "lot": "Batch No.",
        "expires": "Exp. date",
    }


def test_propose_takes_a_slip_of_the_keyboard():
    assert taken("needs", "stpe", "itme", "quantiy") == {"step": "stpe", "item": "itme", "quantity": "quantiy"}


def test_propose_leaves_open_where_two_titles_are_alike():
    found = mapping.propose("stock", ("item", "Qty", "Qty.", "Place"), {})
    assert (found["quantity"].at, found["quantity"].how) == (None, mapping.SEVERAL)
    assert found["quantity"].several == ("Qty", "Qty.")


def test_propose_leaves_open_which_of_two_columns_of_one_title_is_meant():
    assert "item" not in taken("stock", "item", "item", "quantity", "place")


def test_propose_gives_one_of_theirs_to_one_of_ours_alone():
    found = mapping.propose("packing", ("bag", "line no"), {})
    assert [name for name, one in found.items() if one.at == 1] == ["line"]


def test_propose_prefers_what_was_taken_last_time_to_what_is_near():
    assert taken("stock", "Part No.", "Menge", "Location", remembered={"quantity": "menge"})["quantity"] == "Menge"
    assert taken("stock", "Qty", "Amount", remembered={"quantity": "Amount"}) == {"quantity": "Amount"}


def test_propose_takes_nothing_where_nothing_is_near():
    assert taken("stock", "Farbe", "Preis", "") == {}


@settings(max_examples=60)
@given(
    st.sampled_from(sorted(COLUMNS)),
    st.lists(st.text(max_size=12), max_size=8),
    st.dictionaries(st.sampled_from(["item", "unit"]), st.text(max_size=5)),
)
def test_propose_never_takes_a_column_twice_nor_one_that_is_not_there(table, titles, remembered):
    found = [one.at for one in mapping.propose(table, titles, remembered).values() if one.at is not None]
    assert len(set(found)) == len(found)
    assert set(found) <= set(range(len(titles)))


def test_faults_refuse_two_of_ours_from_one_of_theirs():
    wrong = mapping.faults("needs", ("a", "Qty"), ColumnMap({"step": 0, "item": 1, "quantity": 1}))
    assert wrong == {"quantity": "Qty is taken for item already: a column means one thing"}


def test_faults_ask_for_what_must_be_known_by_column_or_by_one_value():
    chosen = ColumnMap({"item": 0, "name": 1}, {"unit": "ea"})
    assert mapping.faults("catalogue", ("a", "b"), chosen) == {
        "kind": "this must be known: choose the column that says it, or give one value for all rows"
    }
    assert list(mapping.faults("steps", ("a", "b"), ColumnMap({"step": 0}, {"section": "Floats"}))) == ["title"]


def test_faults_refuse_a_column_and_a_value_at_once_and_one_that_is_not_there():
    chosen = ColumnMap({"step": 0, "item": 1, "quantity": 9, "unit": 2}, {"unit": "ea"})
    wrong = mapping.faults("needs", ("a", "b", "c"), chosen)
    assert wrong["unit"].endswith("not both")
    assert wrong["quantity"].startswith("the file has no such column")


def test_assign_finds_tables_by_their_names():
    assert mapping.assign(("steps", "needs", "rows"), ("tern needs", "Steps", "notes")) == {"steps": 1, "needs": 0, "rows": None}
    assert mapping.assign(("stock",), ("Sheet1",)) == {"stock": 0}
    assert mapping.assign(("steps", "needs"), ("Sheet1",)) == {"steps": 0, "needs": None}
    assert mapping.assign(("steps", "needs"), ("Sheet1", "Sheet2")) == {"steps": None, "needs": None}


def test_letters_count_as_spreadsheets_do():
    assert [mapping.letters(at) for at in (0, 25, 26, 51, 52, 701, 702)] == ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]
