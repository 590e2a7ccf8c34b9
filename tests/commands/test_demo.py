"""`manage.py demo` as a builder runs it first: its own process, its own database file."""

import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from datetime import date, timedelta
from pathlib import Path

import pytest
import time_machine
from django.core.management import call_command
from django.urls import reverse
from django_scopes import scope, scopes_disabled

from buildplan.loading import demo
from buildplan.loading.locks import is_held
from buildplan.models import LoadedFile
from buildplan.shortfall import queries
from inventory.common.problems import Problem
from inventory.models import Crate, Holding, Item, Movement, Place, User, Workshop
from inventory.stock.queries import ledger_errors
from tests import factories

ROOT = Path(__file__).resolve().parents[2]


def manage(database, *arguments, **more):
    environment = {**os.environ, "DATABASE_URL": f"sqlite:///{database}"}
    return subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
        **more,
    )


def rows():
    with scopes_disabled():
        return {model.__name__: model.objects.count() for model in (Workshop, User, Item, Movement, Holding, LoadedFile)}


@pytest.mark.django_db
def test_demo_loads_once_shows_its_token_once_and_says_how_old_it_is(capsys, client):
    """One load, asked for three times: a demo takes long to make."""
    with time_machine.travel("2027-02-20T12:00:00Z", tick=False):
        call_command("demo", "--no-serve")
        first, before = capsys.readouterr().out, rows()
        call_command("demo", "--no-serve")
        again = capsys.readouterr().out
    with time_machine.travel("2027-02-23T12:00:00Z", tick=False):
        call_command("demo", "--no-serve")
        later = capsys.readouterr().out

    assert rows() == before
    assert "loaded today" in first
    assert orders(first) == orders(again)
    assert not ledger_errors()
    assert "This demo is 3 days old (loaded 2027-02-20)" in later
    token = re.search(r"^Device    (rl_\S+)$", first, re.MULTILINE)[1]
    assert f'curl -H "Authorization: Bearer {token}" http://127.0.0.1:' in first
    answer = client.get(reverse("api-me"), headers={"Authorization": f"Bearer {token}"})
    assert answer.json()["member"]["role"] == "owner"
    assert "/devices/ issues another" in again
    assert "rl_" not in again


def orders(printed):
    """What it prints between its first line and the ways in, which are new each time."""
    lines = printed.splitlines()
    return lines[1 : lines.index(next(line for line in lines if line.startswith("or once")))]


@pytest.mark.django_db
def test_demo_refuses_a_database_with_work_of_one_s_own():
    factories.WorkshopFactory(code="GARAGE")
    with pytest.raises(Problem, match="GARAGE"):
        demo.ensure_demo(ROOT / "fixtures", password="x", today=date(2027, 2, 20))


@pytest.mark.django_db
def test_demo_writes_nothing_where_a_file_is_bad(tmp_path):
    before = rows()
    for path in (ROOT / "fixtures").rglob("*.csv"):
        copy = tmp_path / path.relative_to(ROOT / "fixtures")
        copy.parent.mkdir(exist_ok=True)
        copy.write_text(path.read_text())
    (tmp_path / "packing.csv").write_text("BAG,LINE,ITEM,QUANTITY\n7A,1,NO-SUCH-ITEM,1\n")
    with pytest.raises(Problem, match=r"packing\.csv:2"):
        demo.ensure_demo(tmp_path, password="x", today=date(2027, 2, 20))
    assert rows() == before


# Worked by hand from fixtures/: needed, usable, in transit, short, days to the order day. fixtures/README.md shows the first three in full.
BY_HAND = {
    "SEAL-B2": ("506.832", "380", "0", "126.832", 8),  # fourteen seams in five steps
    "CLECO-3": ("528", "450", "0", "78", 13),  # 264 in the rows of each float
    "FLT.140": ("6.096", "2.5", "3", "0.596", -4),  # call-outs alone
    "SEAL-C24": ("87.67", "0", "0", "87.67", 9),  # two films a float, 22.103 + 21.732 g
    "SEAL-A2": ("119.152", "40", "0", "79.152", 12),  # 620 domes a float, 59.576 g
    "MS20426AD3-3.5": ("1330", "960", "0", "370", 15),  # 620 holes a float, 44 + 46 in the end ribs
    "MS20470AD4-6": ("468", "300", "100", "68", 7),  # 210 holes a float, 48 called out
}


@pytest.mark.django_db
@pytest.mark.parametrize("today", [date(2027, 2, 20), date(2028, 2, 29), date(2026, 12, 31)])
def test_demo_orders_what_was_worked_by_hand(today):
    found = demo.ensure_demo(ROOT / "fixtures", password="x", today=today)
    with scope(workshop=found.workshop):
        lines = queries.shortfall(queries.projects(["TERN-1"]), before=found.sealing_day, as_of=today).short
    got = {line.item.code: line for line in lines}
    for code, (needed, usable, in_transit, short, days) in BY_HAND.items():
        line = got[code]
        assert list(map(str, map(float, (line.needed, line.usable, line.in_transit, line.short)))) == [
            str(float(figure)) for figure in (needed, usable, in_transit, short)
        ]
        assert line.order_by == today + timedelta(days=days)
    assert len(lines) == 15


@pytest.mark.django_db
def test_demo_s_crate_is_ready_to_be_counted():
    today = date(2027, 2, 20)
    found = demo.ensure_demo(ROOT / "fixtures", password="x", today=today)
    with scope(workshop=found.workshop):
        crate = Crate.objects.select_related("sender").get()
        rules = {(rule.fault, rule.days, rule.against) for rule in crate.sender.rules.all()}
        bags = list(crate.bags.values_list("path", flat=True))
        unlabelled = [
            row
            for rows in (crate.bags, Place.objects.filter(end="storage").exclude(key__startswith="lent"))
            for row in rows.filter(label=None)
        ]
        assert (crate.code, crate.lines.count(), len(bags)) == ("CRATE-7", 42, 20)
        assert (crate.ordered_on, crate.shipped_on, crate.arrived_on) == (date(2027, 1, 13), date(2027, 2, 19), None)
        assert rules == {("damage", 2, "carrier"), ("concealed", 5, "carrier"), ("shortage", 10, "sender"), ("wrong", 14, "sender")}
        assert max(path.count("/") for path in bags) == 2
        assert not unlabelled


def test_demo_prints_and_serves_and_fresh_puts_the_old_file_aside(own_file, tmp_path):
    database = own_file.rename(tmp_path / "demo.sqlite3")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    environment = {**os.environ, "DATABASE_URL": f"sqlite:///{database}", "RIVETLOFT_UPLOADS": str(tmp_path / "uploads")}
    log = tmp_path / "log"
    with log.open("w") as out:
        server = subprocess.Popen(
            [sys.executable, "manage.py", "demo", "--port", str(port)], cwd=ROOT, env=environment, stdout=out, stderr=out
        )
    try:
        page = _page(f"http://127.0.0.1:{port}/")
        assert "<title>" in page
        printed = log.read_text()
        assert f"http://127.0.0.1:{port}/" in printed
        link = re.search(r"http://\S+/sign-in/link/\S+", printed)
        assert link
        assert "Sign in as" in _page(link[0])
        _until(lambda: _workers(tmp_path) == [True])  # it begins beside the server
    finally:
        server.send_signal(signal.SIGINT)
        server.wait(timeout=20)
    _until(lambda: _workers(tmp_path) == [])  # and ends with it, though nobody told it to

    found = manage(database, "demo", "--no-serve", "--fresh")
    assert found.returncode == 0, found.stderr
    (aside,) = (path for path in tmp_path.iterdir() if path.name.startswith("demo.sqlite3.20") and not path.name.endswith(("-wal", "-shm")))
    assert f"The old demo is now {aside.name}" in found.stdout
    assert manage(aside, "shortfall", "--project", "TERN-1", "--json").returncode == 0


def _workers(folder):
    """The locks of workers, and whether each is held."""
    return [is_held(path) for path in (folder / "uploads" / "workers").glob("*.lock")]


def _until(true):
    for _ in range(300):
        if true():
            return
        time.sleep(0.1)  # another process is at it
    pytest.fail("it never came to that")


def _page(address):
    for _ in range(900):
        try:
            with urllib.request.urlopen(address, timeout=5) as answer:  # noqa: S310 - our own server on this machine
                return answer.read().decode()
        except OSError:
            time.sleep(0.1)  # the server is starting
    pytest.fail(f"{address} did not answer")


def test_demo_on_a_taken_port_says_so(own_file):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        found = manage(own_file, "demo", "--port", str(taken.getsockname()[1]))
    assert found.returncode == 1
    assert "choose another with --port" in found.stderr
