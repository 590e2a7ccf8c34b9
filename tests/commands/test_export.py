"""`manage.py export`, called as pinned."""

import pytest

from tests import factories, loads
from tests.loads import run


@pytest.fixture
def held(lot):
    return factories.stock(lot, 5, factories.PlaceFactory(workshop=lot.workshop, path="Rack"))


def test_export_tells_what_it_wrote(held, tmp_path):
    path = tmp_path / "s.csv"
    found = run("export", "stock", path, "--workshop", "MARSH")
    assert (found.code, found.out) == (0, f"{path}: stock 1\n")
    item, lot = held.lot.item.code, held.lot.code
    assert path.read_text().splitlines() == ["ITEM,QUANTITY,unit,PLACE,lot,made,expires,opened,state", f"{item},5,ea,Rack,{lot},,,,good"]


def test_export_of_a_plan_takes_the_only_project(project, tmp_path):
    factories.StepFactory(project=project, code="A")
    assert run("export", "plan", tmp_path / "plan", "--workshop", "marsh").out == f"{tmp_path / 'plan'}: steps 1\n"


def test_export_of_a_named_bench_and_project(held, project, other_bench, tmp_path):
    factories.CallOutFactory(step=factories.StepFactory(project=project), item=held.lot.item)
    factories.ProjectFactory(bench=other_bench)
    asked = "--workshop", "MARSH", "--bench", "tern", "--project", "tern-1"
    assert run("export", "stock", tmp_path / "s.xlsx", *asked).out.endswith(": stock 1\n")
    assert run("export", "plan", tmp_path / "p.xlsx", *asked).out.endswith(": steps 1, needs 1\n")


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("catalogue", "c.csv"), "name the workshop with --workshop: the workshops are MARSH, OUTSIDE"),
        (("catalogue", "c.csv", "--workshop", "MARCH"), "no workshop MARCH: the workshops are MARSH, OUTSIDE"),
        (("stock", "s.csv", "--workshop", "MARSH"), "name the bench with --bench: the benches are PLOVER, TERN"),
        (("stock", "s.csv", "--workshop", "MARSH", "--bench", "TURN"), "no bench TURN: did you mean TERN? the benches are PLOVER, TERN"),
        (("stock", "s.csv", "--workshop", "MARSH", "--bench", "OUTSIDE-BENCH"), "no bench OUTSIDE-BENCH: the benches are PLOVER, TERN"),
        (("stock", "s.csv", "--workshop", "MARSH", "--bench", "PLOVER"), "there is nothing to export: no row of stock"),
        (("plan", "p", "--workshop", "MARSH"), "name the project with --project: the projects are A-1, A-2"),
        (("plan", "p", "--workshop", "MARSH", "--project", "OUTSIDE-PROJECT"), "no project OUTSIDE-PROJECT: "),
    ],
)
def test_export_of_what_is_not_there_is_1(held, other_bench, tmp_path, monkeypatch, arguments, told):
    for code in ("A-1", "A-2"):
        factories.ProjectFactory(bench=held.lot.bench, code=code)
    monkeypatch.chdir(tmp_path)
    found = run("export", *arguments)
    assert (found.code, found.out) == (1, "")
    assert found.err.startswith(told)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("path", ["s.txt", "missing/s.csv", "."])
def test_export_to_a_path_that_does_not_do_is_2(held, tmp_path, path):
    assert run("export", "stock", tmp_path / path, "--workshop", "MARSH").code == 2


def test_export_reads_and_writes_no_row(held, tmp_path):
    before = loads.row_counts()
    run("export", "stock", tmp_path / "s.csv", "--workshop", "MARSH")
    assert loads.row_counts() == before
