"""Which rivet may stand in for another: AC 43.13-1B p. 4-16, paragraph 4-57 b.

"2117 may replace 2017 (to 3/16) or 2024 (to 5/32) only one 1/32 in larger." The limits are those of the rivet that is replaced.
"""

import pytest

from buildplan.hardware.calc import may_serve, parse_rivet

SOURCE = "AC 43.13-1B p. 4-16"

MAY = [
    ("MS20470D3-4", "MS20470AD4-4"),
    ("MS20470D4-6", "MS20470AD5-6"),
    ("MS20470D6-8", "MS20470AD7-8"),  # 2017 up to 3/16, that included
    ("MS20470DD4-6", "MS20470AD5-6"),
    ("MS20470DD5-8", "MS20470AD6-8"),  # 2024 up to 5/32, that included
    ("MS20426D4-6", "MS20426AD5-6"),
]
MAY_NOT = [
    ("MS20470D7-8", "MS20470AD8-8"),  # 2017 over 3/16
    ("MS20470DD6-8", "MS20470AD7-8"),  # 2024 over 5/32
    ("MS20470D4-6", "MS20470AD4-6"),  # not larger
    ("MS20470D4-6", "MS20470AD6-6"),  # two sizes larger
    ("MS20470D5-6", "MS20470AD4-6"),  # smaller
    ("MS20470AD4-6", "MS20470D5-6"),  # the rule names 2117 as what replaces
    ("MS20470DD4-6", "MS20470D5-6"),
    ("MS20470D4-6", "MS20470A5-6"),
    ("MS20470B4-6", "MS20470AD5-6"),
]


@pytest.mark.parametrize(("wanted", "offered"), MAY)
def test_2117_may_replace_where_it_is_one_size_larger(wanted, offered):
    reason = may_serve(parse_rivet(wanted), parse_rivet(offered))
    assert reason is not None
    assert reason.source.startswith(SOURCE)
    assert "1/32 in larger" in reason.text


@pytest.mark.parametrize(("wanted", "offered"), MAY_NOT)
def test_no_other_alloy_or_size_may_replace(wanted, offered):
    assert may_serve(parse_rivet(wanted), parse_rivet(offered)) is None


@pytest.mark.parametrize(("one", "other"), [("AN470AD4-6", "MS20470AD4-6"), ("MS20426AD3-3.5", "AN426AD3-3.5")])
def test_twin_numbers_name_one_rivet(one, other):
    """AC 43.13-1B p. 4-16: MS20470 supersedes AN470, MS20426 AN426."""
    assert may_serve(parse_rivet(one), parse_rivet(other)).source.startswith(SOURCE)
