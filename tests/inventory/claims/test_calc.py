"""Claim clocks against the calendar, what is left to claim, and the letter as text."""

import json
from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.claims import calc

DAYS = st.dates(date(1990, 1, 1), date(2100, 12, 31))
ARRIVED = date(2027, 2, 20)


@given(DAYS, st.integers(0, 3650), DAYS)
def test_clock_agrees_with_the_calendar(arrived, days, today):
    clock = calc.deadline(arrived, days, today)

    last = datetime.combine(arrived, datetime.min.time()) + timedelta(days=days)
    assert clock.last_day == last.date()
    assert clock.days_left == (last - datetime.combine(today, datetime.min.time())) / timedelta(days=1)
    assert clock.lapsed == (today > last.date())


@given(DAYS, st.integers(0, 3650), DAYS)
def test_clock_runs_one_day_a_day(arrived, days, today):
    assert calc.deadline(arrived, days, today).days_left == calc.deadline(arrived, days, today + timedelta(days=1)).days_left + 1


def test_clock_that_runs_past_the_calendar_ends_with_it():
    assert calc.deadline(date(9999, 12, 30), 10, ARRIVED).last_day == date.max


@pytest.mark.parametrize(
    ("today", "told"),
    [
        (date(2027, 2, 20), "10 days left"),
        (date(2027, 3, 1), "1 day left"),
        (date(2027, 3, 2), "today is the last day"),
        (date(2027, 3, 3), "lapsed 1 day ago"),
        (date(2027, 3, 12), "lapsed 10 days ago"),
    ],
)
def test_clock_says_how_long_is_left(today, told):
    assert str(calc.deadline(ARRIVED, 10, today)) == told


def test_clock_of_no_days_ends_on_the_day_of_arrival():
    assert str(calc.deadline(ARRIVED, 0, ARRIVED)) == "today is the last day"


def test_last_day_on_a_sunday_stays_a_sunday():
    assert calc.deadline(ARRIVED, 8, ARRIVED).last_day.isoweekday() == 7


@pytest.mark.parametrize(
    ("against", "whom"),
    [("sender", "Kit Works"), (" Carrier ", "Marsh Freight"), ("", "Kit Works"), ("Other Ltd", "Other Ltd")],
)
def test_addressee_is_the_crate_s_own_or_a_name(against, whom):
    assert calc.addressee(against, "Kit Works", "Marsh Freight") == whom


def test_addressee_who_is_not_known_is_blank():
    assert calc.addressee("carrier", "Kit Works", "") == ""


@given(st.decimals(0, 1000, places=3), st.lists(st.decimals(0, 1000, places=3), max_size=5))
def test_what_is_left_and_what_is_claimed_cover_the_difference(found, claimed):
    left = calc.still_to_claim(found, claimed)

    assert left >= 0
    assert left + sum(claimed) == max(found, sum(claimed))


@pytest.mark.parametrize(
    ("code", "taken", "expected"),
    [
        ("CRATE-7", ["CRATE-7"], "CRATE-7/R1"),
        ("CRATE-7", ["CRATE-7", "crate-7/r1"], "CRATE-7/R2"),
        ("CRATE-7/R1", ["CRATE-7/R1"], "CRATE-7/R2"),
        ("7/RX", [], "7/RX/R1"),
        ("/R1", [], "/R1/R1"),
        ("X" * 40, [], "X" * 37 + "/R1"),
    ],
)
def test_replacement_s_crate_has_the_next_free_code(code, taken, expected):
    assert calc.next_code(code, taken, 40) == expected


def letter(**more):
    facts = {
        "subject": "Shortage in crate CRATE-7",
        "sent_by": ("Marsh",),
        "to": ("Kit Works", "1 Hangar Lane"),
        "day": "2027-02-20",
        "facts": (("Crate", "CRATE-7"),),
        "opening": "Missing:",
        "heads": ("Listed", "Claimed"),
        "rows": (calc.Row("MS20470AD4-6", "rivet", "bag 7A, line 12", ("240 ea", "37 ea"), "torn bag"),),
        "photos": (calc.Photo(3, "the bag, taken 2027-02-20"),),
        "closing": ("Please answer.",),
    }
    return calc.Letter(**{**facts, **more})


def test_letter_as_text_has_all_of_it():
    assert calc.as_text(letter()) == (
        "Marsh\n\nTo:\nKit Works\n1 Hangar Lane\n\n2027-02-20\n\nShortage in crate CRATE-7\n\nCrate: CRATE-7\n\nMissing:\n\n"
        "  1. MS20470AD4-6  rivet\n     bag 7A, line 12\n     listed 240 ea, claimed 37 ea\n     torn bag\n\n"
        "Photos:\n  1. the bag, taken 2027-02-20\n\nPlease answer.\n"
    )


def test_letter_without_photos_names_none():
    assert "Photos" not in calc.as_text(letter(photos=()))


@given(st.text(max_size=30), st.lists(st.text(max_size=10), max_size=4), st.decimals(0, 9, places=3))
def test_letter_comes_back_from_json_as_it_was(text, texts, quantity):
    rows = tuple(calc.Row(one, text, "", (str(quantity), "1")) for one in texts)
    kept = letter(subject=text, to=tuple(texts), rows=rows, facts=tuple((one, text) for one in texts))

    assert calc.of_facts(json.loads(json.dumps(calc.as_facts(kept)))) == kept


def test_nothing_of_a_difference_is_left_once_it_is_claimed():
    assert calc.still_to_claim(Decimal(37), [Decimal(30), Decimal(7)]) == 0
