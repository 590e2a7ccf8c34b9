"""Hands of items, mirrored pairs, and parts that only look like one."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from buildplan.fitting import queries, services
from buildplan.fitting.problems import HandTaken, NoPair
from inventory.workshop.policy import NotAllowed
from tests import factories


@pytest.fixture
def ribs(workshop):
    return [factories.ItemFactory(workshop=workshop, code=code) for code in ("RIB-L", "RIB-R", "RIB-X")]


def test_pair_gives_each_its_hand_and_the_step_page_warns_of_the_wrong_one(ribs, step, builder):
    left, right, odd = ribs
    services.pair(left=left, right=right, by=builder)
    services.set_false_mirror(one=odd, other=left, told_apart="its flange is 2 mm lower", by=builder)
    factories.CallOutFactory(step=step, item=right)
    factories.CallOutFactory(step=step, item=odd)

    found = queries.step_hands(step)

    assert [(part.code, part.hand) for part in found.parts] == [("RIB-R", "right"), ("RIB-X", "")]
    assert [reason.text for reason in found.cautions] == [
        "the step is left hand, and RIB-R is a right part; its mirror image is RIB-L: look at both before you cut",
        "RIB-X looks like the mirror image of RIB-L and is not: its flange is 2 mm lower",
    ]


def test_pair_is_refused_with_itself_with_a_second_partner_and_with_equal_hands(ribs, builder):
    left, right, third = ribs
    with pytest.raises(NoPair, match="can't be its own mirror image"):
        services.pair(left=left, right=left, by=builder)
    services.state_hand(item=third, hand="left", by=builder)
    with pytest.raises(NoPair, match="RIB-X is stated to be a left part"):
        services.pair(left=left, right=third, by=builder)
    made = services.pair(left=left, right=right, by=builder)
    assert services.pair(left=left, right=right, by=builder) == made
    services.state_hand(item=third, hand="", by=builder)
    for pair in ({"left": left, "right": third}, {"left": third, "right": right}, {"left": right, "right": third}):
        with pytest.raises(NoPair, match="an item has one partner"):
            services.pair(**pair, by=builder)


def test_paired_item_keeps_its_hand_until_the_pair_is_undone(ribs, builder):
    left, right, _ = ribs
    made = services.pair(left=left, right=right, by=builder)
    with pytest.raises(HandTaken, match="undo the pair first"):
        services.state_hand(item=left, hand="right", by=builder)

    services.undo_pair(pair=made, by=builder)
    services.state_hand(item=left, hand="right", by=builder)

    assert queries.hands_of([left.pk])[left.pk].hand == "right"


def test_false_mirror_and_true_pair_exclude_each_other_in_either_order(ribs, builder):
    left, right, third = ribs
    services.pair(left=left, right=right, by=builder)
    with pytest.raises(NoPair, match="true pair"):
        services.set_false_mirror(one=right, other=left, told_apart="x", by=builder)
    with pytest.raises(NoPair, match="mistaken for itself"):
        services.set_false_mirror(one=third, other=third, told_apart="x", by=builder)
    first = services.set_false_mirror(one=third, other=left, told_apart="the hole", by=builder)
    again = services.set_false_mirror(one=left, other=third, told_apart="the notch", by=builder)

    assert again.pk == first.pk
    assert [row.told_apart for row in queries.hands().lookalikes] == ["the notch"]
    services.remove_false_mirror(row=again, by=builder)
    assert queries.hands().lookalikes == ()


def test_readers_say_nothing_of_hands(ribs, reader):
    with pytest.raises(NotAllowed):
        services.state_hand(item=ribs[0], hand="left", by=reader)


def test_hands_of_a_step_take_as_many_queries_for_many_parts_as_for_one(ribs, step, builder, workshop):
    def asked():
        with CaptureQueriesContext(connection) as found:
            queries.step_hands(step)
        return len(found)

    services.state_hand(item=ribs[0], hand="left", by=builder)
    factories.CallOutFactory(step=step, item=ribs[0])
    first = asked()
    for code in range(4):
        item = factories.ItemFactory(workshop=workshop, code=f"MORE-{code}")
        services.state_hand(item=item, hand="right", by=builder)
        factories.CallOutFactory(step=step, item=item)

    assert asked() == first == 4
