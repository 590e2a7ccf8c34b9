import math
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildplan.sealing.calc import PI, Seam, concave_area, dome_volume, quarter_round_area, seam_grams, triangle_area

GRAVITY = Decimal("1.55")
SIZES = st.decimals("0.1", "100", places=2)
SEAMS = {
    "concave": Seam("concave", length=300, leg_a=6),
    "triangle": Seam("triangle", length=300, leg_a=6, leg_b=4),
    "quarter_round": Seam("quarter_round", length=300, leg_a=6),
    "film": Seam("film", length=300, leg_a=16, thickness=Decimal("0.25")),
    "dome": Seam("dome", leg_a=5, leg_b=3),
    "each": Seam("each", grams_each=Decimal("10.5")),
}
VOLUMES = {  # mm3, by plain floats
    "concave": 36 * (1 - math.pi / 4) * 300,
    "triangle": 12 * 300,
    "quarter_round": 9 * math.pi * 300,
    "film": 16 * 0.25 * 300,
    "dome": math.pi * 3 * (3 * 25 + 9) / 6,
}


def test_pi_has_more_digits_than_any_answer_needs():
    assert float(PI) == math.pi
    assert len(PI.as_tuple().digits) > 30


@pytest.mark.parametrize("shape", VOLUMES)
def test_grams_are_volume_times_gravity(shape):
    assert float(seam_grams(SEAMS[shape], GRAVITY).grams) == pytest.approx(VOLUMES[shape] / 1000 * 1.55, abs=5.1e-4)


def test_each_needs_no_gravity():
    assert seam_grams(replace(SEAMS["each"], count=3, loss_percent=10)).grams == Decimal("34.650")


@pytest.mark.parametrize("shape", VOLUMES)
def test_gravity_has_no_default(shape):
    with pytest.raises(ValueError, match="gravity: not known: read it off the data sheet"):
        seam_grams(SEAMS[shape])


@given(SIZES, SIZES)
def test_inches_are_25_4_mm_exactly(length, leg):
    inches = Seam("concave", length=length, leg_a=leg, unit="in")
    millimetres = Seam("concave", length=length * Decimal("25.4"), leg_a=leg * Decimal("25.4"))

    assert seam_grams(inches, GRAVITY).grams == seam_grams(millimetres, GRAVITY).grams


def test_size_unit_is_of_legs_and_thickness_alone():
    mixed = Seam("film", length=10, unit="in", leg_a=16, thickness=Decimal("0.25"), size_unit="mm")

    assert seam_grams(mixed, 1).grams == Decimal("1.016")


@given(st.integers(1, 50), st.decimals("0", "60", places=1))
def test_count_and_loss_multiply_before_the_one_rounding(count, loss):
    grams = seam_grams(replace(SEAMS["triangle"], count=count, loss_percent=loss), GRAVITY).grams
    exact = Fraction("5.58") * count * (1 + Fraction(loss) / 100)

    assert Fraction(-1, 2000) < Fraction(grams) - exact <= Fraction(1, 2000)


def test_rounding_is_half_up():
    assert seam_grams(Seam("each", grams_each=Decimal("0.0005"))).grams == Decimal("0.001")
    assert seam_grams(Seam("each", grams_each=Decimal("0.00049"))).grams == 0


@given(SIZES)
def test_concave_and_quarter_round_fill_the_square(radius):
    assert concave_area(radius) + quarter_round_area(radius) == Fraction(radius) ** 2
    assert concave_area(radius) < triangle_area(radius, radius) < quarter_round_area(radius)


@given(SIZES)
def test_a_dome_as_high_as_wide_is_half_a_ball(radius):
    assert dome_volume(radius, radius) == Fraction(PI) * Fraction(radius) ** 3 * 2 / 3


@pytest.mark.parametrize(
    ("shape", "missing"),
    [("concave", "length"), ("concave", "leg_a"), ("triangle", "leg_b"), ("film", "thickness"), ("dome", "leg_b"), ("each", "grams_each")],
)
def test_a_size_that_the_shape_needs_is_asked_for_by_name(shape, missing):
    with pytest.raises(ValueError, match=f"{missing}: .*needs it"):
        seam_grams(replace(SEAMS[shape], **{missing: None}), GRAVITY)


@pytest.mark.parametrize(
    ("shape", "spare"), [("concave", "leg_b"), ("dome", "length"), ("film", "leg_b"), ("each", "leg_a"), ("film", "grams_each")]
)
def test_a_size_that_the_shape_does_not_read_is_refused(shape, spare):
    with pytest.raises(ValueError, match=f"{spare}: {shape} has none"):
        seam_grams(replace(SEAMS[shape], **{spare: 1}), GRAVITY)


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"shape": "fillet"}, "shape"),
        ({"length": 0}, "length"),
        ({"leg_a": -6}, "leg_a"),
        ({"leg_a": 6.0}, "leg_a"),
        ({"unit": "mile"}, "unit"),
        ({"size_unit": "MM"}, "size_unit"),
        ({"unit": None}, "unit"),
        ({"count": 0}, "count"),
        ({"count": True}, "count"),
        ({"loss_percent": -1}, "loss_percent"),
        ({"loss_percent": 10.0}, "loss_percent"),
    ],
)
def test_what_makes_no_sense_is_refused_by_name(change, name):
    with pytest.raises(ValueError, match=f"^{name}: "):
        seam_grams(replace(SEAMS["concave"], **change), GRAVITY)


@pytest.mark.parametrize("gravity", [0, -1, 1.55, True])
def test_gravity_that_makes_no_sense_is_refused_by_name(gravity):
    with pytest.raises(ValueError, match=r"^gravity: "):
        seam_grams(SEAMS["concave"], gravity)


def test_trace_holds_geometry_gravity_count_loss_and_rounding():
    found = seam_grams(replace(SEAMS["concave"], count=2, loss_percent=10), GRAVITY)

    assert [reason.text for reason in found.reasons] == [
        "concave: r^2 (1 - pi/4) x length, length 300 mm, leg_a 6 mm -> 2317.6998 mm3",
        "x specific gravity 1.55 g/cm3",
        "x 2 alike",
        "+ 10 % loss",
        "7.903 g, rounded half up once to 0.001 g",
    ]
