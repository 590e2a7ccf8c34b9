"""The rule that makes a step ready, by cases worked by hand; and that more of anything never takes a ready step away."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st

from buildplan.tonight.calc import (
    Asked,
    Before,
    Curing,
    Disputed,
    Evening,
    Gain,
    Held,
    Kind,
    Promised,
    Sealing,
    Wanted,
    Way,
    fitting,
    free,
    judge,
)
from inventory.common.reasons import Reason

TODAY = date(2027, 2, 20)
EVENING = Evening(TODAY, minutes=120, people=1)
RIVETS = Wanted("RIVET", "ea", returned=False, needed=Decimal(40), there=Decimal(40))
PINS = Wanted("CLECO-4", "ea", returned=True, needed=Decimal(20), there=Decimal(30))


def after(days):
    return TODAY + timedelta(days=days)


def only(step, evening=EVENING):
    (block,) = judge(step, evening).blocks
    return block


def test_step_that_nothing_stands_against_is_ready_and_says_why():
    found = judge(Asked("F2", minutes=90, people=1, wanted=(RIVETS, PINS)), EVENING)

    assert found.ready
    assert found.nearest is None
    assert [reason.text for reason in found.trace] == [
        "all that it comes after is done",
        "nothing that was sealed before it is known to be curing",
        "CLECO-4: takes 20 ea of 30 free today",
        "takes 90 of your 120 minutes",
        "takes 1 person of 1 here",
    ]


def test_every_reason_is_told_not_the_first_alone():
    step = Asked(
        "F2",
        minutes=240,
        people=2,
        before=(Before("F1", "Deburr", after(3)), Before("F0", "Wash", None)),
        curing=(Curing("SEAL-B2", "F1", datetime(2027, 2, 22, 7, tzinfo=UTC), planned=True),),
        sealing=Sealing(after(5), warm=False),
        seams=("seam S1 of F2, SEAL-B2: no gravity",),
        wanted=(replace(RIVETS, there=Decimal(5)), replace(PINS, there=Decimal(0))),
    )
    found = judge(step, EVENING)

    kinds = [Kind.STEP, Kind.STEP, Kind.CURE, Kind.SEAM, Kind.SEAL_DAY, Kind.STOCK, Kind.TOOL, Kind.MINUTES, Kind.PEOPLE]
    assert [block.kind for block in found.blocks] == kinds
    assert all(block.text and block.source and block.way.text for block in found.blocks)
    assert found.nearest == Way("F0 has no planned day", None)


def test_nearest_is_what_it_waits_for_longest():
    found = judge(Asked("F2", before=(Before("F1", "Deburr", after(3)), Before("F0", "Wash", after(8)))), EVENING)

    assert found.nearest == Way("F0 counts on 2027-02-28", after(8))


class TestSealing:
    def test_cure_says_until_when(self):
        block = only(Asked("F3", curing=(Curing("SEAL-B2", "F2", datetime(2027, 2, 21, 7, 30, tzinfo=UTC), planned=False),)))
        assert (block.text, block.way.text, block.way.day) == (
            "SEAL-B2 of F2 is not cured",
            "it is cured on 2027-02-21 at 07:30",
            date(2027, 2, 21),
        )

    def test_sealing_waits_for_its_day(self):
        assert only(Asked("F3", sealing=Sealing(after(2), warm=True))).way == Way("the seal day of 2027-02-22", after(2))

    def test_seal_day_that_is_past_has_no_day(self):
        assert only(Asked("F3", sealing=Sealing(after(-1), warm=True))).way.day is None

    def test_sealing_today_wants_a_temperature(self):
        assert only(Asked("F3", sealing=Sealing(TODAY, warm=False))).text == "the seal day is today, but its temperature isn't known"
        assert judge(Asked("F3", sealing=Sealing(TODAY, warm=True)), EVENING).ready

    def test_sealant_of_no_seal_day_is_a_caution(self):
        found = judge(Asked("F3", unplanned=("SEAL-RTV",)), EVENING)
        assert found.ready
        assert "SEAL-RTV: no seal day says the temperature, read the data sheet first" in [reason.text for reason in found.trace]


class TestStock:
    def test_first_day_on_which_crates_make_it_enough(self):
        crates = (Gain("C-1 is due on 2027-02-22", after(2), Decimal(10)), Gain("C-2 is due on 2027-02-25", after(5), Decimal(30)))
        block = only(Asked("F2", wanted=(replace(RIVETS, there=Decimal(5), gains=crates),)))

        assert block.text == "RIVET: takes 40 ea, 5 usable today"
        assert block.way == Way("C-1 is due on 2027-02-22; C-2 is due on 2027-02-25", after(5))

    def test_order_now_where_nothing_on_its_way_is_enough_or_sooner(self):
        late = (Gain("C-1 is due", after(30), Decimal(40)),)
        block = only(Asked("F2", wanted=(replace(RIVETS, there=Decimal(5), gains=late, lead_days=10, receiving_days=3),)))

        assert block.way == Way("ordered today it is here on 2027-03-05: 10 days of lead time and 3 of receiving", after(13))

    def test_nothing_known_is_said_with_what_is_on_its_way_without_a_day(self):
        gains = (Gain("40 ea are on their way in C-1, without a due day", None, Decimal(40)),)
        block = only(Asked("F2", wanted=(replace(RIVETS, there=Decimal(0), gains=gains),)))

        assert block.way.day is None
        assert block.way.text.startswith("nothing known: 40 ea are on their way in C-1")

    def test_lot_that_dies_meanwhile_is_not_counted_later(self):
        gains = (Gain("C-1", after(2), Decimal(-5)), Gain("C-2", after(4), Decimal(35)))
        assert only(Asked("F2", wanted=(replace(RIVETS, there=Decimal(5), gains=gains),))).way.day is None


class TestThingsThatComeBack:
    def test_bookings_of_others_take_what_lies_with_the_pool_alone(self):
        booked = (Promised("Ida", Decimal(25), TODAY, after(1)),)
        assert free(replace(PINS, pool=Decimal(12), booked=booked), TODAY) == 18
        assert free(replace(PINS, pool=Decimal(30), booked=booked), TODAY) == 5
        assert free(replace(PINS, pool=Decimal(30), booked=booked), after(2)) == 30

    def test_booking_says_who_and_until_when_it_comes_free(self):
        wanted = replace(PINS, pool=Decimal(30), booked=(Promised("Ida", Decimal(25), after(-2), after(1)),))
        block = only(Asked("F2", wanted=(wanted,)))

        assert block.way == Way("the booking of Ida ends on 2027-02-21", after(2))
        assert [reason.text for reason in block.trace] == ["Ida booked 25 through 2027-02-21", "30 there - 25 booked - 0 held: 5 free"]

    def test_next_booking_is_looked_through(self):
        booked = (Promised("Ida", Decimal(25), TODAY, after(1)), Promised("Jon", Decimal(25), after(2), after(6)))
        assert only(Asked("F2", wanted=(replace(PINS, pool=Decimal(30), booked=booked),))).way.day == after(7)

    def test_clecos_in_the_holes_of_a_done_step_come_free_the_day_after(self):
        held = (Held("F1 is done, but its clecos stay until F4", Decimal(15), after(3)),)
        block = only(Asked("F2", wanted=(replace(PINS, held=held),)))

        assert block.text == "CLECO-4: takes 20 ea, 15 free today"
        assert block.way == Way("15 come free after 2027-02-23, as planned", after(4))

    def test_held_without_an_end_is_not_known(self):
        held = (Held("F1 is done, but its clecos stay until F4", Decimal(15), None),)
        assert only(Asked("F2", wanted=(replace(PINS, held=held),))).way.day is None

    def test_loan_that_is_due_back_is_the_way(self):
        back = (Gain("10 are lent to Joss, due back on 2027-02-23", after(3), Decimal(10), Decimal(10)),)
        assert only(Asked("F2", wanted=(replace(PINS, there=Decimal(12), gains=back),))).way.day == after(3)


def test_minutes_and_people_are_those_of_the_evening():
    assert only(Asked("F2", minutes=121)).text == "takes 121 minutes, you have 120"
    assert only(Asked("F2", people=2)).way == Way("2 people at once", TODAY)
    assert judge(Asked("F2", minutes=121), Evening(TODAY)).ready


def test_fitting_fills_the_evening_in_plan_order():
    assert fitting([90, 60, 30, 30], 120) == (True, False, True, False)
    assert fitting([None, 30], 120) == (True, False)
    assert fitting([30, None, 30], 120) == (True, False, True)
    assert fitting([30, 30], None) == (True, False)
    assert fitting([], 120) == ()


# More never takes away

AMOUNT = st.integers(0, 60).map(Decimal)
DAY = st.integers(-3, 12).map(after)


@st.composite
def wants(draw):
    return Wanted(
        code="X",
        unit="ea",
        returned=draw(st.booleans()),
        needed=draw(st.integers(1, 40).map(Decimal)),
        there=(there := draw(AMOUNT)),
        pool=draw(st.integers(0, int(there)).map(Decimal)),
        gains=tuple(draw(st.lists(st.builds(Gain, st.just("comes"), st.none() | DAY.filter(lambda day: day > TODAY), AMOUNT), max_size=2))),
        booked=tuple(
            Promised("Ida", quantity, first, first + timedelta(days=2))
            for quantity, first in draw(st.lists(st.tuples(AMOUNT, DAY), max_size=2))
        ),
        held=tuple(draw(st.lists(st.builds(Held, st.just("held"), AMOUNT, st.none() | DAY), max_size=2))),
        lead_days=draw(st.none() | st.integers(0, 20)),
    )


STEPS = st.builds(
    Asked,
    label=st.just("F2"),
    minutes=st.none() | st.integers(1, 300),
    people=st.none() | st.integers(1, 4),
    sealing=st.none() | st.builds(Sealing, DAY, st.booleans()),
    wanted=st.lists(wants(), max_size=3).map(tuple),
)
EVENINGS = st.builds(Evening, st.just(TODAY), st.none() | st.integers(1, 300), st.integers(1, 4))


@settings(max_examples=80)
@given(STEPS, EVENINGS, st.integers(0, 100), st.integers(0, 3), st.integers(0, 50), st.booleans())
def test_more_minutes_people_or_stock_never_block_a_ready_step(step, evening, minutes, people, stock, with_the_pool):
    longer = None if evening.minutes is None else evening.minutes + minutes
    more = Evening(TODAY, longer, evening.people + people)
    pool = stock if with_the_pool else 0
    richer = replace(step, wanted=tuple(replace(one, there=one.there + stock, pool=one.pool + pool) for one in step.wanted))

    if judge(step, evening).ready:
        assert judge(step, more).ready
        assert judge(richer, more).ready


@settings(max_examples=60)
@given(STEPS, EVENINGS)
def test_step_is_ready_on_the_day_that_its_stock_is_told_for(step, evening):
    """An independent look: on the day named, what is free is enough, and on no day named before it."""
    for block, one in zip(
        [block for block in judge(step, evening).blocks if block.kind in {Kind.STOCK, Kind.TOOL}],
        [one for one in step.wanted if free(one, TODAY) < one.needed],
        strict=True,
    ):
        day = block.way.day
        if day is not None and not block.way.text.startswith("ordered"):
            assert free(one, day) >= one.needed
            earlier = [TODAY + timedelta(days=at) for at in range((day - TODAY).days)]
            assert all(free(one, before) < one.needed for before in earlier)


def test_reasons_are_sentences_with_a_source():
    found = judge(Asked("F2", minutes=90, wanted=(RIVETS, PINS)), EVENING)
    assert all(isinstance(reason, Reason) and reason.text and reason.source for reason in found.trace)


def test_open_conflict_stands_against_a_step_until_the_maker_answers_and_somebody_settles():
    waiting = only(Asked("F2", disputed=(Disputed("hand of the rib", through="RIB-L"),)))
    answered = only(Asked("F2", disputed=(Disputed("hand of the rib", answered=after(-2)),)))

    assert (waiting.kind, waiting.text) == (Kind.CONFLICT, 'text and drawing disagree: "hand of the rib"')
    assert waiting.way == Way("the answer of the maker, which is still to come", None)
    assert [reason.text for reason in waiting.trace] == ["it takes RIB-L, which rests on that conflict"]
    assert answered.way == Way("the answer of the maker came on 2027-02-18: settle it", TODAY)
