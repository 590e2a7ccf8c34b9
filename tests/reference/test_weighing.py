"""Counting by weight: how far the scale puts it off."""

from decimal import Decimal

import pytest

from inventory.catalogue.rivet_mass import nominal_mass, question_mass
from inventory.catalogue.rivets import parse_rivet
from inventory.receiving.calc import heap_error, sample_error, weigh_count

UNIT = Decimal("0.081")  # a MS20426AD3-3.5 in grams [calc, head sizes from memory]


@pytest.mark.parametrize(
    ("sample_n", "percent"),
    [(10, "1.8"), (100, "0.18")],  # [calc]: AD4-6 at 0.28 g on a scale of 0.1 g
)
def test_resolution_of_the_unit_mass(sample_n, percent):
    error = sample_error(100, sample_n * Decimal("0.28"), Decimal("0.1"))  # pieces of 100: percent

    assert float(error) == pytest.approx(float(percent), rel=0.01)


@pytest.mark.parametrize(
    ("division", "sample_n", "from_sample", "from_heap"),
    [  # [calc]: 500 pieces of 0.081 g; printed to whole pieces and tenths
        ("0.1", 25, 12, 0.6),
        ("0.1", 100, 3, 0.6),
        ("1", 25, 123, 6.2),
    ],
)
def test_error_of_five_hundred_pieces(division, sample_n, from_sample, from_heap):
    mass, division = sample_n * UNIT, Decimal(division)
    count, plus_minus, trace = weigh_count(500 * UNIT, 0, sample_n, mass, division)

    assert count == 500
    assert round(sample_error(500, mass, division)) == from_sample
    assert float(heap_error(sample_n, mass, division, tared=False)) == pytest.approx(from_heap, abs=0.05)
    assert plus_minus == pytest.approx(Decimal(from_sample) + Decimal(str(from_heap)), abs=Decimal("0.6"))
    assert [reason.source for reason in trace] == ["the readings, as entered", "computed"]


@pytest.mark.parametrize(
    ("code", "least", "most"),
    [  # [calc, head sizes from memory], grams
        ("MS20426AD3-3.5", "0.0805", "0.0815"),
        ("MS20470AD4-4", "0.20", "0.22"),
        ("MS20470AD4-6", "0.27", "0.29"),
    ],
)
def test_nominal_mass_by_geometry(code, least, most):
    assert Decimal(least) <= nominal_mass(parse_rivet(code)) <= Decimal(most)


def test_half_a_length_step_is_some_twelve_percent_of_a_small_rivet():
    """[calc]: so that a heap of two lengths shows."""
    half, whole = (nominal_mass(parse_rivet(f"MS20426AD3-{length}")) for length in ("3", "3.5"))

    assert float((whole - half) / whole) == pytest.approx(0.12, abs=0.01)


def test_band_of_ten_percent_about_the_nominal_mass():
    """[calc]: a band of about 10 % to look twice by."""
    rivet = parse_rivet("MS20426AD3-3.5")

    assert [question_mass(rivet, UNIT * Decimal(share)) is None for share in ("0.88", "0.91", "1.09", "1.12")] == [False, True, True, False]
