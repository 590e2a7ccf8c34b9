"""Shelf life: dates, passed tests, and the mean kinetic temperature."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest

from buildplan.shortfall.windows import FRESH, fresh_for
from inventory.shelflife.calc import StatedDate, last_usable_day, limits, mean_kinetic_temperature
from inventory.shelflife.logs import celsius
from inventory.shelflife.published import RUBBER
from inventory.shelflife.storage import Reading, Stay, StorageRule, storage
from inventory.stock.calc import LifeRule, life, lifts


@pytest.mark.parametrize(
    ("made", "months", "last"),
    [  # [calc]; a month means its last day: Navy shelf-life code, NAVEDTRA 14015 table 5-5; a quarter too: MIL-HDBK-695E
        ("2024-02", 9, date(2024, 11, 30)),
        ("2023-08", 6, date(2024, 2, 29)),
        ("2Q18", 15 * 12, date(2033, 6, 30)),
        ("2013-10", 36, date(2016, 10, 31)),  # both dates on a label maker's MIL-STD-129R help page; the 36 is their difference
    ],
)
def test_end_of_life(made, months, last):
    assert last_usable_day(limits(made=made, life_months=months)).last_day == last


@pytest.mark.parametrize(
    ("passes", "last"),
    [  # T.O. 1-1-700 par. 12.8: each pass adds half the original life
        (0, date(2024, 11, 30)),
        (1, date(2025, 3, 31)),
        (2, date(2025, 7, 31)),
    ],
)
def test_a_pass_adds_half_the_life(passes, last):
    found = limits(made="2024-02", life_months=9, passes=passes, extend_part=Fraction(1, 2))

    assert last_usable_day(found).last_day == last


@pytest.mark.parametrize(
    ("cure", "last"),
    [("2Q18", date(2018, 6, 30)), ("4Q2018", date(2018, 12, 31)), ("2018-02", date(2018, 2, 28))],
)
def test_quarters_and_months_end_on_their_last_day(cure, last):
    """MIL-HDBK-695E counts from the quarter's last day; one supplier says the next day, we take the earlier."""
    assert StatedDate.parse(cure).last_day == last


def test_life_left_on_receipt():
    """MIL-DTL-5516D par. 6.5: at least 85 % of the life is left on receipt. Of 273 days (9 months to 15 March 2027, computed) 232."""
    assert Fraction(85, 100) == FRESH
    assert fresh_for(date(2027, 3, 15), life_months=9, min_life_days=0).left == 232


@pytest.mark.parametrize(
    ("spans", "celsius", "tolerance"),
    [
        ([(2, 20), (4, 2), (1, 25)], 15.7, 0.05),  # published: Isopharm, "What is Mean Kinetic Temperature?"
        ([(2, 20), (4, 2), (1, 25)], 15.6776, 5e-5),  # computed
        ([(12, 20), (12, 30)], 26.2599, 5e-5),  # computed
        ([(100, 25)], 25, 0),  # computed: constant stays
    ],
)
def test_mean_kinetic_temperature(spans, celsius, tolerance):
    """dH/R = 10,000 K: 83.144 kJ/mol, USP 29 chapter 1160."""
    assert abs(mean_kinetic_temperature(spans) - celsius) <= tolerance


@pytest.mark.parametrize(
    ("quarter", "years", "last"),
    [  # Global O-Ring's summary of SAE AS5316, from the quarter's last day: MIL-HDBK-695E
        ("2Q18", 15, date(2033, 6, 30)),  # NBR
        ("4Q2020", 5, date(2025, 12, 31)),  # polyurethane
        ("1Q20", 12, date(2032, 3, 31)),  # hose: 48 quarters, WMT supplier sheet
    ],
)
def test_elastomers_from_their_cure_quarter(quarter, years, last):
    assert last_usable_day(limits(made=quarter, life_months=12 * years)).last_day == last


def test_elastomers_as_published():
    """Global O-Ring's summary of SAE AS5316; SBR: MIL-HDBK-695E against Daemar's summary; hose: WMT supplier sheet."""
    years = {one.what: [months // 12 for months in one.months] for one in RUBBER}

    assert years == {"nitrile (NBR)": [15], "polyurethane": [5], "fluorocarbon (FKM)": [], "styrene butadiene (SBR)": [3, 15], "hose": [12]}


@pytest.mark.parametrize(("fahrenheit", "degrees"), [(80, 26.67), (95, 35.0), (40, 4.44)])
def test_bounds_of_storage_in_celsius(fahrenheit, degrees):
    """80 F: T.O. 1-1-700 par. 12.8. 95 F and 40 F: Cirrus SR22 Airplane Maintenance Manual 13773-001, 20-10 p. 1 and 19."""
    assert celsius(Decimal(fahrenheit), "F") == degrees


CIRRUS = StorageRule("Cirrus SR22 AMM 13773-001, 20-10 p. 1 and 19", high=26.67, use_within_days=35, never_below=4.44, never_above=35.0)
START = datetime(2027, 6, 1, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("fahrenheit", "last"),
    [
        (80, None),
        (81, date(2027, 7, 6)),  # over 80 F: within 5 weeks
        (95, date(2027, 7, 6)),
        (96, date(2027, 6, 1)),  # over 95 F: stop, ask
        (40, None),
        (39, date(2027, 6, 1)),  # under 40 F: stop, ask
    ],
)
def test_excursions_of_storage(fahrenheit, last):
    reading = Reading(START, celsius(Decimal(fahrenheit), "F"))
    found = storage([Stay("Shed", START)], {"Shed": [reading]}, CIRRUS, until=START + timedelta(hours=1))
    assert [limit.last_day for limit in found.limits] == ([] if last is None else [last])


def test_type_i_is_not_extendible_and_type_ii_is_after_a_test():
    """MIL-STD-129R par. 5.10.1; Navy shelf-life code, NAVEDTRA 14015 table 5-5."""
    made = StatedDate.parse("2024-02")
    type_i, type_ii = (LifeRule(9, timed=True, extend_part=part) for part in (None, Fraction(1, 2)))
    assert (life(type_i, made, None, None, 2).last_day, life(type_ii, made, None, None, 2).last_day) == (
        date(2024, 11, 30),
        date(2025, 7, 31),
    )
    assert "update test" not in lifts(type_i, life(type_i, made, None, None))
    assert "update test" in lifts(type_ii, life(type_ii, made, None, None))
