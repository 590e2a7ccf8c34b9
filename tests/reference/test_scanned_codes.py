"""Codes that scanners send, and how they read."""

from datetime import date

import pytest
from stdnum import ean

from inventory.scanning.calc import Kind, read

TODAY = date(2026, 6, 15)
GENERAL = "GS1 General Specifications; gs1.org check-digit page"
ENGINE = "GS1 Barcode Syntax Engine, tests"
LINK = "GS1 Digital Link standard, examples"
SECURPHARM = "securPharm coding rules V2.03 annex C.5"
MIL_STD_130 = "MIL-STD-130N"
MH10 = "ANSI MH10.8.2, AIAG B-10"

MESSAGE = "011231231231233310ABC123<GS>99TESTING"
ADDRESS = "https://id.gs1.org/01/09520123456788/10/ABC1/21/12345"


@pytest.mark.parametrize(("payload", "digit"), [("629104150021", "3"), ("730001100001", "7"), ("890400021003", "7")])
def test_check_digit(payload, digit):
    right = [last for last in "0123456789" if read(payload + last, today=TODAY).kind == Kind.GTIN]

    assert right == [digit] == [ean.calc_check_digit(payload)], GENERAL


@pytest.mark.parametrize("number", ["02345673", "416000336108", "1234567890128", "12345678901231"])
def test_trade_item_number_with_a_right_check_digit(number):
    reading = read(number, today=TODAY)

    assert (reading.kind, reading.fields, reading.problems) == ("gtin", {"01": number.zfill(14)}, ()), ENGINE


@pytest.mark.parametrize("number", ["12345673", "416000336109"])
def test_number_with_a_wrong_check_digit_is_opaque(number):
    assert read(number, today=TODAY) == read(f"]C0{number}", today=TODAY), ENGINE
    assert read(number, today=TODAY).kind == "opaque"


@pytest.mark.parametrize(
    ("written", "day"),
    [
        ("000606", date(2000, 6, 6)),
        ("200229", date(2020, 2, 29)),
        ("240229", date(2024, 2, 29)),
        ("200600", date(2020, 6, 30)),
    ],
)
def test_date(written, day):
    reading = read(f"]C117{written}", today=TODAY)

    assert (reading.fields, reading.problems) == ({"17": written, "expires": day.isoformat()}, ()), ENGINE


@pytest.mark.parametrize("written", ["200010", "201310", "200230", "210229", "200431"])
def test_date_that_is_none(written):
    reading = read(f"]C117{written}", today=TODAY)

    assert (reading.kind, reading.fields, reading.problems) == ("gs1", {}, ("date",)), ENGINE


@pytest.mark.parametrize(("two_digits", "year"), [("76", 2076), ("77", 1977)])
def test_century_in_2026(two_digits, year):
    fields = read(f"]C117{two_digits}0101", today=TODAY).fields

    assert fields["expires"] == f"{year}-01-01", "GS1 General Specifications 7.12"


@pytest.mark.parametrize("symbology", ["]C1", "]Q3", "]d2", "]e0", "]J1"])
def test_message_behind_each_symbology_identifier_of_gs1(symbology):
    reading = read(symbology + MESSAGE, today=TODAY)

    assert (reading.kind, reading.problems) == ("gs1", ()), ENGINE
    assert reading.fields == {"01": "12312312312333", "10": "ABC123", "99": "TESTING"}


def test_message_without_a_symbology_identifier():
    reading = read("010541234500001310ABC123<GS>17290331", today=TODAY)

    assert (reading.kind, reading.problems) == ("gs1", ()), ENGINE
    assert reading.fields == {"01": "05412345000013", "10": "ABC123", "17": "290331", "expires": "2029-03-31"}


def test_message_with_a_weight_in_front():
    reading = read("31030001890105412345000013<GS>10XYZ", today=TODAY)

    assert (reading.kind, reading.problems) == ("gs1", ()), ENGINE
    assert reading.fields == {"3103": "000189", "net_kg": "0.189", "01": "05412345000013", "10": "XYZ"}


@pytest.mark.parametrize(
    ("code", "number"),
    [("]E02112345678900", "02112345678900"), ("]E402345673", "00000002345673")],
)
def test_trade_item_number_behind_a_symbology_identifier(code, number):
    reading = read(code, today=TODAY)

    assert (reading.kind, reading.fields, reading.problems) == ("gtin", {"01": number}, ()), ENGINE


def test_trade_item_number_behind_a_symbology_identifier_with_a_wrong_check_digit():
    reading = read("]E02112345678901", today=TODAY)

    assert (reading.kind, reading.fields, reading.problems) == ("gtin", {}, ("check_digit",)), ENGINE


def test_plain_text_in_a_qr_code():
    reading = read("]Q1TESTING", today=TODAY)

    assert (reading.kind, reading.fields, reading.problems) == ("opaque", {"text": "TESTING"}, ()), ENGINE


def test_digital_link():
    reading = read(f"{ADDRESS}?17=180426", today=TODAY)

    assert (reading.kind, reading.problems) == ("digital_link", ()), LINK
    assert reading.fields == {"01": "09520123456788", "10": "ABC1", "21": "12345", "17": "180426", "expires": "2018-04-26"}


@pytest.mark.parametrize(
    ("address", "problem"),
    [(f"{ADDRESS}/", "trailing_slash"), (f"{ADDRESS}?99=", "no_value"), ("https://id.gs1.org/10/ABC1/21/12345", "no_primary_key")],
)
def test_digital_link_that_is_refused(address, problem):
    reading = read(address, today=TODAY)

    assert (reading.kind, reading.problems) == ("digital_link", (problem,)), ENGINE


@pytest.mark.parametrize(
    ("code", "fields", "source"),
    [
        (
            "[)><RS>06<GS>9N111234567842<GS>1T1A234B5<GS>D151231<GS>S1234567890123456<RS><EOT>",
            {"9N": "111234567842", "1T": "1A234B5", "D": "151231", "date": "2015-12-31", "S": "1234567890123456"},
            SECURPHARM,
        ),
        ("[)><RS>12<GS>CAG A3309<GS>SER 1234567<RS><EOT>", {"CAG": "A3309", "SER": "1234567"}, MIL_STD_130),
        ("[)><RS>DD<GS>MFR 0CVA5<GS>SER 674A36458<RS><EOT>", {"MFR": "0CVA5", "SER": "674A36458"}, MIL_STD_130),
    ],
)
def test_envelope(code, fields, source):
    reading = read(code, today=TODAY)

    assert (reading.kind, reading.fields, reading.problems) == ("iso15434", fields, ()), source


@pytest.mark.parametrize("di", ["P", "1P", "Q", "7Q", "T", "1T", "S", "3S", "4S", "5S", "K", "1K", "4L"])
def test_data_identifier_in_an_envelope(di):
    assert read(f"[)><RS>06<GS>{di}12<RS><EOT>", today=TODAY).fields == {di: "12"}, MH10


@pytest.mark.parametrize(("di", "name"), [("14D", "expires"), ("16D", "made")])
def test_data_identifier_of_a_date(di, name):
    assert read(f"[)><RS>06<GS>{di}20290331<RS><EOT>", today=TODAY).fields == {di: "20290331", name: "2029-03-31"}, MH10


@pytest.mark.parametrize("code", ["MS20470AD4-6", "K1000-06"])
def test_code_of_no_standard_is_opaque(code):
    reading = read(code, today=TODAY)

    assert (reading.kind, reading.fields, reading.problems) == ("opaque", {"text": code}, ())
