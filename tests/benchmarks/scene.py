"""A large plan and its stock, made up by a fixed seed, in a database of its own."""

import os
import random
import tempfile
import tracemalloc
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from time import perf_counter

AS_OF = date(2027, 2, 20)


def start() -> None:
    """Set up Django on a throw-away database: SQLite, or what DATABASE_URL names. Call before importing any model."""
    if not os.environ.get("DATABASE_URL"):
        os.environ["DATABASE_URL"] = f"sqlite:///{Path(tempfile.mkdtemp()) / 'benchmark.sqlite3'}"
    os.environ["DJANGO_SETTINGS_MODULE"] = "buildplan.site.settings"
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    from buildplan.site.memory import settle

    settle()  # as the server does


def fill(*, items: int, steps: int, call_outs: int, lots: int, workshop=None):
    """A workshop, new unless given, with one project of these sizes; about a third of the lots die while the plan runs."""
    from inventory.models import Bench, Place, Workshop

    rng = random.Random(7)
    workshop = workshop or Workshop.objects.create(code=f"W{Workshop.objects.count()}", name="Benchmark")
    bench = Bench._base_manager.create(workshop=workshop, code="BENCH", name="Bench")
    place = Place._base_manager.create(workshop=workshop, name="Shelf", path="Shelf", key="shelf")
    made = _items(workshop, items)
    _lots(rng, workshop, bench, place, made, lots)
    return workshop, _plan(rng, workshop, bench, made, steps, call_outs)


def _items(workshop, count):
    from inventory.models import Item

    rows = [
        Item(
            workshop=workshop, code=f"ITEM-{at:04}", name="a thing", kind="sealant" if at % 3 == 0 else "part", unit="g", lead_days=at % 40
        )
        for at in range(count)
    ]
    return Item._base_manager.bulk_create(rows, batch_size=500)


def _lots(rng, workshop, bench, place, items, count):
    from inventory.models import Holding, Lot

    rows = [
        Lot(
            workshop=workshop,
            bench=bench,
            item=items[at % len(items)],
            code=f"L{at}",
            expires_on=AS_OF + timedelta(days=rng.randrange(-100, 900)) if at % len(items) % 3 == 0 else None,
        )
        for at in range(count)
    ]
    lots = Lot._base_manager.bulk_create(rows, batch_size=500)
    held = [Holding(workshop=workshop, lot=lot, place=place, quantity=Decimal(rng.randrange(1, 40))) for lot in lots]
    Holding._base_manager.bulk_create(held, batch_size=500)


def _plan(rng, workshop, bench, items, steps, call_outs):
    from buildplan.models import CallOut, Project, Section, Step, StepAfter

    project = Project._base_manager.create(workshop=workshop, bench=bench, code="PLAN", name="Plan")
    section = Section._base_manager.create(workshop=workshop, project=project, name="All", position=0)
    rows = [
        Step(
            workshop=workshop,
            project=project,
            section=section,
            code=f"S{at}",
            title="a step",
            position=at,
            planned_on=AS_OF + timedelta(days=at // 4) if at % 5 else None,
        )
        for at in range(steps)
    ]
    made = Step._base_manager.bulk_create(rows, batch_size=500)
    pairs = [StepAfter(workshop=workshop, step=made[at], after=made[at - rng.randrange(1, min(at, 9) + 1)]) for at in range(1, steps)]
    StepAfter._base_manager.bulk_create(pairs, batch_size=500)
    wanted = set()
    while len(wanted) < call_outs:
        wanted.add((rng.randrange(steps), rng.randrange(len(items))))
    needs = [
        CallOut(workshop=workshop, step=made[step], item=items[item], quantity=Decimal(rng.randrange(1, 20)))
        for step, item in sorted(wanted)
    ]
    CallOut._base_manager.bulk_create(needs, batch_size=500)
    return project


def race(*works: Callable[[], object], rounds: int = 9) -> list[float]:
    """The best time of each work, in seconds. They take turns, so that a busy machine slows all of them alike."""
    best = [float("inf")] * len(works)
    for at in range(rounds + 1):  # the first turn warms up
        for which, work in enumerate(works):
            begun = perf_counter()
            work()
            if at:
                best[which] = min(best[which], perf_counter() - begun)
    return best


def peak(work: Callable[[], object]) -> float:
    """Peak memory in MB that one round takes, as Python allocates it."""
    tracemalloc.start()
    work()
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return most / 1e6
