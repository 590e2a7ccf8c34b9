"""The days of all plans in one pass: the same as demand's, and what a move changes is what reckoning anew gives."""

from datetime import date, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from buildplan.club import days
from buildplan.shortfall.demand import StepFacts, all_days

TODAY = date(2027, 2, 20)


@st.composite
def plans(draw, most=9):
    """Steps in plan order, each after some that stand before it; some done, some without a day, some overdue."""
    count = draw(st.integers(1, most))
    steps, pairs = [], []
    for at in range(count):
        planned = draw(st.none() | st.integers(-3, 8).map(lambda days: TODAY + timedelta(days=days)))
        steps.append(StepFacts(at, f"S{at}", (0, at), planned, draw(st.integers(0, 3)) == 0))
        pairs += [(at, before) for before in draw(st.sets(st.integers(0, at - 1), max_size=2))] if at else []
    return steps, pairs


def found(steps, pairs):
    planned = sorted((step.planned, step.id) for step in steps if step.planned is not None and not step.done)
    return days.given([(pk, day) for day, pk in planned], days.order(pairs).afters)


def reckoned(steps, pairs):
    order, given_days = days.order(pairs), found(steps, pairs)
    return days.Days(order, given_days, {step.id: days.Plan(step.planned, step.done) for step in steps}, TODAY)


@settings(max_examples=150)
@given(plans())
def test_every_step_not_done_takes_the_day_that_demand_gives_it(plan):
    steps, pairs = plan
    expected = all_days(steps, pairs, undated=False, as_of=TODAY)

    club = reckoned(steps, pairs)
    got = {step.id: (club.on(step.id), club.asked(step.id)) for step in steps if not step.done and club.on(step.id)}

    assert got == {step: (day.day, day.asked) for step, day in expected.items()}


@settings(max_examples=200)
@given(plans(), st.data())
def test_a_move_changes_what_planning_anew_would(plan, data):
    steps, pairs = plan
    club = reckoned(steps, pairs)
    step = data.draw(st.sampled_from(steps)).id
    to = TODAY + timedelta(days=data.draw(st.integers(0, 8)))
    if not club.may_move(step, to):
        return

    anew = [one._replace(planned=to) if one.id == step else one for one in steps]
    after, before = found(anew, pairs), found(steps, pairs)
    changed = {one: after[one].day for one in after if one not in before or before[one].day != after[one].day}

    assert club.moved({step: to}) == changed


def test_a_step_stays_where_what_waits_for_it_or_comes_before_it_would_not_hold():
    # F1 (day 2) - F2 (day 3) - F3 (day 5); F4 has no day and waits for nothing
    steps = [StepFacts(at, f"F{at}", (0, at), planned, done=False) for at, planned in enumerate([day(2), day(3), day(5), None], 1)]
    club = reckoned(steps, [(2, 1), (3, 2)])

    assert [to for to in range(8) if club.may_move(2, day(to))] == [2, 4, 5]
    assert not any(club.may_move(4, day(to)) for to in range(8))


def test_what_has_no_day_of_its_own_goes_along():
    steps = [StepFacts(1, "F1", (0, 1), None, done=False), StepFacts(2, "F2", (0, 2), day(3), done=False)]
    club = reckoned(steps, [(2, 1)])

    assert club.moved({2: day(4)}) == {1: day(4), 2: day(4)}


def day(number):
    return TODAY + timedelta(days=number)
