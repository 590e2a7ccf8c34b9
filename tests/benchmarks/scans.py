"""Scans a second through gunicorn, against a bare insert by DRF behind the same token, on the same server in one run.

`python -m tests.benchmarks.scans`. On SQLite, or on what DATABASE_URL names (PostgreSQL: an empty database of its own). Goals: in
batches of 1 at least 60 % of the bare view's requests; in batches of 50 at least ten times its rows. Two workers, four clients that
take turns with each kind of request, so that a busy machine slows all of them alike.

The bare view (`BareView`) checks the same token in the same middleware, reads the same JSON with one serializer, inserts one row and
answers it: what a scan is besides is what the ratio shows.
"""

import http.client
import json
import os
import random
import signal
import socket
import statistics
import subprocess
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import UTC, datetime
from decimal import Decimal
from itertools import count
from pathlib import Path
from time import perf_counter
from uuid import uuid4

from tests.benchmarks import scene

CLIENTS, ITEMS, LOTS = 4, 200, 400
SECONDS = 2.0  # of each turn
ROUNDS = 5
BATCH = 50
ROOT = Path(__file__).resolve().parents[2]
MIX = ("tally", "tally", "tally", "take", "put", "find")  # a crate is counted, then put away; things are taken and asked for


def fill():
    """A workshop with a device, a crate of bags and lots on shelves; what scans need to know of it."""
    from django_scopes import scope

    from inventory.catalogue.calc import key
    from inventory.models import Bag, Bench, Crate, Holding, Identifier, Item, Lot, Member, PackingLine, Place, User, Workshop
    from inventory.workshop.services import issue_device

    workshop = Workshop.objects.create(code=f"W{uuid4().hex[:6]}", name="Benchmark")
    with scope(workshop=workshop):
        user = User.objects.create_user(f"{workshop.code}@club.example")
        owner = Member.objects.create(workshop=workshop, user=user, name="Owner", role="owner")
        bench = Bench.objects.create(workshop=workshop, code="BENCH", name="Bench")
        items = Item.objects.bulk_create(
            [Item(workshop=workshop, code=f"ITEM-{at:04}", name="a thing", kind="part", unit="ea") for at in range(ITEMS)]
        )
        Identifier.objects.bulk_create([Identifier(workshop=workshop, item=item, text=item.code, key=key(item.code)) for item in items])
        places = [Place.objects.create(workshop=workshop, name=f"Shelf {at}", path=f"Shelf {at}", key=f"shelf {at}") for at in range(20)]
        lots = Lot.objects.bulk_create([Lot(workshop=workshop, bench=bench, item=items[at % ITEMS], code=f"L{at}") for at in range(LOTS)])
        Holding.objects.bulk_create([Holding(workshop=workshop, lot=lot, place=places[lot.pk % 20], quantity=10**6) for lot in lots])
        crate = Crate.objects.create(workshop=workshop, bench=bench, code="CRATE-7")
        bags = [Bag.objects.create(workshop=workshop, crate=crate, name=f"B{at}", path=f"B{at}") for at in range(30)]
        lines = [
            PackingLine(workshop=workshop, crate=crate, bag=bags[at % 30], number=str(at), item=item, quantity=10**6, open_quantity=10**6)
            for at, item in enumerate(items)
        ]
        PackingLine.objects.bulk_create(lines)
        _, token = issue_device(member=owner, name="Scanner", scopes=["scan", "read"], by=owner)
    lot_ids: dict[int, list[int]] = {}
    for lot in lots:
        lot_ids.setdefault(items.index(lot.item), []).append(lot.pk)
    return token, lot_ids


def scan(rng, lot_ids, action):
    """One scan, as a phone sends it."""
    item = rng.randrange(ITEMS)
    now = datetime.now(UTC).isoformat()
    body = {"uuid": str(uuid4()), "code": f"ITEM-{item:04}", "action": action, "at": now, "device_time": now}
    if action == "tally":
        body["bag"] = f"CRATE-7/B{item % 30}"
    if action in {"take", "put"}:
        body["lot"] = rng.choice(lot_ids[item])
    if action == "put":
        body |= {"place": f"Shelf {rng.randrange(20)}"}
    return body


def requests(rng, lot_ids) -> dict[str, Callable[[], tuple[str, bytes, int]]]:
    """What is sent by turns: an address, a body, and how many rows that is."""

    def scans(many, *actions):
        body = (
            [scan(rng, lot_ids, actions[at % len(actions)]) for at in range(many)]
            if many > 1
            else [scan(rng, lot_ids, rng.choice(actions))]
        )
        return "/api/v1/scans", json.dumps({"scans": body}).encode(), many

    named = {
        "bare insert": lambda: ("/api/v1/bare", json.dumps(scan(rng, lot_ids, "find")).encode(), 1),
        "1, mixed": lambda: scans(1, *MIX),
        f"{BATCH}, mixed": lambda: scans(BATCH, *MIX),
    }
    for action in ("find", "tally", "take", "put"):
        named[f"1, {action}"] = lambda action=action: scans(1, action)
        named[f"{BATCH}, {action}"] = lambda action=action: scans(BATCH, action)
    return named


@contextmanager
def server(workers: int = 2) -> Iterator[int]:
    """Gunicorn as in production, with the bare view beside the site; its port."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "gunicorn", "buildplan.site.wsgi", "--workers", str(workers), "--bind", f"127.0.0.1:{port}"]
    environment = {**os.environ, "DJANGO_SETTINGS_MODULE": "tests.benchmarks.scans_site", "RIVETLOFT_RATE": str(10**9)}
    process = subprocess.Popen([*command, "--log-level", "warning"], cwd=ROOT, env=environment)
    try:
        wait_for(port)
        yield port
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(timeout=20)


def wait_for(port: int) -> None:
    """Until it answers."""
    until = perf_counter() + 30
    while perf_counter() < until:
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
        except OSError:
            continue
        return
    raise TimeoutError(port)


def turn(port: int, token: str, make: Callable[[], tuple[str, bytes, int]], seconds: float) -> tuple[float, list[float]]:
    """Rows a second of all clients, and how long each request took."""
    until = perf_counter() + seconds

    def client(_: int) -> tuple[int, list[float]]:
        rows, times = 0, []
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        while perf_counter() < until:
            address, body, many = make()
            begun = perf_counter()
            connection.request("POST", address, body, {"Content-Type": "application/json", "Authorization": f"Bearer {token}"})
            answer = connection.getresponse()
            said = answer.read()
            times.append(perf_counter() - begun)
            assert answer.status in {201, 207}, said[:300]
            rows += many
        connection.close()
        return rows, times

    begun = perf_counter()
    with ThreadPoolExecutor(CLIENTS) as pool:
        found = list(pool.map(client, range(CLIENTS)))
    took = perf_counter() - begun
    return sum(rows for rows, _ in found) / took, [time for _, times in found for time in times]


def measure(rounds: int = ROUNDS, seconds: float = SECONDS, only: tuple[str, ...] = ()):
    """Rows a second (the best round) and the 99th percentile in ms of each kind."""
    token, lot_ids = fill()
    rng = random.Random(7)
    named = {name: make for name, make in requests(rng, lot_ids).items() if not only or name in only}
    best = dict.fromkeys(named, 0.0)
    times: dict[str, list[float]] = {name: [] for name in named}
    with server() as port:
        for at in range(rounds + 1):  # the first round warms up
            for name, make in named.items():
                rows, took = turn(port, token, make, seconds if at else min(seconds, 0.5))
                if at:
                    best[name] = max(best[name], rows)
                    times[name] += took
    return {name: (best[name], p99(times[name])) for name in named}


def p99(times: list[float]) -> float:
    """In ms."""
    return 1000 * (statistics.quantiles(times, n=100)[98] if len(times) > 1 else times[0])


def replan(sizes: dict[str, int], rounds: int = 9) -> tuple[float, float, float]:
    """Seconds of one scan that takes from a lot, of that and the shortfall of its item after it, and of the whole shortfall."""
    from django.utils import timezone
    from django_scopes import scope

    from buildplan.shortfall import queries
    from buildplan.wanted.queries import shortfall_of
    from inventory.catalogue.calc import key
    from inventory.models import Identifier, Item, Lot, Member
    from inventory.scanning import services

    workshop, project = scene.fill(**sizes)
    with scope(workshop=workshop):
        by = Member.objects.create(workshop=workshop, name="Hand", role="owner")
        item = Item.objects.filter(kind="part").order_by("pk")[0]
        Identifier.objects.create(workshop=workshop, item=item, text=item.code, key=key(item.code))
        lots = list(Lot.objects.filter(item=item).values_list("pk", flat=True))

        def take() -> None:
            now = timezone.now()
            said = {"lot": lots[next(turns) % len(lots)], "quantity": Decimal("0.001")}
            sent = services.ScanData(uuid=uuid4(), code=item.code, action="take", at=now, device_time=now, **said)
            (answer,) = services.act(scans=[sent], by=by, device=None, now=now)
            assert answer.outcome == "done", answer.body

        def take_and_see() -> None:
            take()
            shortfall_of([item.pk], as_of=scene.AS_OF)

        turns = count()
        take_one, seen, whole = scene.race(
            take, take_and_see, lambda: queries.shortfall([project], before=None, as_of=scene.AS_OF), rounds=rounds
        )
    return take_one, seen, whole


def main() -> None:
    """Print the ratios."""
    scene.start()
    if sys.argv[1:] != ["replan"]:
        throughput(tuple(sys.argv[1:]))
    if len(sys.argv) == 1 or sys.argv[1:] == ["replan"]:
        took, seen, whole = replan({"items": 600, "steps": 3000, "call_outs": 25_000, "lots": 12_000})
        print(
            f"a scan {1000 * took:.1f} ms, and its item's shortfall anew {1000 * (seen - took):.1f} ms more; all of it {1000 * whole:.0f}"
        )


def throughput(only: tuple[str, ...] = ()) -> None:
    """Print scans a second against the bare view; `only` names the kinds to measure."""
    found = measure(only=("bare insert", *only) if only else ())
    bare, bare_p99 = found["bare insert"]
    print(f"bare insert: {bare:.0f} a second, p99 {bare_p99:.1f} ms")
    for name, (rows, slow) in found.items():
        if name != "bare insert":
            print(f"{name:>12}: {rows:6.0f} scans a second, {rows / bare:5.2f} x bare, p99 {slow:.1f} ms")


if __name__ == "__main__":
    sys.exit(main())
