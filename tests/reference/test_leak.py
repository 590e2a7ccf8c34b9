"""Leak test: what temperature does to a closed rigid tank, and the inches of water in a psi (REFERENCE.md section 8, all [calc])."""

from datetime import UTC, datetime
from fractions import Fraction

import pytest

from buildplan.closeup.calc import Reading, expected_gauge, kelvin
from buildplan.closeup.units import unit


def test_inches_of_water_in_a_psi():
    # By calculation, as all of this section.
    assert float(unit("psi").pascals / unit("inH2O").pascals) == pytest.approx(27.68, abs=0.005)


def test_one_degree_on_a_tank_at_one_psi():
    # [calc]: 1 psi gauge, barometer 14.696 psi, 25 C; +1 C is +0.0526 psi = +1.457 inH2O
    psi, water = unit("psi").pascals, unit("inH2O").pascals
    barometer = Fraction("14.696") * psi
    first = Reading(datetime(2027, 2, 20, tzinfo=UTC), psi, barometer, kelvin(25, "C"))

    more = expected_gauge(first, barometer=barometer, kelvin=kelvin(26, "C")) - psi
    assert float(more / psi) == pytest.approx(0.0526, abs=0.00005)
    assert float(more / water) == pytest.approx(1.457, abs=0.0005)
