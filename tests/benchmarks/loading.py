"""Loading a plan of 3,000 steps with 25,000 call-outs against bare bulk_create of the same rows, in one run.

`python -m tests.benchmarks.loading`. Goal: at most 4 times the bare insert. Each round loads another project.
"""

import random
import sys
import tempfile
from datetime import date, timedelta
from decimal import Decimal
from itertools import count
from pathlib import Path

from tests.benchmarks import scene

STEPS, CALL_OUTS, ITEMS = 3000, 25_000, 600
_numbers = count(1)


def write_files(folder, steps, call_outs, items):
    """The plan as a builder's two files."""
    rng = random.Random(7)
    rows = ["STEP,SECTION,TITLE,planned,after,minutes"]
    for at in range(steps):
        planned = scene.AS_OF + timedelta(days=at // 4)
        after = f"S{at - 1}" if at else ""
        rows.append(f"S{at},Section {at // 100},a step,{planned},{after},30")
    (folder / "steps.csv").write_text("\n".join(rows))
    wanted = set()
    while len(wanted) < call_outs:
        wanted.add((rng.randrange(steps), rng.randrange(items)))
    needs = [f"S{step},ITEM-{item:04},{1 + (step + item) % 20}" for step, item in sorted(wanted)]
    (folder / "needs.csv").write_text("\n".join(["STEP,ITEM,QUANTITY", *needs]))
    return sorted(wanted)


def load(folder, workshop):
    """One load, as the command does it."""
    from buildplan.loading.services import Request
    from buildplan.loading.services import load as load_file
    from buildplan.loading.targets import Named

    named = Named(workshop=workshop.code, bench="BENCH", project=f"P{next(_numbers)}")
    outcome = load_file(Request("plan", folder, named), today=date(2027, 2, 20))
    assert not outcome.errors, outcome.errors[:3]


def insert(workshop, bench, items, wanted, steps):
    """The same rows by bulk_create alone: no file, no check, no history."""
    from django.db import transaction

    from buildplan.models import CallOut, Project, Section, Step, StepAfter

    with transaction.atomic():
        project = Project._base_manager.create(workshop=workshop, bench=bench, code=f"P{next(_numbers)}", name="x")
        names = range((steps + 99) // 100)
        sections = Section._base_manager.bulk_create(
            [Section(workshop=workshop, project=project, name=f"Section {at}", position=at) for at in names]
        )
        rows = [
            Step(
                workshop=workshop,
                project=project,
                section=sections[at // 100],
                code=f"S{at}",
                title="a step",
                position=at,
                planned_on=scene.AS_OF + timedelta(days=at // 4),
                minutes=30,
            )
            for at in range(steps)
        ]
        made = Step._base_manager.bulk_create(rows, batch_size=1000)
        pairs = [StepAfter(workshop=workshop, step=made[at], after=made[at - 1]) for at in range(1, steps)]
        StepAfter._base_manager.bulk_create(pairs, batch_size=1000)
        needs = [
            CallOut(workshop=workshop, step=made[step], item=items[item], quantity=Decimal(1 + (step + item) % 20)) for step, item in wanted
        ]
        CallOut._base_manager.bulk_create(needs, batch_size=1000)


def measure(steps=STEPS, call_outs=CALL_OUTS, items=ITEMS, rounds=3):
    """Seconds of the load and of the bare insert, and peak MB of each."""
    from inventory.catalogue.calc import key
    from inventory.models import Bench, Identifier, Item, Workshop

    workshop = Workshop.objects.create(code=f"L{next(_numbers)}", name="Benchmark")
    bench = Bench._base_manager.create(workshop=workshop, code="BENCH", name="Bench")
    made = Item._base_manager.bulk_create(
        [Item(workshop=workshop, code=f"ITEM-{at:04}", name="x", kind="part", unit="ea") for at in range(items)]
    )
    codes = [Identifier(workshop=workshop, item=item, text=item.code, key=key(item.code)) for item in made]
    Identifier._base_manager.bulk_create(codes)
    folder = Path(tempfile.mkdtemp())
    wanted = write_files(folder, steps, call_outs, items)
    works = (lambda: load(folder, workshop), lambda: insert(workshop, bench, made, wanted, steps))
    times = scene.race(*works, rounds=rounds)
    return {"load": times[0], "bare insert": times[1], "load MB": scene.peak(works[0]), "insert MB": scene.peak(works[1])}


def main():
    """Print the ratio."""
    scene.start()
    found = measure()
    rows = STEPS + CALL_OUTS
    print(f"load {rows / found['load']:.0f} rows a second, bare insert {rows / found['bare insert']:.0f}")
    print(
        f"load / bare insert {found['load'] / found['bare insert']:.2f}; peak {found['load MB']:.0f} MB against {found['insert MB']:.0f} MB"
    )


if __name__ == "__main__":
    sys.exit(main())
