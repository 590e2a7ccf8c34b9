"""Temperature logs as files."""

from datetime import UTC, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.shelflife.logs import celsius, instant, read_log

HEAD = "time,temperature,unit\n"


def test_log_reads_in_any_order_of_columns_and_both_units():
    log = read_log("Unit,Time,Temperature\nF,2027-03-14T08:00:00Z,80\nC,2027-03-14T10:00:00+01:00,4.5\n")
    assert log.faults == ()
    assert [(one.at, one.celsius) for one in log.readings] == [
        (datetime(2027, 3, 14, 8, tzinfo=UTC), 26.67),
        (datetime(2027, 3, 14, 9, tzinfo=UTC), 4.5),
    ]


def test_decimal_comma_is_read_with_semicolons_alone():
    assert read_log("time;temperature;unit\n2027-03-14T08:00Z;4,5;C\n").readings[0].celsius == 4.5
    assert read_log(HEAD + '2027-03-14T08:00Z,"4,5",C\n').faults == ("line 2: '4,5' is no temperature",)


def test_every_bad_row_is_named_with_its_line():
    log = read_log(
        HEAD
        + "2027-03-14T08:00Z,20,C\n"
        + "2027-03-14T07:00Z,20,C\n"
        + "\n"
        + "2027-03-14T09:00Z,900,C\n"
        + "2027-03-14T09:00,20,C\n"
        + "soon,20,C\n"
        + "2027-03-14T10:00Z,warm,C\n"
        + "2027-03-14T10:00Z,20,K\n"
        + "2027-03-14T10:00Z,NaN,C\n"
        + "2027-03-14T10:00Z,20\n"
    )
    assert [fault.partition(":")[0] for fault in log.faults] == [f"line {line}" for line in (3, 5, 6, 7, 8, 9, 10, 11)]
    assert "is not after the one before it" in log.faults[0]
    assert "broken sensor" in log.faults[1]
    assert "has no time zone" in log.faults[2]


@pytest.mark.parametrize("text", ["", HEAD, "when,temperature,unit\n2027-03-14T08:00Z,20,C\n", "time,temperature\n"])
def test_file_without_readings_or_with_another_header_is_refused(text):
    log = read_log(text)
    assert log.readings == ()
    assert log.faults[0].startswith("line 1: ")


def test_chosen_zone_is_that_of_times_without_one_and_hours_that_come_twice_or_never_are_refused():
    berlin = ZoneInfo("Europe/Berlin")
    assert instant("2027-01-14T09:00", berlin) == datetime(2027, 1, 14, 8, tzinfo=UTC)
    assert instant("2027-01-14T09:00Z", berlin) == datetime(2027, 1, 14, 9, tzinfo=UTC)
    for text in ("2027-10-31T02:30", "2027-03-28T02:30"):
        with pytest.raises(ValueError, match="twice or never"):
            instant(text, berlin)


@given(st.decimals(-90, 90, places=2))
def test_celsius_of_its_fahrenheit_is_itself(degrees):
    assert celsius(degrees * 9 / 5 + 32, "F") == pytest.approx(float(degrees), abs=0.0051)
    assert celsius(degrees, "C") == float(degrees)


@pytest.mark.parametrize(("fahrenheit", "expected"), [(80, 26.67), (95, 35), (40, 4.44), (32, 0)])
def test_published_bounds_in_celsius(fahrenheit, expected):
    assert celsius(Decimal(fahrenheit), "F") == expected
