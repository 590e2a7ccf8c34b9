"""Ticks of a pick list: rows that everybody sees, and that move nothing."""

import pytest
from django_scopes import scope

from buildplan.models import PickTick, Step
from buildplan.tonight import services
from buildplan.tonight.picking import NotPicked
from buildplan.tonight.walk import NoSuchStep, walk
from inventory.models import Movement
from inventory.workshop.policy import NotAllowed
from tests import factories
from tests.buildplan.tonight.conftest import NOW
from tests.factories import DAY


@pytest.fixture
def picking(steps):
    """The walk for F2: clecos in drawer 2, rivets in drawer 10."""
    return lambda: walk([steps.second.pk], today=DAY)


@pytest.fixture
def ada(workshop):
    return factories.MemberFactory(workshop=workshop, role="builder", name="Ada")


def ticked(found):
    return {found_by: row.by.name for found_by, row in services.ticks(found).items()}


def test_two_people_see_each_other_s_ticks_and_nothing_moves(picking, ada, owner):
    found, before = picking(), Movement.objects.count()
    clecos, rivets = found.lines

    services.tick(walk=found, key=clecos.key, by=ada, now=NOW)
    services.scan(walk=picking(), code="rivet", by=owner, now=NOW)
    services.tick(walk=picking(), key=clecos.key, by=owner, now=NOW)  # pressed on both: the first stays
    assert ticked(picking()) == {clecos.key: "Ada", rivets.key: owner.name}
    assert Movement.objects.count() == before

    for _ in range(2):  # taking back twice is no fault
        services.untick(walk=picking(), keys=[clecos.key], by=owner)
    assert ticked(picking()) == {rivets.key: owner.name}
    services.untick(walk=picking(), keys=None, by=ada)
    assert not PickTick.objects.exists()


def test_scan_reads_labels_lots_items_and_places(picking, ada, bench, steps, drawers):
    lot = factories.LabelFactory(lot=steps.rivet.lots.get()).token
    place = factories.LabelFactory(lot=None, bag=None, place=drawers[0]).token
    for code in (lot, place, "R-1", "r-1", "RIVET", "Hangar/Drawer 10", f"https://garage.example/t/{lot}"):
        pick = services.scan(walk=picking(), code=code, by=ada, now=NOW)
        assert (pick.item, len(services.ticks(picking()))) == ("RIVET", 1), code
        services.untick(walk=picking(), keys=None, by=ada)


def test_scan_of_another_lot_or_thing_ticks_nothing(picking, ada, bench, steps, drawers):
    wrong = factories.LabelFactory(lot=factories.LotFactory(bench=bench, item=steps.rivet, code="R-2"))
    bag = factories.LabelFactory(lot=None, bag=factories.BagFactory(crate=factories.CrateFactory(bench=bench)))
    said = {
        wrong.token: "wrong lot: this is lot R-2 of RIVET",
        "R-2": "wrong lot: this is lot R-2 of RIVET",
        "SPAR": "SPAR is not on this list",
        "NEVER-SEEN": "nothing here has this code",
        bag.token: "this is a bag's label",
    }
    for code, text in said.items():
        with pytest.raises(NotPicked, match=text):
            services.scan(walk=picking(), code=code, by=ada, now=NOW)
    assert not PickTick.objects.exists()


def test_tick_of_a_line_that_is_no_more_on_the_list_is_refused(picking, ada):
    with pytest.raises(services.NotOnTheList):
        services.tick(walk=picking(), key="1-1", by=ada, now=NOW)


def test_reader_and_who_may_not_use_the_bench_tick_nothing(picking, reader, bench, workshop):
    key = picking().lines[0].key
    for refused in (
        lambda: services.tick(walk=picking(), key=key, by=reader, now=NOW),
        lambda: services.scan(walk=picking(), code="RIVET", by=reader, now=NOW),
        lambda: services.untick(walk=picking(), keys=None, by=reader),
    ):
        with pytest.raises(NotAllowed):
            refused()


def test_more_steps_than_ticks_are_kept_for_are_refused(project, ada, monkeypatch, steps):
    monkeypatch.setattr(services, "MOST_STEPS", 1)
    with pytest.raises(services.TooManySteps):
        services.untick(walk=walk([steps.second.pk, steps.third.pk], today=DAY), keys=None, by=ada)


def test_list_of_the_outsider_s_steps_is_not_found(outsider, workshop):
    with scope(workshop=outsider):
        theirs = Step.objects.get().pk
    with pytest.raises(NoSuchStep):
        walk([theirs], today=DAY)
