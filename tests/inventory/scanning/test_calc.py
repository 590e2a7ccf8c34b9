import re
from collections.abc import Container
from datetime import date, timedelta

import pytest
from biip.gs1_application_identifiers import _GS1_APPLICATION_IDENTIFIERS
from hypothesis import example, given
from hypothesis import strategies as st
from stdnum import ean
from stdnum.iso7064 import mod_37_36

from inventory.scanning.calc import BITS, SENTENCES, Kind, Reading, is_token, make_token, read, sentences, shown, token_of

TODAY = date(2026, 6, 15)
GTIN = "0105412345000013"  # with its identifier
TOKEN = make_token(0xA5A5A5A5A5)
ADDRESS = "https://id.gs1.org/01/09520123456788"
EVERY_PREFIX = [
    "",
    "]",
    "]C1",
    "]Q3",
    "]d2",
    "]e0",
    "]J1",
    "]E0",
    "]E4",
    "]Q1",
    "]zz",
    "[)>",
    "[)>\x1e06\x1d",
    "[)>\x1eDD\x1d",
    "https://a/",
    "1P",
]

ARABIC = "".join(chr(0x660 + int(digit)) for digit in "1234567890128")  # digits, but none that a code is made of

# The characters that a value of GS1 may have, but for those that spell a separator.
VALUES = st.text(st.sampled_from("!\"%&'()*+,-./0123456789:;=?ABCXYZ_abcxyz"), min_size=1, max_size=20)


def gtins() -> st.SearchStrategy[str]:
    return st.from_regex(r"\A[0-9]{13}\Z").map(lambda payload: payload + ean.calc_check_digit(payload))


def message_with(*tail: str) -> str:
    return "]C1" + "".join(tail)


class Codes(Container[str]):
    """A container that can only be asked."""

    def __contains__(self, code: object) -> bool:
        return code == "AN470AD4-6"


# Whatever comes


@given(st.sampled_from(EVERY_PREFIX), st.text(max_size=200))
@example("", "\0")
@example("", "\ud800")
@example("", "\x1d" * 10_000)
@example("]C1", "10A\x1d" * 2_500)
@example("]C1", "01" * 5_000)
@example("[)>", "\x1e" * 10_000)
@example("https://[", "%" * 10_000)
@example("https://a/", "01/" * 3_000)
@example("", "\u0661" * 13)
def test_any_text_gives_a_reading(prefix, text):
    reading = read(prefix + text, today=TODAY)

    assert isinstance(reading, Reading)
    assert isinstance(reading.kind, str)
    assert all(isinstance(part, str) for pair in reading.fields.items() for part in pair)
    assert set(reading.problems) <= set(SENTENCES)
    assert len(sentences(reading)) == len(set(reading.problems))


@given(st.sampled_from(EVERY_PREFIX), st.text(st.sampled_from("01237 9ADGPST/?=&%+<>\x1d\x1e\x04-"), max_size=40), st.dates())
def test_any_text_of_the_characters_of_codes_gives_a_reading_on_any_day(prefix, text, today):
    assert isinstance(read(prefix + text, today=today), Reading)


@pytest.mark.parametrize("symbology", ["]C1", "]Q3", "]d2", "]e0", "]J1"])
@given(text=st.text(max_size=40))
def test_behind_a_symbology_identifier_of_gs1_it_is_gs1_however_broken(symbology, text):
    assert read(symbology + text, today=TODAY).kind == Kind.GS1


@given(st.text(max_size=40))
def test_behind_the_start_of_an_envelope_it_is_one_however_broken(text):
    assert read("[)>" + text, today=TODAY).kind == Kind.ISO15434


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("", "opaque"),
        (" \r\n", "opaque"),
        ("\x1d\x1d", "opaque"),
        ("<GS><RS><EOT>", "opaque"),
        ("]Q1", "opaque"),
        ("]C1", "gs1"),
        ("]C1\x1d\x1d", "gs1"),
        ("]E0", "gtin"),
        ("[)>\x1e\x04", "iso15434"),
        ("[)>\x1e06\x1d\x1e\x04", "iso15434"),
        ("[)>\x1e05\x1d\x1e\x04", "iso15434"),
    ],
)
def test_an_empty_message_is_a_problem(text, kind):
    reading = read(text, today=TODAY)

    assert (reading.kind, reading.problems) == (kind, ("empty",))


def test_blanks_and_line_ends_around_a_code_are_dropped():
    assert read(" \tMS20470AD4-6\r\n", today=TODAY).fields == {"text": "MS20470AD4-6"}


# Symbology identifiers


@pytest.mark.parametrize("symbology", ["]A0", "]C0", "]Q1", "]d1", "]e1", "]I1", "]X0", "]c1", "]E1", "]k9", "]z0", "]LF"])
def test_any_other_symbology_identifier_is_taken_off(symbology):
    assert read(f"{symbology}TESTING", today=TODAY) == Reading(Kind.OPAQUE, {"text": "TESTING"})


@pytest.mark.parametrize("text", ["]", "]A", "]]A0", "]1A", "]-0", "A]C1"])
def test_a_bracket_that_starts_no_symbology_identifier_stays(text):
    assert read(text, today=TODAY).fields == {"text": text}


def test_what_is_marked_as_no_gs1_is_none():
    assert read(f"]C0{GTIN}", today=TODAY).kind == "opaque"


@pytest.mark.parametrize(
    ("code", "kind"),
    [
        (ADDRESS, "digital_link"),
        ("[)>\x1e06\x1dP1\x1e\x04", "iso15434"),
        ("4160003361089"[:12], "gtin"),
        (TOKEN, "token"),
        ("1PABC", "di"),
        ("AN470AD4-6", "known"),
    ],
)
def test_behind_any_other_symbology_identifier_it_reads_as_without_one(code, kind):
    assert read(f"]Q1{code}", today=TODAY, known=Codes()) == read(code, today=TODAY, known=Codes())
    assert read(code, today=TODAY, known=Codes()).kind == kind


@pytest.mark.parametrize("code", ["]E0416000336108", "]E012345678901231", "]E0ABC", f"]E0{ARABIC}", "]E41234567890128", "]E4"])
def test_a_retail_bar_code_with_a_wrong_number_of_digits(code):
    reading = read(code, today=TODAY)

    assert (reading.kind, reading.fields) == ("gtin", {})
    assert reading.problems in {("digits",), ("empty",)}


# Separators


@pytest.mark.parametrize("separator", ["\x1d", "<GS>", "\u241d"])
def test_a_group_separator_however_it_is_written(separator):
    assert read(f"]C110ABC{separator}21X", today=TODAY).fields == {"10": "ABC", "21": "X"}


def test_an_envelope_however_its_separators_are_written():
    spelled = read("[)><RS>06<GS>PABC<GS>Q12<RS><EOT>", today=TODAY)

    assert spelled == read("[)>\x1e06\x1dPABC\x1dQ12\x1e\x04", today=TODAY)
    assert spelled == read("[)>␞06␝PABC␝Q12␞␄", today=TODAY)


def test_separators_are_shown_as_pictures():
    assert shown("10ABC\x1d21X\x1e\x04") == "10ABC␝21X␞␄"


@pytest.mark.parametrize("text", [f"\x1d{GTIN}", f"{GTIN}\x1d", f"{GTIN}\x1d10ABC\x1d", f"\x1d\x1d{GTIN}\x1d\x1d"])
@pytest.mark.parametrize("symbology", ["", "]C1"])
def test_separators_that_a_message_does_not_need_are_passed_over(symbology, text):
    reading = read(symbology + text, today=TODAY)

    assert (reading.kind, reading.problems, reading.fields["01"]) == ("gs1", (), GTIN[2:])


@pytest.mark.parametrize("text", ["MS20470AD4-6\x1d", "\x1dMS20470AD4-6"])
def test_separators_around_a_plain_code_are_dropped(text):
    assert read(text, today=TODAY).fields == {"text": "MS20470AD4-6"}


# GS1 messages


@given(gtins(), st.none() | VALUES, st.none() | VALUES, st.none() | st.dates(date(1978, 1, 1), date(2075, 12, 31)))
def test_a_message_reads_as_it_was_put_together(gtin, lot, serial, expires):
    parts = {"01": gtin, "17": f"{expires:%y%m%d}" if expires else None, "10": lot, "21": serial}
    fields = {ai: value for ai, value in parts.items() if value is not None}
    text = "".join(ai + value + ("\x1d" if ai in {"10", "21"} else "") for ai, value in fields.items())

    for reading in (read(text, today=TODAY), read(f"]C1{text}", today=TODAY), read(text.removesuffix("\x1d"), today=TODAY)):
        assert (reading.kind, reading.problems) == ("gs1", ())
        assert {ai: value for ai, value in reading.fields.items() if ai.isdigit()} == fields
        assert reading.fields.get("expires") == (expires and expires.isoformat())


@given(st.sampled_from(list(_GS1_APPLICATION_IDENTIFIERS.values())), st.data())
def test_any_application_identifier_with_a_value_of_its_form(identifier, data):
    text = data.draw(st.from_regex(re.compile(identifier.pattern, re.ASCII)))

    reading = read(f"]C1{text.rstrip()}", today=TODAY)

    assert reading.kind == "gs1"
    assert identifier.ai in reading.fields or reading.problems


def test_a_lot_at_full_length_may_end_the_message_or_a_separator():
    lot = "A" * 20

    assert read(f"]C110{lot}", today=TODAY) == Reading(Kind.GS1, {"10": lot})
    assert read(f"]C110{lot}\x1d21X", today=TODAY).fields == {"10": lot, "21": "X"}


@pytest.mark.parametrize("symbology", ["", "]C1"])
def test_a_lot_at_full_length_without_its_separator(symbology):
    reading = read(f"{symbology}{GTIN}10{'A' * 20}17290331", today=TODAY)

    assert (reading.kind, reading.problems) == ("gs1", ("no_separator",))
    assert reading.fields == {"01": GTIN[2:]}  # where the lot ends is a guess, and so is what comes behind


def test_what_follows_the_next_separator_is_read_again():
    reading = read(f"]C110{'A' * 20}17290331\x1d21X", today=TODAY)

    assert reading.fields == {"21": "X"}


def test_a_value_of_fixed_length_that_still_needs_a_separator():
    number = "1234567890123456" + ean.calc_check_digit("1234567890123456")

    assert read(f"]C1402{number}\x1d10A", today=TODAY).problems == ()
    assert read(f"]C1402{number}10A", today=TODAY).problems == ("no_separator",)


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("10" + "A" * 21, "value"),
        ("10AB{C", "value"),
        ("0105412345", "value"),
        ("0105412345\x1d10ABC", "value"),
        ("17ABCDEF", "value"),
        ("10", "value"),
        ("30", "value"),
        ("30\x1d10ABC", "value"),
        ("010" + ARABIC, "value"),
        ("05123", "unknown_ai"),
        ("TESTING", "unknown_ai"),
        ("0", "unknown_ai"),
    ],
)
def test_a_message_that_breaks_off_or_says_something_else(text, problem):
    reading = read(message_with(text), today=TODAY)

    assert (reading.kind, reading.problems) == ("gs1", (problem,))


@pytest.mark.parametrize("text", [f"{GTIN}10", f"{GTIN}XX", f"{GTIN}17291332", "0105412345000014", "10ABC\x1d21X", "17290331"])
def test_an_unmarked_text_of_which_not_all_is_a_message_with_a_key_is_opaque(text):
    assert read(text, today=TODAY) == Reading(Kind.OPAQUE, {"text": text})


@pytest.mark.parametrize("key", ["00106141412345678908", "0205412345000013", GTIN])
def test_an_unmarked_message_with_each_key(key):
    assert read(f"{key}", today=TODAY).fields == {key[:2]: key[2:]}


@pytest.mark.parametrize(
    ("ai", "payload"),
    [
        ("00", "10614141234567890"),
        ("01", "0541234500001"),
        ("02", "0541234500001"),
        ("253", "061414100000"),
        ("255", "061414100000"),
        ("402", "0614141000000000"),
        ("410", "061414100000"),
        ("414", "061414100000"),
        ("417", "061414100000"),
        ("8003", "0061414100000"),
        ("8017", "06141410000000000"),
        ("8018", "06141410000000000"),
    ],
)
def test_each_identifier_whose_value_has_a_check_digit(ai, payload):
    right = ean.calc_check_digit(payload)
    wrong = str((int(right) + 1) % 10)

    assert read(f"]C1{ai}{payload}{right}", today=TODAY) == Reading(Kind.GS1, {ai: payload + right})
    assert read(f"]C1{ai}{payload}{wrong}", today=TODAY) == Reading(Kind.GS1, {}, ("check_digit",))


def test_a_repeated_identifier_with_the_same_value_is_none():
    assert read(f"]C1{GTIN}{GTIN}", today=TODAY) == Reading(Kind.GS1, {"01": GTIN[2:]})


@pytest.mark.parametrize("symbology", ["", "]C1"])
def test_a_repeated_identifier_with_another_value(symbology):
    reading = read(f"{symbology}{GTIN}10A\x1d10B", today=TODAY)

    assert (reading.kind, reading.problems) == ("gs1", ("repeated",))
    assert reading.fields == {"01": GTIN[2:], "10": "A"}


def test_the_dates_of_a_message():
    assert read("]C1112601311527020017290331", today=TODAY).fields == {
        "11": "260131",
        "made": "2026-01-31",
        "15": "270200",
        "best_before": "2027-02-28",
        "17": "290331",
        "expires": "2029-03-31",
    }


def test_dates_are_not_compared():
    assert read("]C1112901011720010110OLD", today=TODAY).problems == ()


@pytest.mark.parametrize(("today", "two_digits", "year"), [(1999, "49", 2049), (1999, "50", 1950), (2060, "10", 2110), (2060, "11", 2011)])
def test_the_century_is_a_window_around_today(today, two_digits, year):
    assert read(f"]C111{two_digits}0101", today=date(today, 1, 1)).fields["made"] == f"{year}-01-01"


@given(st.dates(date(1, 1, 1), date.max), st.from_regex(r"\A[0-9]{6}\Z"))
def test_a_date_lies_from_49_years_back_to_50_ahead(today, written):
    made = read(f"]C111{written}", today=today).fields.get("made")

    if made is not None:
        assert -49 <= date.fromisoformat(made).year - today.year <= 50


def test_a_range_of_dates_with_one_that_is_none():
    assert read("]C17007260101260230", today=TODAY).problems == ("date",)


# Trade item numbers


@given(st.sampled_from([8, 12, 13, 14]), st.data())
def test_a_number_is_a_trade_item_where_an_independent_reckoning_says_so(length, data):
    number = data.draw(st.from_regex(rf"\A[0-9]{{{length}}}\Z"))

    assert (read(number, today=TODAY).kind == "gtin") == ean.is_valid(number)


@pytest.mark.parametrize("number", ["0", "12345670"[:7], "12345678901", "123456789012345", "02345673X", ARABIC])
def test_a_number_of_another_length_or_of_other_digits_is_opaque(number):
    assert read(number, today=TODAY).kind == "opaque"


# Our tokens


def test_the_form_of_a_token():
    assert make_token(0) == "RL00000000" + mod_37_36.calc_check_digit("RL00000000")
    assert make_token(0x123456789A) == "RL28T5CY4T" + mod_37_36.calc_check_digit("RL28T5CY4T")


@given(st.integers(0, 2**BITS - 1))
def test_a_token_reads_in_any_case_bare_or_at_the_end_of_an_address(bits):
    token = make_token(bits)

    assert len(token) == 11
    for text in (
        token,
        token.lower(),
        f"https://box.example/t/{token}",
        f"HTTP://10.0.0.1:8000/A/T/{token.lower()}",
        f"http://a/t/{token}/?x#y",
    ):
        assert read(text, today=TODAY) == Reading(Kind.TOKEN, {"token": token})


@given(st.integers(0, 2**BITS - 1), st.integers(0, 10), st.sampled_from("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"))
def test_a_token_with_one_character_wrong_is_none(bits, at, character):
    token = make_token(bits)
    changed = token[:at] + character + token[at + 1 :]

    assert is_token(changed) == (changed == token)


@pytest.mark.parametrize("bits", [-1, 2**BITS])
def test_a_token_is_of_forty_bits(bits):
    with pytest.raises(ValueError, match="bits"):
        make_token(bits)


@pytest.mark.parametrize("text", ["", "RL", TOKEN[:-1], TOKEN + "0", "\u017f" + TOKEN[1:], "RL\u00df" + TOKEN[4:]])
def test_what_is_no_token(text):
    assert token_of(text) is None


@pytest.mark.parametrize("address", [f"https://a/x/{TOKEN}", f"https://a/t/{TOKEN}/x", f"https://a/?t={TOKEN}", "https://a/t/RL000000000"])
def test_an_address_with_a_token_elsewhere_is_no_label(address):
    assert read(address, today=TODAY) == Reading(Kind.DIGITAL_LINK, {}, ("no_primary_key",))


# Digital Links


def escaped(value: str) -> str:
    return "".join(character if character.isalnum() else f"%{ord(character):02X}" for character in value)


@given(
    gtins(),
    VALUES,
    VALUES,
    st.sampled_from(["id.gs1.org", "shop.example:8080", "00"]),
    st.sampled_from(["", "/a", "/some/stem", "/01/x", "/414"]),
)
def test_a_digital_link_reads_as_it_was_put_together(gtin, lot, serial, host, stem):
    address = f"https://{host}{stem}/01/{gtin}/10/{escaped(lot)}?21={escaped(serial)}&17=290331&utm=1#top"

    reading = read(address, today=TODAY)

    assert (reading.kind, reading.problems) == ("digital_link", ())
    assert reading.fields == {"01": gtin, "10": lot, "21": serial, "17": "290331", "expires": "2029-03-31"}


@pytest.mark.parametrize(
    ("tail", "fields"),
    [
        ("?linkType=all&x&&a1=2&=3&10=A", {"10": "A"}),
        ("?", {}),
        ("#10=A", {}),
        ("/10/A+B", {"10": "A+B"}),
        ("/10/A%2BB", {"10": "A+B"}),
        ("?10=A%2BB", {"10": "A+B"}),
        ("/10/A%2FB", {"10": "A/B"}),
        ("/17/290331", {"17": "290331", "expires": "2029-03-31"}),
        ("/10/A?10=A", {"10": "A"}),
        ("?3103=000189", {"3103": "000189", "net_kg": "0.189"}),
    ],
)
def test_what_a_digital_link_may_hold(tail, fields):
    assert read(ADDRESS + tail, today=TODAY) == Reading(Kind.DIGITAL_LINK, {"01": "09520123456788", **fields})


@pytest.mark.parametrize(
    ("tail", "problem"),
    [
        ("?10=A+B", "value"),  # a plus is a blank there, and no lot has one
        ("?10", "no_value"),
        ("?10=", "no_value"),
        ("/10//21/X", "no_value"),
        ("?10=A%1DB", "value"),
        ("?10=%C3%A9", "value"),
        ("?10=A%2", "escape"),
        ("?10=A%zz", "escape"),
        ("?999=A", "unknown_ai"),
        ("?1=A", "unknown_ai"),
        ("?100=A", "unknown_ai"),
        ("/lot/A", "unknown_ai"),
        ("?17=291332", "date"),
        ("?414=0614141000000", "check_digit"),
        ("/10/A?10=B", "repeated"),
        ("?10=" + "A" * 21, "value"),
        ("/", "trailing_slash"),
    ],
)
def test_what_is_wrong_with_a_digital_link(tail, problem):
    assert read(ADDRESS + tail, today=TODAY).problems == (problem,)


@pytest.mark.parametrize(
    ("address", "problems"),
    [
        ("https://a/01/09520123456789", ("check_digit",)),
        ("https://a/01/09520123456", ("value",)),
        ("https://a/01/09520123456788/10", ("no_value",)),
        ("https:///01/09520123456788", ("no_host",)),
        ("https://a", ("no_primary_key",)),
        ("https://a/", ("no_primary_key",)),
        ("https://a/shop/rivets?id=7", ("no_primary_key",)),
        ("https://a/?01=09520123456788", ("no_primary_key",)),
        ("http://", ("no_host", "no_primary_key")),
        ("https://[", ("no_primary_key",)),
    ],
)
def test_an_address_that_is_no_good_digital_link(address, problems):
    reading = read(address, today=TODAY)

    assert (reading.kind, reading.problems) == ("digital_link", problems)


@pytest.mark.parametrize("number", ["9520123456788", "416000336108", "02345673"])
def test_a_digital_link_may_leave_out_the_zeros_in_front(number):
    assert read(f"https://a/01/{number}", today=TODAY) == Reading(Kind.DIGITAL_LINK, {"01": number.zfill(14)})


@pytest.mark.parametrize("address", ["HTTPS://ID.GS1.ORG/01/09520123456788", "http://00/00/faux/01/09520123456788"])
def test_any_case_host_and_stem(address):
    assert read(address, today=TODAY) == Reading(Kind.DIGITAL_LINK, {"01": "09520123456788"})


@pytest.mark.parametrize("address", ["ftp://a/01/09520123456788", "https:/a/01/09520123456788", "www.a.example/01/09520123456788"])
def test_any_other_address_is_opaque(address):
    assert read(address, today=TODAY) == Reading(Kind.OPAQUE, {"text": address})


# Envelopes


def test_an_envelope_of_application_identifiers():
    reading = read(f"[)>\x1e05\x1d{GTIN}\x1d10ABC\x1d17290331\x1e\x04", today=TODAY)

    assert reading == Reading(Kind.ISO15434, {"01": GTIN[2:], "10": "ABC", "17": "290331", "expires": "2029-03-31"})


def test_two_envelopes_in_one_message():
    reading = read("[)>\x1e06\x1d1PABC\x1e12\x1dSER 7\x1e\x04", today=TODAY)

    assert reading == Reading(Kind.ISO15434, {"1P": "ABC", "SER": "7"})


@given(st.from_regex(r"\A[0-9]{0,3}[A-Z]\Z"), VALUES)
def test_any_data_identifier_in_an_envelope(di, value):
    if di not in {"D", "14D", "16D"}:
        assert read(f"[)>\x1e06\x1d{di}{value}\x1e\x04", today=TODAY) == Reading(Kind.ISO15434, {di: value})


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("[)>06\x1d1PABC\x1e\x04", "envelope"),
        ("[)>\x1e06\x1d1PABC", "envelope"),
        ("[)>\x1e06\x1d1PABC\x1e", "envelope"),
        ("[)>\x1e06\x1d1PABC\x04", "envelope"),
        ("[)>\x1e061PABC\x1e\x04", "envelope"),
        ("[)>\x1e06\x1d1PABC\x1e\x04X", "envelope"),
        ("[)>\x1e06\x1d1PABC\x1d1234X\x1e\x04", "unknown_di"),
        ("[)>\x1e06\x1d1PABC\x1dq12\x1e\x04", "unknown_di"),
        ("[)>\x1e06\x1d1PABC\x1dQ\x1e\x04", "unknown_di"),
        ("[)>\x1e06\x1d1PABC\x1dD151332\x1e\x04", "date"),
        ("[)>\x1e06\x1d1PABC\x1d14D290331\x1e\x04", "date"),
        ("[)>\x1e06\x1d1PABC\x1d1PABD\x1e\x04", "repeated"),
        ("[)>\x1e06\x1d1PABC\x1e07\x1dfree text\x1e\x04", "unknown_format"),
        ("[)>\x1e06\x1d1PABC\x1e12\x1dSER7\x1e\x04", "unknown_tei"),
        ("[)>\x1e06\x1d1PABC\x1e05\x1dTESTING\x1e\x04", "unknown_ai"),
    ],
)
def test_what_is_wrong_with_an_envelope_and_what_can_still_be_read(text, problem):
    reading = read(text, today=TODAY)

    assert (reading.kind, reading.problems) == ("iso15434", (problem,))
    assert reading.fields.get("1P", "ABC").rstrip("\x1e\x04X") == "ABC"


@pytest.mark.parametrize("text", ["[)>\x1e06\x1d1PABC\x1d\x1e\x04", "[)>\x1e06\x1d\x1d1PABC\x1e\x04\r\n"])
def test_separators_that_an_envelope_does_not_need_are_passed_over(text):
    assert read(text, today=TODAY) == Reading(Kind.ISO15434, {"1P": "ABC"})


# Data identifiers, codes that are known, and the rest


@pytest.mark.parametrize("di", ["1P", "1T", "1K", "3S", "4S", "5S", "4L", "7Q"])
def test_a_bare_data_identifier_that_starts_with_a_digit(di):
    assert read(f"{di}ABC-12", today=TODAY) == Reading(Kind.DI, {di: "ABC-12"})


def test_bare_dates():
    assert read("14D20290331", today=TODAY) == Reading(Kind.DI, {"14D": "20290331", "expires": "2029-03-31"})
    assert read("16D20260200", today=TODAY) == Reading(Kind.DI, {"16D": "20260200", "made": "2026-02-28"})
    assert read("14D20291332", today=TODAY) == Reading(Kind.DI, {}, ("date",))


@pytest.mark.parametrize(
    "text",
    [
        "PABC",
        "Q12",
        "T77",
        "S1",
        "K1000-06",
        "D151231",
        "MS20470AD4-6",
        "2P7",
        "9N1",
        "25SABC",
        "1P",
        "1pABC",
        "14D-6",
        "14D2029",
        "1PA\x1dQ1",
    ],
)
def test_a_code_that_could_be_a_part_number_is_opaque(text):
    assert read(text, today=TODAY) == Reading(Kind.OPAQUE, {"text": text})


@pytest.mark.parametrize("known", [{"1PABC"}, ["1PABC"], {"1PABC": 7}, ("1PABC",)])
def test_a_known_code_goes_before_a_data_identifier(known):
    assert read("1PABC", today=TODAY, known=known) == Reading(Kind.KNOWN, {"text": "1PABC"})


@pytest.mark.parametrize("text", ["AN470AD4-6", "an470 ad4-6", "\uff21\uff2e470AD4-6"])
def test_a_known_code_in_any_way_of_writing_keeps_its_text(text):
    assert read(text, today=TODAY, known=Codes()) == Reading(Kind.KNOWN, {"text": text})


def test_a_code_that_is_known_as_written_alone():
    assert read("an470 ad4-6", today=TODAY, known={"an470 ad4-6"}).kind == "known"


@pytest.mark.parametrize("text", ["02345673", GTIN, ADDRESS, TOKEN, "[)>\x1e06\x1d1PABC\x1e\x04"])
def test_what_says_its_own_sort_goes_before_a_known_code(text):
    assert read(text, today=TODAY, known={text}).kind not in {"known", "opaque"}


def test_century_of_a_pharmacy_date_follows_today():
    text = "[)>\x1e06\x1dD770101\x1e\x04"

    assert read(text, today=TODAY).fields["date"] == "1977-01-01"
    assert read(text, today=TODAY + timedelta(days=365)).fields["date"] == "2077-01-01"
