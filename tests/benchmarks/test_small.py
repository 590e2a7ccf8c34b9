"""The benchmarks run, at a small size: nothing is timed here."""

import pytest

from tests.benchmarks import loading, shortfall

pytestmark = pytest.mark.django_db


def test_shortfall_benchmark_runs():
    found = shortfall.measure({"items": 6, "steps": 10, "call_outs": 20, "lots": 12}, rounds=1)
    assert found["net"] > 0
    assert found["raw read"] > 0


def test_loading_benchmark_runs():
    found = loading.measure(steps=10, call_outs=20, items=6, rounds=1)
    assert found["load"] > 0
    assert found["bare insert"] > 0
