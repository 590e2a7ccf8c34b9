import re
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.catalogue.rivets import (
    ALLOYS,
    HEADS,
    TWINS,
    Fault,
    Rivet,
    RivetCodeError,
    format_rivet,
    parse_rivet,
    rivet_identifiers,
    rivet_notes,
)

RIVETS = st.builds(
    lambda standard, alloy, diameter, half_sizes: Rivet(standard, HEADS[standard], alloy, Fraction(diameter, 32), Fraction(half_sizes, 32)),
    st.sampled_from(sorted(HEADS)),
    st.sampled_from(sorted(ALLOYS)),
    st.integers(1, 32),
    st.integers(1, 199),
)


def fault_of(text):
    with pytest.raises(RivetCodeError) as caught:
        parse_rivet(text)
    return caught.value


@given(RIVETS)
def test_parse_and_format_are_inverse(rivet):
    code = format_rivet(rivet)

    assert parse_rivet(code) == rivet
    assert format_rivet(parse_rivet(code)) == code


@given(RIVETS, st.sampled_from(["", " ", "-"]), st.sampled_from(["", "-"]), st.sampled_from(["", " ", "\t \n"]), st.booleans())
def test_every_way_of_writing_reads_alike(rivet, after_number, after_alloy, blanks, lower):
    code = format_rivet(rivet)
    rest = code.removeprefix(rivet.standard + rivet.alloy)
    written = f"{blanks}{rivet.standard}{after_number}{rivet.alloy}{after_alloy}{rest}{blanks}"

    assert parse_rivet(written.lower() if lower else written) == rivet


@given(RIVETS)
def test_identifiers_name_the_same_part(rivet):
    own, *others = rivet_identifiers(rivet)

    assert own == format_rivet(rivet)
    assert [replace(parse_rivet(other), standard=rivet.standard) for other in others] == [rivet] * (rivet.standard in TWINS)


@given(st.text(max_size=30) | st.text("ANMS470263D-. 1B", max_size=16))
def test_any_text_reads_or_is_refused_by_name(text):
    try:
        rivet = parse_rivet(text)
    except RivetCodeError:
        assert fault_of(text).fault in Fault
    else:
        assert re.sub(r"[\s-]", "", text.upper()) == format_rivet(rivet).replace("-", "")


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", Fault.BLANK),
        ("  ", Fault.BLANK),
        (None, Fault.BLANK),
        (470, Fault.BLANK),
        ("MS20470AD4\N{EN DASH}6", Fault.CHARACTER),
        ("M\N{LATIN SMALL LETTER LONG S}20470AD4-6", Fault.CHARACTER),  # its capital is S
        ("MS20470AD\N{FULLWIDTH DIGIT FOUR}-6", Fault.CHARACTER),
        ("AN4-10A", Fault.BOLT),
        ("an3h-5a", Fault.BOLT),
        ("AN3-9", Fault.BOLT),
        ("LP4-3", Fault.NUMBER),
        ("470AD4-6", Fault.NUMBER),
        ("AN 470AD4-6", Fault.NUMBER),
        ("AN456AD4-6", Fault.NUMBER),
        ("AN470", Fault.ALLOY),
        ("AN470-4-6", Fault.ALLOY),
        ("AN470--AD4-6", Fault.ALLOY),
        ("AN470  AD4-6", Fault.ALLOY),
        ("AN470E4-6", Fault.ALLOY),
        ("AN470ADD4-6", Fault.ALLOY),
        ("AN470AD", Fault.DIAMETER),
        ("AN470AD 4-6", Fault.DIAMETER),
        ("AN470AD04-6", Fault.DIAMETER),
        ("AN470AD33-6", Fault.DIAMETER),
        ("AN470AD" + "4" * 5000 + "-6", Fault.DIAMETER),
        ("AN470AD4", Fault.NO_LENGTH),
        ("AN470AD4-", Fault.NO_LENGTH),
        ("AN470AD4 6", Fault.NO_LENGTH),
        ("AN470AD4--6", Fault.LENGTH),
        ("AN470AD4-6A", Fault.LENGTH),
        ("AN470AD4-.5", Fault.LENGTH),
        ("AN470AD4-06", Fault.LENGTH),
        ("AN470AD4-6.", Fault.LENGTH),
        ("AN470AD4-6.0", Fault.LENGTH_STEP),
        ("AN470AD4-3.50", Fault.LENGTH_STEP),
        ("AN470AD4-0", Fault.LENGTH_RANGE),
        ("AN470AD4-100", Fault.LENGTH_RANGE),
        ("AN470AD4-" + "9" * 5000, Fault.LENGTH_RANGE),
    ],
)
def test_each_fault_has_its_own_reason(text, fault):
    assert fault_of(text).fault is fault


def test_reasons_differ_from_fault_to_fault():
    codes = ["AN3-5A", "AN471AD4-6", "AN470X4-6", "AN470E4-6", "AN470AD0-6", "AN470AD4", "AN470AD4-x", "AN470AD4-3.25", "AN470AD4-100"]
    reasons = [str(fault_of(code)).partition(": ")[2] for code in codes]

    assert len(set(reasons)) == len(codes)


def test_a_refusal_shows_no_more_of_a_long_code_than_a_person_reads():
    assert len(str(fault_of("AN470AD4-" + "9" * 100_000))) < 200


def test_the_ends_of_the_length_range_are_read():
    assert parse_rivet("AN470AD4-0.5").length == Fraction(1, 32)
    assert parse_rivet("AN470AD4-99.5").length == Fraction(199, 32)


@pytest.mark.parametrize(
    "change",
    [{"length": Fraction(1, 100)}, {"diameter": Fraction(1, 10)}, {"length": Fraction(100, 16)}, {"standard": "AN471"}, {"head": "round"}],
)
def test_format_refuses_what_no_code_says(change):
    with pytest.raises(ValueError, match=r"MS|AN|rivet"):
        format_rivet(replace(parse_rivet("MS20470AD4-6"), **change))


def test_a_common_rivet_has_no_notes():
    assert rivet_notes(parse_rivet("MS20470AD4-6")) == ()
