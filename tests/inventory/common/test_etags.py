"""ETags, and the edits that need them."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rest_framework.request import Request
from rest_framework.test import APIRequestFactory

from inventory.common.etags import ChangedMeanwhile, MatchMissing, etag, require_match, shown, tagged

ROW = {"id": 1, "code": "AN470AD4-6", "pack": None}
values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=12,
)


def asked(**headers):
    return Request(APIRequestFactory().get("/", headers=headers))


@settings(max_examples=30)  # deep nests are slow to make
@given(st.dictionaries(st.text(), values, max_size=8))
def test_etag_is_of_the_contents_whatever_their_order(row):
    assert etag(row) == etag(dict(reversed(row.items())))


@given(st.text(), st.text())
def test_other_contents_have_another_etag(one, other):
    assert (etag({"code": one}) == etag({"code": other})) == (one == other)


def test_read_answers_with_its_etag():
    answer = shown(asked(), ROW)

    assert (answer.status_code, answer["ETag"], answer.data) == (200, etag(ROW), ROW)


@pytest.mark.parametrize("known", [etag(ROW), f"W/{etag(ROW)}", f'"other", {etag(ROW)}', "*"])
def test_read_of_the_version_that_is_known_is_304(known):
    answer = shown(asked(**{"If-None-Match": known}), ROW)

    assert (answer.status_code, answer["ETag"], answer.data) == (304, etag(ROW), None)


def test_read_of_another_version_than_the_known_one_is_whole():
    assert shown(asked(**{"If-None-Match": etag({**ROW, "pack": "100"})}), ROW).status_code == 200


@pytest.mark.parametrize("given_match", [etag(ROW), f'"other", {etag(ROW)}', "*"])
def test_edit_of_the_version_that_was_read_goes_on(given_match):
    require_match(asked(**{"If-Match": given_match}), ROW)


@pytest.mark.parametrize("given_match", [None, ""])
def test_edit_without_a_version_is_refused(given_match):
    with pytest.raises(MatchMissing, match="send If-Match") as refused:
        require_match(asked(**({} if given_match is None else {"If-Match": given_match})), ROW)
    assert refused.value.status == 428


@pytest.mark.parametrize("given_match", [etag({}), f"W/{etag(ROW)}", "not an etag", etag(ROW).strip('"')])
def test_edit_of_another_version_is_refused(given_match):
    with pytest.raises(ChangedMeanwhile, match="read it again") as refused:
        require_match(asked(**{"If-Match": given_match}), ROW)
    assert refused.value.status == 412


def test_tagged_answer_keeps_its_other_headers():
    answer = tagged(ROW, status=201, Location="/api/v1/items/1")

    assert (answer.status_code, answer["ETag"], answer["Location"]) == (201, etag(ROW), "/api/v1/items/1")
