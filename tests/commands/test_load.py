"""`manage.py load`, called as pinned."""

import os
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest
import time_machine
from django.conf import settings

from buildplan.management.commands import load as command
from inventory.models import Bench, Crate, Holding, Item
from tests import loads
from tests.loads import run, table


@pytest.fixture
def items(tmp_path):
    return table(tmp_path / "c.csv", loads.CATALOGUE, loads.RIVETS, loads.SEALANT)


@pytest.fixture
def stock(tmp_path):
    return table(tmp_path / "s.csv", loads.STOCK, "SEAL-B2,10,Fridge")


@pytest.fixture
def stocked(workshop, bench, items):
    run("load", "catalogue", items, "--workshop", "MARSH")


def test_load_tells_a_person_what_it_did(db, items):
    found = run("load", "catalogue", items, "--workshop", "SALTMARSH")
    assert (found.code, found.err) == (0, "")
    assert found.out.splitlines() == ["made workshop SALTMARSH", "made bench MAIN", "items 2, new 2, changed 0, identifiers 2"]


def test_load_tells_a_program_what_it_did(db, items):
    found = run("load", "catalogue", items, "--workshop", "SALTMARSH", "--json")
    loaded = {"items": 2, "new": 2, "changed": 0, "identifiers": 2, "made": ["workshop SALTMARSH", "bench MAIN"]}
    assert (found.code, found.err) == (0, "")
    assert found.json == {"loaded": loaded, "warnings": [], "errors": []}


def test_load_tells_a_person_of_warnings_and_errors_apart(stocked, tmp_path):
    path = table(tmp_path / "s.csv", "ITEM,QUANTITY,PLACE\nSEAL-B3,5,Küche\n".encode("cp1252"))
    found = run("load", "stock", path, "--workshop", "MARSH")
    assert (found.code, found.out) == (1, "")
    warning, error, last = found.err.splitlines()
    assert warning.startswith("warning: s.csv: is not UTF-8")
    assert error.startswith("s.csv:2: item: 'SEAL-B3' is no code of the catalogue")
    assert last == "nothing was loaded"


def test_load_tells_a_program_of_errors_on_stdout(stocked, tmp_path):
    path = table(tmp_path / "s.csv", loads.STOCK, "SEAL-B3,5,Rack")
    found = run("load", "stock", path, "--workshop", "MARSH", "--json")
    told = "s.csv:2: item: 'SEAL-B3' is no code of the catalogue: did you mean SEAL-B2? Else add it there"
    assert (found.code, found.err) == (1, "")
    assert found.json == {"loaded": {}, "warnings": [], "errors": [told]}


def test_load_as_a_dry_run_says_so(workshop, bench, items):
    text = run("load", "catalogue", items, "--workshop", "MARSH", "--dry-run")
    assert text.out.splitlines() == ["items 2, new 2, changed 0, identifiers 2", "a dry run: nothing was written"]
    assert run("load", "catalogue", items, "--workshop", "MARSH", "--dry-run", "--json").json["dry_run"] is True
    assert not Item.objects.exists()


def test_load_of_a_shared_bench(stocked, stock):
    found = run("load", "stock", stock, "--workshop", "MARSH", "--bench", "POOL", "--shared")
    assert found.out.splitlines()[0] == "made shared bench POOL"
    assert Bench.objects.get(code="POOL").shared


@time_machine.travel(date(2027, 3, 1))
@pytest.mark.parametrize("due", ["2027-03-10", "today+9"])
def test_load_of_packing_takes_a_due_day(stocked, tmp_path, due):
    path = table(tmp_path / "p.csv", loads.PACKING, "7A,1,SEAL-B2,5")
    found = run("load", "packing", path, "--workshop", "MARSH", "--crate", "C-7", "--due", due)
    assert (found.code, Crate.objects.get().due_on) == (0, date(2027, 3, 10))


def test_load_of_a_recount(stocked, stock, tmp_path):
    run("load", "stock", stock, "--workshop", "MARSH")
    path = table(tmp_path / "n.csv", loads.STOCK, "SEAL-B2,8,Fridge")
    found = run("load", "stock", path, "--workshop", "MARSH", "--recount")
    assert (found.out, Holding.objects.get().quantity) == ("lots 0, movements 1\n", 8)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("stock", "missing.csv"), "missing.csv: no such file or folder"),
        (("stock", "/dev/null"), "/dev/null: no such file or folder"),
        (("plan", "s.csv"), "name the project of the plan: --project P"),
        (("packing", "s.csv"), "name the crate of the packing list: --crate C"),
        (("stock", "s.csv", "--shared"), "name the bench that is shared"),
        (("catalogue", "s.csv", "--recount"), "--recount is for stock alone"),
        (("stock", "s.csv", "--remove-missing"), "--remove-missing is for plan alone"),
        (("stock", "s.csv", "--crate", "C"), "--crate is for packing alone"),
        (("stock", "s.csv", "--due", "2027-03-01"), "--due is for packing alone"),
    ],
)
def test_load_called_wrongly_is_2_and_writes_nothing(stocked, stock, monkeypatch, arguments, told):
    monkeypatch.chdir(stock.parent)
    before = loads.row_counts()
    found = run("load", *arguments, "--workshop", "MARSH")
    assert (found.code, found.out) == (2, "")
    assert found.err.startswith(told)
    assert loads.row_counts() == before


@pytest.fixture
def manage(own_file):
    """Runs a command as a person does, on a database of its own."""

    def call(*arguments):
        environment = {**os.environ, "DATABASE_URL": f"sqlite:///{own_file}"}
        words = [sys.executable, "manage.py", *map(str, arguments)]
        return subprocess.run(words, cwd=settings.BASE_DIR, env=environment, capture_output=True, text=True, check=False)

    return call


@pytest.mark.parametrize(
    "wrong",
    [
        ("load", "stocks", "s.csv"),
        ("load", "packing", "s.csv", "--crate", "C", "--due", "2027-02-30"),
        ("load", "stock", "missing.csv"),
        ("export", "packing", "p.csv"),
    ],
)
def test_wrong_usage_ends_with_2_before_any_database(manage, wrong):
    ended = manage(*wrong)
    assert (ended.returncode, ended.stdout) == (2, "")
    assert "Traceback" not in ended.stderr


def test_a_file_goes_in_and_out_by_the_command_line_alone(manage, items, stock, tmp_path):
    assert manage("load", "catalogue", items, "--workshop", "W").returncode == 0
    assert manage("load", "stock", stock).stdout == "lots 1, movements 1\n"
    assert manage("load", "stock", stock).returncode == 1
    assert manage("export", "stock", tmp_path / "out.csv").stdout == f"{tmp_path / 'out.csv'}: stock 1\n"
    assert manage("load", "stock", tmp_path / "out.csv", "--recount").stdout == "lots 0, movements 0\n"


def test_the_invented_scenario_loads(db):
    fixtures = Path(settings.BASE_DIR) / "fixtures"
    tern = "--workshop", "SALTMARSH", "--bench", "TERN"
    for words in (
        ("catalogue", fixtures / "catalogue.csv", "--workshop", "SALTMARSH"),
        ("stock", fixtures / "stock-tern.csv", *tern),
        ("stock", fixtures / "stock-plover.csv", "--bench", "PLOVER"),
        ("stock", fixtures / "stock-pool.csv", "--bench", "POOL", "--shared"),
        ("plan", fixtures / "plan-tern", "--project", "TERN-1", *tern),
        ("plan", fixtures / "plan-plover", "--project", "PLOVER-1", "--bench", "PLOVER"),
        ("packing", fixtures / "packing.csv", "--crate", "CRATE-7", "--due", "today+9", *tern),
    ):
        found = run("load", *words, "--json")
        assert (found.code, found.errors, found.warnings) == (0, [], [])


def test_progress_is_shown_where_it_is_asked_for(capsys):
    with command._progress_bar(shown=False) as silent:
        assert silent is None
    with command._progress_bar(shown=True) as tell:
        tell(1000)
    assert capsys.readouterr().out == ""
