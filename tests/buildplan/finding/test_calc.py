"""Words as they are compared, days as people write them, and near misses."""

import re
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buildplan.finding.calc import MOST_WORDS, day_of, folded, near, pattern, words

TODAY = date(2027, 2, 20)
LETTERS = "".join(map(chr, [*range(0x20, 0x7F), *range(0xC0, 0x250)]))


def finds(text, within):
    return re.search(pattern(text), within, re.IGNORECASE) is not None


@pytest.mark.parametrize(
    ("text", "within"),
    [("muller", "Jörg MÜLLER"), ("MÜLLER", "Muller"), ("MÜLLER", "Mu\u0308ller"), ("a.b", "xA.Bx"), ("ø", "Ø 3"), ("5*", "1.5* x")],
)
def test_pattern_finds_whatever_case_and_accents(text, within):
    assert finds(text, within)


def test_pattern_takes_no_character_for_a_joker():
    assert not finds("a.b", "axb")
    assert not finds("(", "a")


@settings(max_examples=60)
@given(st.text(LETTERS, min_size=1, max_size=20))
def test_pattern_finds_the_text_itself_in_other_cases_and_without_accents(text):
    plain = folded(text)

    assert finds(text, plain)
    assert finds(plain, " ".join(text.split())) or any(len(folded(letter)) != 1 for letter in text.split())


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2027-03-06", date(2027, 3, 6)),
        ("6 March 2027", date(2027, 3, 6)),
        ("Sat 6 Mar", date(2027, 3, 6)),
        ("31 Dec", date(2026, 12, 31)),
        ("2027-02-30", None),
        ("30 February", None),
        ("F3-04", None),
        ("6 marks", date(2027, 3, 6)),
    ],
)
def test_day_of_what_people_write(text, day):
    assert day_of(text, today=TODAY) == day


def test_words_are_few_and_printable():
    assert words("skin  rivet skin") == ("skin", "rivet")
    assert words("a\x1db") == words("a\0") == words("x" * 81) == ()
    assert len(words("a b c d e f g h")) == MOST_WORDS


def test_near_gives_each_id_once_and_the_nearest_first():
    names = [(1, "Epoxy primer"), (2, "Rivet, universal head"), (1, "PRIMER-EP"), (3, "Drawer")]

    assert near("epoxi primer", names)[0] == 1
    assert near("epoxi primer", names).count(1) == 1
    assert near("zzzz", names) == []
