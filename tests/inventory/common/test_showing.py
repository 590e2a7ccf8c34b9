"""How sizes and days look to who reads: pure functions by every style, and one reader's choice around a block."""

from datetime import UTC, date, datetime
from fractions import Fraction
from zoneinfo import ZoneInfo

from django.template import Context, Template
from django.utils import timezone, translation
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.common.showing import (
    Dates,
    Inches,
    Showing,
    Sizes,
    date_text,
    day_text,
    instant_text,
    named_size_text,
    now_reading,
    reading,
    size_text,
)

DAY = date(2027, 3, 6)  # a Saturday


def test_days_in_every_style_and_language():
    shown = {style: day_text(DAY, Showing(dates=style)) for style in Dates.values}
    assert shown == {"iso": "Sat 2027-03-06", "day_first": "Sat 6 Mar 2027", "month_first": "Sat Mar 6, 2027", "dotted": "Sat 6.3.2027"}
    with translation.override("de"):
        assert day_text(DAY, Showing(dates="day_first")) == "Sa 6 Mär 2027"
        assert day_text(DAY) == "Sa 2027-03-06"


def test_sizes_in_every_style():
    rivet, grip, gauge = Fraction(1, 8), Fraction(21, 16), Fraction("0.098")
    by = [Showing(sizes=size, inches=way) for size in Sizes.values for way in Inches.values]

    assert [named_size_text(rivet, one) for one in by] == [
        "1/8 in", "1/8 in", "0.125 in", "3.18 mm (1/8 in)", "3.18 mm (1/8 in)", "3.18 mm (0.125 in)",
    ]  # fmt: skip
    assert [size_text(grip, one) for one in by[:4]] == [
        "1.3125 in (33.34 mm)", "1 5/16 in (33.34 mm)", "1.3125 in (33.34 mm)", "33.34 mm (1.3125 in)",
    ]  # fmt: skip
    assert {named_size_text(gauge, one) for one in by[:3]} == {"0.098 in"}  # no rule has it as a fraction
    assert size_text(Fraction(2), by[1]) == "2 in (50.8 mm)"


@given(st.fractions(min_value=0, max_value=100, max_denominator=64).filter(lambda size: 64 % size.denominator == 0))
@settings(max_examples=40)
def test_a_fraction_reads_back_as_the_size_it_was(size):
    text = named_size_text(size, Showing()).removesuffix(" in")
    assert sum(Fraction(part) for part in text.split()) == size


def test_an_instant_is_shown_in_the_zone_in_force():
    at = datetime(2027, 3, 6, 23, 30, tzinfo=UTC)
    with timezone.override(ZoneInfo("Europe/Berlin")):
        assert (instant_text(at), date_text(at), day_text(at)) == ("2027-03-07 00:30", "2027-03-07", "Sun 2027-03-07")


def test_a_reader_s_choice_holds_for_its_block_alone():
    texts = "{{ day|day }} {{ day|dated }} {{ size|inches }} {{ size|size_name }}"
    page = Template(texts + "{{ none|day }}{{ none|dated }}{{ none|inches }}{{ none|size_name }}{{ none|instant }}")
    context = Context({"day": DAY, "size": Fraction(1, 8), "none": None})
    with reading(Showing(sizes="metric", inches="decimal", dates="dotted")):
        assert page.render(context) == "Sat 6.3.2027 6.3.2027 3.18 mm (0.125 in) 3.18 mm (0.125 in)"

    assert page.render(context) == "Sat 2027-03-06 2027-03-06 0.125 in (3.18 mm) 1/8 in"
    assert now_reading() == Showing()
