"""The server is killed with -9 in the middle of uploads. After it is started again and all is sent anew, each scan acted exactly once.

A real server on a database of its own, beside the one of the tests: a file, or a PostgreSQL database made and dropped here.
"""

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from http import HTTPStatus
from pathlib import Path
from threading import Semaphore
from time import monotonic
from uuid import uuid4

import dj_database_url
import psycopg
import pytest

ROOT = Path(__file__).resolve().parents[2]
SENDERS, BATCHES, SIZE = 4, 10, 10  # 400 scans in all
KILLS = (4, 8)  # once so many batches more have been answered
PATIENCE = 5  # times more that one tries, once no server is killed any more
LOT = 10_000
SCENE = """
import django

django.setup()
from django.core.management import call_command

call_command("migrate", verbosity=0)
from django_scopes import scope

from inventory.models import Identifier, Item, Member, User
from inventory.stock import services as stock
from inventory.workshop import services
from datetime import date

workshop, _ = services.ensure_workshop(code="MARSH")
with scope(workshop=workshop):
    owner = Member.objects.create(workshop=workshop, user=User.objects.create_user("a@b.example"), name="Owner", role="owner")
    bench, _ = services.ensure_bench(workshop=workshop, code="TERN", by=owner)
    item = Item.objects.create(workshop=workshop, code="AN470AD4-6", name="Rivet", kind="rivet", unit="ea")
    Identifier.objects.create(workshop=workshop, item=item, text=item.code, key=item.code)
    lot, _ = stock.find_or_make_lot(bench=bench, item=item, by=owner, code="R7")
    place = stock.ensure_place(workshop=workshop, path="Drawer", by=owner)
    stock.receive(lot=lot, quantity=LOT, place=place, on=date(2027, 1, 1), by=owner)
    print(services.issue_device(member=owner, name="Scanner", scopes=["scan"], by=owner)[1])
"""
LEFT = """
import json
import django

django.setup()
from django_scopes import scopes_disabled

from inventory.models import Holding, Movement, Scan
from inventory.stock.queries import ledger_errors

with scopes_disabled():
    used = Movement.objects.filter(target__end="used")
    print(json.dumps({
        "left": int(Holding.objects.get().quantity),
        "used": used.count(),
        "refs": len(set(used.values_list("ref", flat=True))),
        "scans": Scan.objects.count(),
        "errors": len(ledger_errors()),
    }))
"""


@pytest.fixture
def server_database(request):
    """What a process of the site is started with: a database of its own."""
    given = os.environ.get("DATABASE_URL", "")
    if not given.startswith("postgres"):
        yield _environment(f"sqlite:///{request.getfixturevalue('own_file')}")
        return
    settings, name = dj_database_url.parse(given), f"killed_{uuid4().hex[:12]}"
    how = {"host": settings["HOST"], "port": settings["PORT"], "user": settings["USER"], "password": settings["PASSWORD"]}
    server = {key: value for key, value in how.items() if value}
    with psycopg.connect(dbname=settings["NAME"], autocommit=True, **server) as connection:
        connection.execute(f"CREATE DATABASE {name}")
        head, _, _ = given.partition("?")
        query = given[len(head) :]
        yield _environment(f"{head.rpartition('/')[0]}/{name}{query}")
        connection.execute(f"DROP DATABASE {name} WITH (FORCE)")


def _environment(address):
    return {**os.environ, "DATABASE_URL": address, "DJANGO_SETTINGS_MODULE": "buildplan.site.settings", "RIVETLOFT_RATE": "1000000"}


def python(environment, code):
    """What a program says that is run on the database."""
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=environment, capture_output=True, text=True, check=False, timeout=60)
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


class Server:
    """Gunicorn in a process group of its own, so that all of it can be killed at once."""

    def __init__(self, environment, log):
        self.environment, self.log = environment, log
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.process = None

    def start(self):
        command = [sys.executable, "-m", "gunicorn", "buildplan.site.wsgi", "--workers", "2", "--bind", f"127.0.0.1:{self.port}"]
        with self.log.open("a") as told:
            kept = {"stdout": told, "stderr": told}
            self.process = subprocess.Popen([*command, "--reuse-port"], cwd=ROOT, env=self.environment, start_new_session=True, **kept)
        until = monotonic() + 60
        while monotonic() < until:
            if self._answers():
                return
            with suppress(subprocess.TimeoutExpired):
                pytest.fail(f"the server ended by itself with {self.process.wait(0.1)}: {self.log.read_text()}")
        raise TimeoutError(self.log.read_text())

    def _answers(self):
        """Whether it speaks. A connection alone proves nothing: to a port that nobody has, the system may connect a socket to itself."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        try:
            connection.request("GET", "/sign-in/")
            return connection.getresponse().status == HTTPStatus.OK
        except (OSError, http.client.HTTPException):
            return False
        finally:
            connection.close()

    def kill(self):
        if self.process is not None:
            with suppress(ProcessLookupError):
                os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait(timeout=10)
            self.process = None


@contextmanager
def serving(environment, log):
    server = Server(environment, log)
    server.start()
    try:
        yield server
    finally:
        server.kill()


def batch():
    now = datetime.now(UTC).isoformat()
    return [{"uuid": str(uuid4()), "code": "AN470AD4-6", "action": "take", "at": now, "device_time": now} for _ in range(SIZE)]


class Outbox:
    """Sends batches until each is answered, as a phone does, whatever becomes of the server meanwhile."""

    def __init__(self, port, token):
        self.port, self.token = port, token
        self.answered, self.failed, self.faults = Semaphore(0), 0, []

    def send_all(self, waiting):
        """What is left without an answer, once one didn't come."""
        left = list(waiting)
        while left and self._send(left[0]):
            left.pop(0)
        return left

    def send_until_answered(self, waiting):
        """The same, tried again while a slow machine gives no answer in time: a phone doesn't give up either."""
        left = self.send_all(waiting)
        for _ in range(PATIENCE):
            if not left:
                break
            left = self.send_all(left)
        return left

    def _send(self, scans):
        body, headers = json.dumps({"scans": scans}), {"Content-Type": "application/json", "Authorization": f"Bearer {self.token}"}
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        try:
            connection.request("POST", "/api/v1/scans", body, headers)
            answer = connection.getresponse()
            results = json.loads(answer.read())["results"]
        except (OSError, http.client.HTTPException) as fault:
            self.failed += 1
            self.faults.append(repr(fault))
            return False
        finally:
            connection.close()
        assert answer.status == 207
        assert [one["outcome"] for one in results] == ["done"] * len(scans)
        self.answered.release()
        return True


def test_server_killed_in_the_middle_of_uploads_acts_once_on_each_scan(server_database, tmp_path):
    token = python(server_database, SCENE.replace("LOT", str(LOT)))
    waiting = [[batch() for _ in range(BATCHES)] for _ in range(SENDERS)]
    everything = [scans for hand in waiting for scans in hand]
    log = tmp_path / "server.log"
    with serving(server_database, log) as server:
        outboxes = [Outbox(server.port, token) for _ in range(SENDERS)]
        for box in outboxes:
            box.answered = outboxes[0].answered  # counted together
        for enough in KILLS:
            waiting = _send_until_killed(server, outboxes, waiting, enough)
            server.start()
        with ThreadPoolExecutor(SENDERS) as pool:
            left = list(pool.map(lambda box, hand: box.send_until_answered(hand), outboxes, waiting))
        assert list(map(len, left)) == [0] * SENDERS, ([box.faults for box in outboxes], log.read_text())
        assert Outbox(server.port, token).send_until_answered(everything) == []  # and all of it once more

    found = json.loads(python(server_database, LEFT))

    many = SENDERS * BATCHES * SIZE
    assert sum(box.failed for box in outboxes) >= len(KILLS), "no upload was under way when the server was killed"
    assert found == {"left": LOT - many, "used": many, "refs": many, "scans": many, "errors": 0}


def _send_until_killed(server, outboxes, waiting, enough):
    """All send at once; the server is killed as soon as enough was answered, while others are still at it."""
    with ThreadPoolExecutor(SENDERS) as pool:
        sent = [pool.submit(box.send_all, hand) for box, hand in zip(outboxes, waiting, strict=True)]
        for _ in range(enough):
            assert outboxes[0].answered.acquire(timeout=60), ([box.faults for box in outboxes], server.log.read_text())
        server.kill()
        return [one.result() for one in sent]
