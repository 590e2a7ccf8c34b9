"""Hands, mirrored pairs and false mirrors for programs."""

import json
from http import HTTPStatus

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from buildplan.fitting import queries, services
from buildplan.fitting.models import FalseMirror, ItemHand, MirrorPair
from tests import factories


@pytest.fixture
def ribs(workshop):
    return [factories.ItemFactory(workshop=workshop, code=code) for code in ("RIB-L", "RIB-R", "RIB-X")]


@pytest.fixture
def ask(as_member, builder):
    """What the API answers, to the builder unless said."""

    def ask(method, where, body=None, *, by=builder, **headers):
        return as_member(by).generic(method, f"/api/v1/{where}", json.dumps(body), content_type="application/json", headers=headers)

    return ask


@pytest.fixture
def listed(ask):
    """The rows of a list, and how many queries it took."""

    def listed(where):
        with CaptureQueriesContext(connection) as asked:
            found = ask("GET", where).json()
        return found["results"], len(asked)

    return listed


def sent_with(answer):
    return {"If-Match": answer["ETag"]}


def test_hand_is_stated_once_a_key_changed_by_its_etag_and_taken_back(ask, ribs):
    body = {"item": "rib-x", "hand": "left"}
    made, again = (ask("POST", "hands", body, **{"Idempotency-Key": "one"}) for _ in range(2))
    assert (made.status_code, again["Idempotent-Replay"], ItemHand.objects.count()) == (HTTPStatus.CREATED, "true", 1)
    said = {"item": "RIB-X", "item_id": ribs[2].pk, "pair": None, "mirror": None}
    where = made["Location"].removeprefix("/api/v1/")
    read = ask("GET", where)
    assert read.json() == made.json() == {"id": ItemHand.objects.get().pk, "hand": "left", **said}
    assert ask("GET", where, **{"If-None-Match": read["ETag"]}).status_code == HTTPStatus.NOT_MODIFIED

    other = ask("POST", "hands", {"item": "RIB-X", "hand": "none"})
    assert (other.status_code, other.json()["hand"], ItemHand.objects.count()) == (HTTPStatus.OK, "none", 1)
    assert ask("PATCH", where, {"hand": "right"}).status_code == HTTPStatus.PRECONDITION_REQUIRED
    assert ask("PATCH", where, {"hand": "right"}, **sent_with(read)).status_code == HTTPStatus.PRECONDITION_FAILED
    changed = ask("PATCH", where, {"hand": "right"}, **sent_with(other))
    assert (changed.status_code, changed.json()["hand"]) == (HTTPStatus.OK, "right")
    assert ask("DELETE", where, **sent_with(changed)).status_code == HTTPStatus.NO_CONTENT
    assert not ItemHand.objects.exists()


def test_hand_that_is_none_or_of_an_unknown_item_is_refused(ask, ribs):
    assert "hand" in ask("POST", "hands", {"item": "RIB-X", "hand": "upper"}).json()["errors"]
    assert ask("POST", "hands", {"item": "OUTSIDE-ITEM", "hand": "left"}).status_code == HTTPStatus.NOT_FOUND
    assert not ItemHand.objects.exists()


def test_pair_gives_hands_which_stay_until_it_is_undone(ask, ribs):
    body = {"left": "RIB-L", "right": "RIB-R"}
    made, known = ask("POST", "mirror-pairs", body), ask("POST", "mirror-pairs", body)
    assert (made.status_code, known.status_code, known.json()) == (HTTPStatus.CREATED, HTTPStatus.OK, made.json())
    assert made.json() == {"id": MirrorPair.objects.get().pk, "left_id": ribs[0].pk, "right_id": ribs[1].pk, **body}

    hand = ask("GET", f"hands/{ItemHand.objects.get(item=ribs[0]).pk}")
    assert (hand.json()["hand"], hand.json()["pair"], hand.json()["mirror"]) == ("left", made.json()["id"], "RIB-R")
    where = f"hands/{hand.json()['id']}"
    for refused in (
        ask("PATCH", where, {"hand": "right"}, **sent_with(hand)),
        ask("DELETE", where, **sent_with(hand)),
        ask("POST", "hands", {"item": "RIB-L", "hand": "none"}),
    ):
        assert (refused.status_code, "undo the pair first" in refused.json()["detail"]) == (HTTPStatus.CONFLICT, True)
    assert ask("POST", "hands", {"item": "RIB-L", "hand": "left"}).status_code == HTTPStatus.OK
    refused = ask("POST", "mirror-pairs", {"left": "RIB-L", "right": "RIB-X"})
    assert (refused.status_code, "one partner" in refused.json()["detail"]) == (HTTPStatus.CONFLICT, True)

    pair = f"mirror-pairs/{made.json()['id']}"
    assert ask("DELETE", pair).status_code == HTTPStatus.PRECONDITION_REQUIRED
    assert ask("DELETE", pair, **sent_with(made)).status_code == HTTPStatus.NO_CONTENT
    assert ask("PATCH", where, {"hand": "right"}, **sent_with(hand)).status_code == HTTPStatus.PRECONDITION_FAILED  # its pair is gone
    assert ask("PATCH", where, {"hand": "right"}, **sent_with(ask("GET", where))).json()["mirror"] is None


def test_false_mirror_is_noted_in_either_order_told_anew_and_removed(ask, ribs):
    made = ask("POST", "false-mirrors", {"one": "RIB-X", "other": "RIB-L", "told_apart": "its flange"})
    assert (made.status_code, made.json()["one"], made.json()["other"]) == (HTTPStatus.CREATED, "RIB-L", "RIB-X")
    again = ask("POST", "false-mirrors", {"one": "RIB-L", "other": "RIB-X", "told_apart": "its notch"})
    assert (again.status_code, again.json()) == (HTTPStatus.OK, {**made.json(), "told_apart": "its notch"})
    refused = ask("POST", "mirror-pairs", {"left": "RIB-L", "right": "RIB-X"})
    assert (refused.status_code, "false mirrors" in refused.json()["detail"]) == (HTTPStatus.CONFLICT, True)
    itself = ask("POST", "false-mirrors", {"one": "RIB-X", "other": "RIB-X", "told_apart": "its notch"})
    assert itself.status_code == HTTPStatus.CONFLICT

    where = f"false-mirrors/{made.json()['id']}"
    assert ask("PATCH", where, {"told_apart": "x"}, **sent_with(made)).status_code == HTTPStatus.PRECONDITION_FAILED
    changed = ask("PATCH", where, {"told_apart": "a hole"}, **sent_with(again))
    assert (changed.status_code, changed.json()["told_apart"]) == (HTTPStatus.OK, "a hole")
    assert ask("DELETE", where, **sent_with(changed)).status_code == HTTPStatus.NO_CONTENT
    assert queries.hands().lookalikes == ()


def test_edit_that_changes_nothing_writes_no_history(ask, ribs, builder):
    services.state_hand(item=ribs[0], hand="left", by=builder)
    row = services.set_false_mirror(one=ribs[0], other=ribs[2], told_apart="its flange", by=builder)
    for where in (f"hands/{ItemHand.objects.get().pk}", f"false-mirrors/{row.pk}"):
        assert ask("PATCH", where, {}, **sent_with(ask("GET", where))).status_code == HTTPStatus.OK
    assert (ItemHand.history.count(), FalseMirror.history.count()) == (1, 1)


def test_readers_read_and_say_nothing(ask, ribs, reader, builder):
    services.pair(left=ribs[0], right=ribs[1], by=builder)
    pair = ask("GET", "mirror-pairs", by=reader).json()["results"][0]
    tag = sent_with(ask("GET", f"mirror-pairs/{pair['id']}", by=reader))
    assert ask("DELETE", f"mirror-pairs/{pair['id']}", by=reader, **tag).status_code == HTTPStatus.FORBIDDEN
    assert ask("POST", "hands", {"item": "RIB-X", "hand": "left"}, by=reader).status_code == HTTPStatus.FORBIDDEN


def test_lists_are_filtered_by_item_hand_pair_and_project(listed, ribs, step, builder, workshop):
    left, right, odd = ribs
    services.pair(left=left, right=right, by=builder)
    services.state_hand(item=odd, hand="right", by=builder)
    services.set_false_mirror(one=odd, other=left, told_apart="its flange", by=builder)
    factories.CallOutFactory(step=step, item=right)

    def codes(where):
        return [row["item"] for row in listed(where)[0]]

    assert codes("hands") == ["RIB-L", "RIB-R", "RIB-X"]
    assert codes("hands?item=rib-x") == ["RIB-X"]
    assert codes("hands?hand=right") == ["RIB-R", "RIB-X"]
    assert codes("hands?hand=right&paired=true") == ["RIB-R"]
    assert codes("hands?paired=false") == ["RIB-X"]
    assert codes("hands?project=tern-1") == ["RIB-R"]
    assert [len(listed(f"mirror-pairs?{asked}")[0]) for asked in ("item=RIB-R", "item=RIB-X", "project=TERN-1")] == [1, 0, 1]
    assert [len(listed(f"false-mirrors?{asked}")[0]) for asked in ("item=RIB-L", "item=RIB-R", "project=TERN-1")] == [1, 0, 0]
    assert codes("hands?project=OUTSIDE-PROJECT") == []


def test_lists_take_as_many_queries_for_many_rows_as_for_one_and_come_in_pages(listed, ask, workshop, builder):
    def more(count):
        for number in range(count):
            left, right, odd = (factories.ItemFactory(workshop=workshop, code=f"P{count}-{number}-{end}") for end in "LRX")
            services.pair(left=left, right=right, by=builder)
            services.set_false_mirror(one=left, other=odd, told_apart="its flange", by=builder)

    lists = ("hands", "mirror-pairs", "false-mirrors")
    more(1)
    ask("GET", "hands")  # signs in
    few = [listed(where) for where in lists]
    more(4)
    many = [listed(where) for where in lists]
    assert [len(rows) for rows, _ in few] == [2, 1, 1]
    assert [len(rows) for rows, _ in many] == [10, 5, 5]
    assert [asked for _, asked in few] == [asked for _, asked in many]

    first = ask("GET", "hands?page_size=7").json()
    second = ask("GET", first["next"].split("/api/v1/")[1]).json()
    assert [len(first["results"]), len(second["results"]), second["next"]] == [7, 3, None]
