"""What Tonight reads: which steps are ready, what blocks the others, where things lie, and one walk to fetch them."""

from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django_scopes import scopes_disabled
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from buildplan.plan.models import Step
from buildplan.records import queries as records
from buildplan.sealday import services as sealday
from buildplan.sealday.services import PersonData
from buildplan.tonight import reading
from buildplan.tonight.calc import Kind
from buildplan.tonight.lies import walk_order
from buildplan.tonight.queries import tonight
from buildplan.tonight.walk import NoSuchStep, walk
from inventory.pool import services as pool
from inventory.tallying.services import tally
from tests import factories
from tests.buildplan.tonight.conftest import NOW
from tests.factories import DAY


def later(days):
    return DAY + timedelta(days=days)


def test_ready_step_says_what_it_takes_and_where_it_lies(steps):
    found = tonight(today=DAY, now=NOW)

    (one,) = found.ready
    assert (one.step.code, one.places, found.steps) == ("F2", 2, 2)
    assert [
        (takes.item, str(takes.needed), takes.returned, [(lies.path, lies.lot, int(lies.quantity)) for lies in takes.lies])
        for takes in one.takes
    ] == [
        ("CLECO-4", "20.000", True, [("Hangar/Drawer 2", "TUB", 20)]),
        ("RIVET", "40.000", False, [("Hangar/Drawer 10", "R-1", 40)]),
    ]


def test_blocked_step_says_everything_that_it_waits_for(steps, ask):
    assert ask() == {
        "F2": None,
        "F3": [
            ("step", "F2 Rivet must be done first", "F2 counts on 2027-02-20", DAY),
            ("stock", "SPAR: takes 1 ea, 0 usable today", "nothing known; no lead time of SPAR is in the catalogue", None),
        ],
    }


def test_stock_that_is_not_usable_is_told_with_its_reason(steps, ask, bench, other_bench):
    steps.rivet.lots.update(state="quarantined")
    factories.stock(factories.LotFactory(bench=other_bench, item=steps.rivet), 500)
    held = factories.stock(factories.LotFactory(bench=bench, item=steps.rivet, code="R-2"), 50).lot
    factories.SetAsideFactory(lot=held, ref="step:0", quantity=Decimal(30))
    factories.PackingLineFactory(
        crate=factories.CrateFactory(bench=bench, code="C-7", due_on=later(4)), item=steps.rivet, quantity=Decimal(25)
    )

    assert ask()["F2"] == [("stock", "RIVET: takes 40 ea, 20 usable today", "C-7 is due on 2027-02-24", later(4))]
    (block,) = next(one for one in tonight(today=DAY, now=NOW).blocked if one.step.code == "F2").verdict.blocks
    told = " ".join(reason.text for reason in block.trace)
    for word in ("quarantined", "another bench's", "set aside for another step"):
        assert word in told


def test_what_lies_in_a_crate_that_is_here_is_to_be_counted_and_put_away(steps, ask, bench, owner):
    steps.rivet.lots.update(state="quarantined")
    crate = factories.CrateFactory(bench=bench, code="C-7", due_on=later(4), arrived_on=DAY)
    line = factories.PackingLineFactory(crate=crate, item=steps.rivet, quantity=Decimal(50))
    waits = ("stock", "RIVET: takes 40 ea, 0 usable today", "C-7 is here, to be counted and put away", DAY)
    assert ask()["F2"] == [waits]

    tally(crate=crate, bag=None, line=line, quantity=Decimal(45), at=NOW, by=owner)
    assert ask()["F2"] == [waits]
    tally(crate=crate, bag=None, line=line, quantity=Decimal(5), finding="damaged", at=NOW, by=owner)
    assert ask()["F2"] == [waits]


def test_lent_booked_and_held_clecos_are_not_free(steps, ask, workshop, bench, other_bench, shared_bench, owner, drawers, project):
    """30 own, 40 of the pool. Ten own stay in the holes of F1 until F3; 25 of the pool are lent, and the rest is booked."""
    tub = factories.stock(factories.LotFactory(bench=shared_bench, item=steps.cleco, code="POOL"), 40, drawers[0]).lot
    steps.second.call_outs.filter(item=steps.cleco).update(quantity=Decimal(60))
    type(steps.third).objects.filter(pk=steps.third.pk).update(planned_on=later(20))
    assert ask()["F2"] is None
    factories.RivetRowFactory(step=steps.first, holes=10, cleco=steps.cleco, cleco_every=1, clecos_until=steps.third, rivet=steps.rivet)
    assert ask()["F2"] is None
    said = {"member": owner, "by": owner, "now": NOW}
    pool.lend(lot=tub, place=drawers[0], quantity=Decimal(25), bench=other_bench, on=DAY, due_on=later(3), key=uuid4(), **said)
    back = f"25 are lent to {owner.name}, due back on 2027-02-23"
    assert ask()["F2"] == [("tool", "CLECO-4: takes 60 ea, 35 free today", back, later(3))]
    days = {"first_day": DAY, "last_day": later(6)}
    pool.book(item=steps.cleco, quantity=Decimal(15), bench=other_bench, key=uuid4(), today=DAY, **days, **said)
    assert ask()["F2"][0][1] == "CLECO-4: takes 60 ea, 20 free today"
    assert ask()["F2"][0][3] == later(7)
    assert ask(member=owner)["F2"][0][1] == "CLECO-4: takes 60 ea, 35 free today"  # one's own booking is no hindrance


def test_thing_that_is_lent_to_the_bench_is_fetched_from_its_hands(steps, bench, shared_bench, owner, drawers, workshop):
    tool = factories.ItemFactory(workshop=workshop, code="SQUEEZER", kind="tool")
    factories.CallOutFactory(step=steps.second, item=tool, quantity=Decimal(1))
    lot = factories.stock(factories.LotFactory(bench=shared_bench, item=tool, code="SQ"), 1, drawers[0]).lot
    said = {"member": owner, "bench": bench, "on": DAY, "key": uuid4(), "by": owner, "now": NOW}
    pool.lend(lot=lot, place=drawers[0], quantity=Decimal(1), **said)

    (one,) = tonight(today=DAY, now=NOW).ready
    (lies,) = next(takes for takes in one.takes if takes.item == "SQUEEZER").lies
    assert owner.name in lies.path


@pytest.fixture
def sealed(steps, bench, project, workshop, owner):
    """F2 seals on the day after tomorrow, by two people until 17:00; it cures in 14 hours."""
    known = {"gravity": Decimal("1.5"), "base": Decimal(100), "accelerator": Decimal(10)}
    sealant = factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g", **known)
    unset = {"length": None, "unit": "", "leg_a": None, "leg_b": None, "size_unit": ""}
    factories.SeamFactory(step=steps.second, sealant=sealant, code="K", shape="each", grams_each=Fraction(15), **unset)
    factories.stock(factories.LotFactory(bench=bench, item=sealant, expires_on=later(90)), 100)
    day = sealday.plan_seal_day(bench=bench, on=later(2), steps=[steps.second], by=owner, today=DAY)
    sealday.set_people(day=day, people=[PersonData("Ida", time(9), time(17))], by=owner)
    sealday.set_product(day=day, item=sealant, life_hours=Fraction(2), cure_hours=Fraction(14), by=owner)
    return day


def test_sealing_waits_for_its_day_and_its_temperature(sealed, ask, owner):
    assert ask()["F2"] == [("seal_day", "it is sealed on the seal day of 2027-02-22, not before", "the seal day of 2027-02-22", later(2))]
    on_the_day = {"today": later(2), "now": NOW + timedelta(days=2)}
    assert [block[:2] for block in ask(**on_the_day)["F2"]] == [("seal_day", "the seal day is today, but its temperature isn't known")]
    sealday.change_seal_day(day=sealed, temperature_f=Fraction(72), pace=None, division=None, note="", by=owner)
    assert ask(**on_the_day)["F2"] is None


def test_what_comes_after_waits_for_the_cure_through_steps_that_are_done(sealed, steps, ask, project):
    cure = ("cure", "SEAL-B2 of F2 is not cured", "it is cured, as planned, on 2027-02-23 at 07:00", later(3))
    assert ask()["F3"][1] == cure
    steps.second.done = True
    steps.second.save()
    between = factories.StepFactory(project=project, code="F2b", done=True, after=[steps.second])
    last = factories.StepFactory(project=project, code="F9", after=[between])
    assert [block[0] for block in ask()["F9"]] == ["cure"]
    over = datetime(2027, 2, 23, 7, 1, tzinfo=UTC)
    assert ask(today=later(3), now=over)["F9"] is None
    assert last.code == "F9"


def test_seam_that_cannot_be_reckoned_blocks_its_step_alone(steps, ask, project, workshop):
    other = factories.StepFactory(project=project, code="F7")
    sealant = factories.ItemFactory(workshop=workshop, code="SEAL-X", kind="sealant", unit="g", gravity=None)
    factories.SeamFactory(step=other, sealant=sealant, code="S1")

    found = ask()
    assert found["F2"] is None
    assert [block[0] for block in found["F7"]] == ["seam"]
    assert "SEAL-X" in found["F7"][0][1]


def test_minutes_people_and_project_are_asked_for(steps, ask, other_bench, owner):
    factories.StepFactory(project=factories.ProjectFactory(bench=other_bench, code="PLOVER-1"), code="P1", people=2)

    assert [block[0] for block in ask(minutes=60, people=1)["P1"]] == ["people"]
    assert [block[0] for block in ask(minutes=60)["F2"]] == ["minutes"]
    assert ask(minutes=90, people=2)["P1"] is None
    assert set(ask(project=steps.second.project)) == {"F2", "F3"}


def test_plan_without_steps_has_an_answer(workshop, project):
    found = tonight(today=DAY, now=NOW)
    assert (found.ready, found.blocked, found.steps) == ((), (), 0)


def test_steps_far_down_the_plan_are_counted_and_not_judged(steps, project):
    last = steps.third
    for at in range(40):
        last = factories.StepFactory(project=project, code=f"G{at}", after=[last])
    found = tonight(today=DAY, now=NOW)

    assert (len(found.ready), len(found.blocked), found.waiting, found.steps) == (1, 30, 11, 42)


def test_of_too_many_steps_without_an_order_those_that_count_first_are_judged(steps, project, monkeypatch):
    monkeypatch.setattr(reading, "FIRST", 2)
    soon = factories.StepFactory(project=project, code="H1", planned_on=later(1))
    factories.StepFactory(project=project, code="H2", planned_on=later(9))
    Step.objects.filter(pk=steps.third.pk).update(planned_on=later(2))
    found = tonight(today=DAY, now=NOW)

    assert ([one.step.code for one in found.ready], found.waiting) == (["F2", soon.code], 1)


def grow(project, bench, drawers):
    """One more ready step, one blocked one, a row that stays, a loan's worth of clecos: each with its own items and lots."""
    for kind in ("part", "cleco"):
        item = factories.ItemFactory(workshop=project.workshop, kind=kind)
        step = factories.StepFactory(project=project, minutes=10)
        behind = factories.StepFactory(project=project, after=[step])
        factories.CallOutFactory(step=step, item=item)
        factories.CallOutFactory(step=behind, item=item)
        factories.stock(factories.LotFactory(bench=bench, item=item), 3, drawers[0])


def test_as_many_queries_for_many_steps_as_for_one(steps, sealed, project, bench, drawers):
    def count(what):
        with CaptureQueriesContext(connection) as found:
            what()
        return len(found)

    few = count(lambda: tonight(today=DAY, now=NOW)), count(lambda: walk([steps.second.pk], today=DAY))
    for _ in range(6):
        grow(project, bench, drawers)
    pks = [one.step.pk for one in tonight(today=DAY, now=NOW).ready]
    assert len(pks) > 6
    assert (count(lambda: tonight(today=DAY, now=NOW)), count(lambda: walk(pks, today=DAY))) == few
    assert few[0] <= 45


# The walk


def test_walk_goes_place_by_place_and_takes_each_lot_once(steps, project, bench, workshop, drawers):
    """Rivets of two steps add up; clecos are fetched once for the step that takes most; drawer 2 comes before drawer 10."""
    other = factories.StepFactory(project=project, code="F7")
    factories.CallOutFactory(step=other, item=steps.rivet, quantity=Decimal(70))
    factories.CallOutFactory(step=other, item=steps.cleco, quantity=Decimal(25))
    found = walk([other.pk, steps.second.pk], today=DAY)

    assert [step.code for step in found.steps] == ["F2", "F7"]
    assert [(stop.path, [(pick.item, int(pick.quantity), pick.steps) for pick in stop.picks]) for stop in found.stops] == [
        ("Hangar/Drawer 2", [("CLECO-4", 25, ("F2", "F7"))]),
        ("Hangar/Drawer 10", [("RIVET", 100, ("F2", "F7"))]),
    ]
    assert [(short.item, int(short.quantity)) for short in found.short] == [("RIVET", 10)]


def test_walk_for_two_benches_takes_nothing_of_the_pool_twice(steps, other_bench, shared_bench, drawers):
    steps.rivet.lots.update(state="failed")
    factories.stock(factories.LotFactory(bench=shared_bench, item=steps.rivet, code="POOL"), 50, drawers[1])
    theirs = factories.StepFactory(project=factories.ProjectFactory(bench=other_bench, code="PLOVER-1"), code="P1")
    factories.CallOutFactory(step=theirs, item=steps.rivet, quantity=Decimal(30))
    found = walk([theirs.pk, steps.second.pk], today=DAY)

    picks = [pick for stop in found.stops for pick in stop.picks if pick.item == "RIVET"]
    assert sum(pick.quantity for pick in picks) == 50
    assert sum(short.quantity for short in found.short) == 20


def test_walk_leaves_out_what_is_done_and_refuses_what_is_not_here(steps, outsider):
    assert walk([steps.first.pk], today=DAY).steps == ()
    with scopes_disabled():
        theirs = Step.objects.get(workshop=outsider)
    for strange in (0, theirs.pk):
        with pytest.raises(NoSuchStep):
            walk([strange], today=DAY)


def test_walk_order_reads_numbers_as_numbers():
    paths = ["Rack 10/A", "Rack 2/B", "rack 2/a", "Bench"]
    assert sorted(paths, key=walk_order) == ["Bench", "rack 2/a", "Rack 2/B", "Rack 10/A"]


# Against the step's own page


@settings(max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_ready_is_what_the_step_s_own_page_can_take(data, project, bench, shared_bench, other_bench, workshop):
    """Where nothing is booked or held, a step lacks things tonight exactly where `proposals` of it alone is short."""
    kinds = ("part", "cleco", "chemical")
    things = [factories.ItemFactory(workshop=workshop, kind=data.draw(st.sampled_from(kinds))) for _ in range(3)]
    for item in things:
        for _ in range(data.draw(st.integers(0, 3))):
            owner = data.draw(st.sampled_from([bench, shared_bench, other_bench]))
            ends = data.draw(st.sampled_from([None, -1, 0, 30]))
            state = data.draw(st.sampled_from(["good", "good", "quarantined"]))
            lot = factories.LotFactory(bench=owner, item=item, state=state, expires_on=None if ends is None else later(ends))
            factories.stock(lot, data.draw(st.integers(1, 20)))
            if data.draw(st.booleans()):
                factories.SetAsideFactory(lot=lot, ref="step:0", quantity=Decimal(data.draw(st.integers(1, 5))))
    made = [factories.StepFactory(project=project) for _ in range(3)]
    for step in made:
        for item in data.draw(st.sets(st.sampled_from(things), max_size=3)):
            factories.CallOutFactory(step=step, item=item, quantity=Decimal(data.draw(st.integers(1, 25))))
    found = tonight(today=DAY, now=NOW)

    for one in (*found.ready, *found.blocked):
        if one.step in made:
            short = {proposal.item.code for proposal in records.proposals(one.step, on=DAY) if proposal.line.short}
            lacking = {block.text.partition(":")[0] for block in one.verdict.blocks if block.kind in {Kind.STOCK, Kind.TOOL}}
            assert lacking == short
            assert one.verdict.ready is not bool(short)
