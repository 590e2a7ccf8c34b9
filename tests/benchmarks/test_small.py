"""The benchmarks run, at a small size: nothing is timed here."""

import pytest

from tests.benchmarks import archive, club, cutting, loading, scans, shortfall, trace

pytestmark = pytest.mark.django_db


def test_archive_benchmark_runs():
    found = archive.measure({"items": 6, "steps": 10, "call_outs": 20, "lots": 12}, turns=3, rounds=1)
    assert found["save"] > 0
    assert found["load"] > 0
    assert found["rows"] > 70


def test_shortfall_benchmark_runs():
    found = shortfall.measure({"items": 6, "steps": 10, "call_outs": 20, "lots": 12}, rounds=1)
    assert found["net"] > 0
    assert found["raw read"] > 0


def test_club_benchmark_runs():
    found = club.measure({"projects": 2, "steps": 12}, rounds=1)
    assert found["goes"]
    assert found["raw read"] > 0


def test_trace_benchmark_runs():
    found = trace.measure({"movements": 200, "items": 4, "lots": 16, "steps": 20}, rounds=1)
    assert found["forward lines"] > 0
    assert found["back lines"] > 0
    assert found["raw read"] > 0


def test_cutting_benchmark_solves_to_its_bound():
    [(_, simple, count, bound, proven, _, _)] = cutting.measure(instances=1, pieces=30)
    assert proven
    assert bound == count <= simple


def test_loading_benchmark_runs():
    found = loading.measure(steps=10, call_outs=20, items=6, rounds=1)
    assert found["load"] > 0
    assert found["bare insert"] > 0


def test_benchmark_of_scanning_and_planning_anew_runs():
    took, seen, whole = scans.replan({"items": 6, "steps": 10, "call_outs": 20, "lots": 12}, rounds=1)
    assert took > 0
    assert seen > 0
    assert whole > 0


def test_requests_of_the_scan_benchmark_are_all_done(client):
    token, lots = scans.fill()
    for make in scans.requests(scans.random.Random(7), lots).values():
        address, body, many = make()
        if address.endswith("/scans"):
            answer = client.post(address, body, content_type="application/json", headers={"authorization": f"Bearer {token}"})
            outcomes = {one["outcome"] for one in answer.json()["results"]}
            assert "done" in outcomes or many == 1  # a carry to where it lies already is refused
            assert not outcomes & {"unknown", "conflict"}
