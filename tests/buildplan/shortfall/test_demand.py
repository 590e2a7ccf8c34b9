"""Which steps count in a demand, and on which day."""

from datetime import date

import pytest

from buildplan.shortfall.demand import StepFacts, step_days

AS_OF = date(2027, 2, 20)
EARLY, MIDDLE, LATE = date(2027, 3, 1), date(2027, 3, 6), date(2027, 4, 1)


def steps(*rows):
    """Steps 1, 2, 3... of one project, each given as (planned, done)."""
    return [StepFacts(at, f"S{at}", (0, at), planned, done) for at, (planned, done) in enumerate(rows, 1)]


def days(found, afters=(), *, before=None, as_of=AS_OF):
    return {step: day.day for step, day in step_days(found, afters, before=before, as_of=as_of).items()}


def test_step_planned_on_the_last_day_counts():
    assert days(steps((MIDDLE, False)), before=MIDDLE) == {1: MIDDLE}


def test_step_planned_after_the_last_day_is_left_out():
    assert days(steps((LATE, False)), before=MIDDLE) == {}


def test_step_done_is_left_out():
    assert days(steps((EARLY, True))) == {}


def test_step_waited_for_takes_the_earlier_day():
    assert days(steps((LATE, False), (EARLY, False)), [(2, 1)], before=MIDDLE) == {1: EARLY, 2: EARLY}


def test_step_waited_for_keeps_its_own_earlier_day():
    assert days(steps((EARLY, False), (LATE, False)), [(2, 1)]) == {1: EARLY, 2: LATE}


def test_step_without_date_takes_the_earliest_that_waits():
    assert days(steps((None, False), (LATE, False), (MIDDLE, False)), [(2, 1), (3, 1)])[1] == MIDDLE


def test_step_far_back_counts():
    chain = steps((None, False), (None, False), (None, False), (EARLY, False))
    assert days(chain, [(2, 1), (3, 2), (4, 3)], before=EARLY) == dict.fromkeys(range(1, 5), EARLY)


def test_done_step_is_looked_through():
    assert days(steps((LATE, False), (None, True), (EARLY, False)), [(2, 1), (3, 2)], before=MIDDLE) == {1: EARLY, 3: EARLY}


def test_done_step_s_own_date_does_not_count():
    assert days(steps((None, False), (EARLY, True)), [(2, 1)], before=LATE) == {}


def test_day_past_counts_as_today():
    found = step_days(steps((date(2027, 1, 5), False)), [], before=MIDDLE, as_of=AS_OF)[1]
    assert found.day == AS_OF
    assert "2027-01-05" in found.rule


def test_before_a_day_past_leaves_out_what_is_planned_later():
    assert days(steps((date(2027, 1, 5), False), (date(2027, 2, 1), False)), before=date(2027, 1, 10)) == {1: AS_OF}


def test_step_without_date_and_nobody_waiting_counts_on_the_latest_day():
    assert days(steps((None, False), (LATE, False), (date(2028, 1, 1), True)))[1] == LATE


def test_step_without_date_and_nobody_waiting_is_left_out_of_a_dated_demand():
    assert days(steps((None, False), (EARLY, False)), before=LATE) == {2: EARLY}


def test_step_waited_for_only_by_an_undated_end_takes_its_day():
    assert days(steps((None, False), (None, False), (LATE, False)), [(2, 1)]) == {1: LATE, 2: LATE, 3: LATE}


def test_plan_without_any_date_counts_today():
    assert days(steps((None, False))) == {1: AS_OF}


def test_latest_day_is_that_of_the_step_s_own_project():
    found = [StepFacts(1, "A:1", (0, 1), None, False), StepFacts(2, "A:2", (0, 2), EARLY, False), StepFacts(3, "B:1", (1, 1), LATE, False)]
    assert days(found)[1] == EARLY


def test_rule_names_the_step_that_waits():
    assert "S2 waits for it" in step_days(steps((None, False), (EARLY, False)), [(2, 1)], before=None, as_of=AS_OF)[1].rule


def test_ring_of_steps_is_refused():
    with pytest.raises(ValueError, match="ring"):
        step_days(steps((None, False), (None, False)), [(1, 2), (2, 1)], before=None, as_of=AS_OF)
