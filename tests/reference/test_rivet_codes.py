"""Codes of rivets, as AC 43.13-1B p. 4-16 and NAVEDTRA 14315 table 3-1 explain them."""

from fractions import Fraction

import pytest

from buildplan.hardware.calc import RivetCodeError, format_rivet, parse_rivet, rivet_identifiers, rivet_notes
from inventory.catalogue.rivets import ALLOYS

CODES = "AC 43.13-1B p. 4-16; NAVEDTRA 14315 table 3-1"


@pytest.mark.parametrize(
    ("code", "diameter", "length"),
    [  # [calc] on the rule of CODES
        ("MS20470AD4-6", "0.125", "0.375"),
        ("MS20470AD3-3", "0.09375", "0.1875"),
        ("MS20426AD3-3.5", "0.09375", "0.21875"),
        ("MS20470AD4-8", "0.125", "0.500"),
    ],
)
def test_sizes_of_a_code(code, diameter, length):
    rivet = parse_rivet(code)

    assert (rivet.diameter, rivet.length) == (Fraction(diameter), Fraction(length)), CODES


@pytest.mark.parametrize(
    ("code", "standard", "head", "alloy", "diameter", "length"),
    [  # ways that kits and sellers write them [practice]
        ("MS20470AD4-6", "MS20470", "universal", "AD", Fraction(1, 8), Fraction(6, 16)),
        ("AN470AD4-4", "AN470", "universal", "AD", Fraction(1, 8), Fraction(4, 16)),
        ("NAS1097AD3-3.5", "NAS1097", "countersunk", "AD", Fraction(3, 32), Fraction(7, 32)),
        ("MS20470 AD4-3.5", "MS20470", "universal", "AD", Fraction(1, 8), Fraction(7, 32)),
        ("AN470-AD4-5", "AN470", "universal", "AD", Fraction(1, 8), Fraction(5, 16)),
        ("AN470-AD-4-5", "AN470", "universal", "AD", Fraction(1, 8), Fraction(5, 16)),
        ("MS20470DD6-8", "MS20470", "universal", "DD", Fraction(3, 16), Fraction(8, 16)),
        ("MS20470A3-4", "MS20470", "universal", "A", Fraction(3, 32), Fraction(4, 16)),
        ("an426ad3-3.5", "AN426", "countersunk", "AD", Fraction(3, 32), Fraction(7, 32)),
    ],
)
def test_must_read(code, standard, head, alloy, diameter, length):
    rivet = parse_rivet(code)

    assert (rivet.standard, rivet.head, rivet.alloy, rivet.diameter, rivet.length) == (standard, head, alloy, diameter, length)


@pytest.mark.parametrize(
    ("code", "fault", "says"),
    [
        ("MS20470AD4", "no_length", "no length"),
        ("MS20470XX4-6", "alloy", "'XX' is no alloy"),
        ("MS20470AD4-3.25", "length_step", "no whole or half size"),
        ("MS20470AD0-6", "diameter", "diameter '0'"),
        ("MS204070AD4-6", "number", "no rivet number known here"),
        ("AN3-5A", "bolt", "a bolt"),  # AC 43.13-1B: AN3 is a bolt of 3/16 in
        ("AN3-8A", "bolt", "no bolt either"),  # AC 43.13-1B: the last digit is 0 to 7
        ("MS20470E4-6", "alloy", "7050.*not known here"),  # [memory] that the trade uses it
    ],
)
def test_must_refuse(code, fault, says):
    with pytest.raises(RivetCodeError, match=says) as caught:
        parse_rivet(code)

    assert caught.value.fault == fault


@pytest.mark.parametrize(("one", "other"), [("AN470AD4-6", "MS20470AD4-6"), ("AN426AD3-3.5", "MS20426AD3-3.5")])
def test_twins_name_one_rivet(one, other):  # CODES
    assert rivet_identifiers(parse_rivet(one)) == (one, other)
    assert rivet_identifiers(parse_rivet(other)) == (other, one)


@pytest.mark.parametrize(
    ("letters", "metal", "mark"),
    [  # NAVEDTRA 14315 table 3-1
        ("A", "1100-F", "plain"),
        ("AD", "2117-T4", "dimple"),
        ("D", "2017-T4", "raised teat"),
        ("DD", "2024-T4", "raised double dash"),
        ("B", "5056-H32", "raised cross"),
    ],
)
def test_alloys(letters, metal, mark):
    assert (ALLOYS[letters].metal, ALLOYS[letters].head_mark) == (metal, mark)
    assert format_rivet(parse_rivet(f"MS20470{letters}4-6")) == f"MS20470{letters}4-6"


@pytest.mark.parametrize(
    ("code", "says", "source"),
    [
        ("MS20470D4-6", "20 minutes", "NAVEDTRA 14315 table 3-1"),
        ("MS20470DD4-6", "32 F for up to 24 hours", "NAVEDTRA 14315 table 3-1"),
        ("MS20470AD2-4", "nothing under 3/32 in", "NAVEDTRA 14018"),
    ],
)
def test_notes(code, says, source):
    (note,) = rivet_notes(parse_rivet(code))

    assert says in note.text
    assert note.source == source
