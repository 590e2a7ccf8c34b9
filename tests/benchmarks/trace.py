"""A trace over 50,000 movements against a raw read of the same rows, in one run: `python -m tests.benchmarks.trace`.

Two benches, lots with and without a code in shared places, carries, passing from bench to bench, counts, and steps that took of them. Goal:
at most 5 times the raw read, forward from a lot code that every item has, and back from an aeroplane.
"""

import random
import sys
from decimal import Decimal

from tests.benchmarks import scene

FULL = {"movements": 50_000, "items": 60, "lots": 2_000, "steps": 5_000}
BATCH = "BATCH-1"  # a lot of each item has this code


def fill(*, movements, items, lots, steps):
    """A workshop with a history of so many movements, made up by a fixed seed."""
    from inventory.models import Bench, Item, Lot, Member, Movement, Place, User, Workshop

    rng = random.Random(7)
    workshop = Workshop.objects.create(code=f"W{Workshop.objects.count()}", name="Benchmark")
    user = User.objects.create(email=f"{workshop.code}@benchmark.example".lower())
    by = Member._base_manager.create(workshop=workshop, user=user, name="Wren", role="owner")
    ends = {
        end: Place._base_manager.create(workshop=workshop, name=end, path=end, key=end, end=end)
        for end in ("supplier", "used", "counted", "passed")
    }
    shelves = Place._base_manager.bulk_create(
        Place(workshop=workshop, name=f"S{at}", path=f"S{at}", key=f"s{at}") for at in range(max(items // 2, 2))
    )
    benches = [Bench._base_manager.create(workshop=workshop, code=code, name=code) for code in ("TERN", "PLOVER")]
    said = {"workshop": workshop, "name": "x", "kind": "part", "unit": "ea"}
    kinds = Item._base_manager.bulk_create([Item(code=f"I{at}", **said) for at in range(items)])
    rows = [
        Lot(
            workshop=workshop, bench=benches[at % 2], item=kinds[at % items], code="" if at % 10 == 9 else BATCH if at < items else f"L{at}"
        )
        for at in range(lots)
    ]
    made = Lot._base_manager.bulk_create(rows, batch_size=500)
    finishes = _finished(workshop, benches, kinds, by, steps)
    said = {"workshop": workshop, "by": by, "on": scene.AS_OF}
    lines = _lines(rng, made, shelves, ends, finishes, movements, said)
    Movement._base_manager.bulk_create(lines, batch_size=500)
    return workshop


def _finished(workshop, benches, kinds, by, count):
    """Steps of both benches' aeroplanes, all done, each with two call-outs; the references of their finishes by bench."""
    from buildplan.models import CallOut, Finish, Project, Section, Step

    found = {}
    for bench in benches:
        project = Project._base_manager.create(workshop=workshop, bench=bench, code=f"P-{bench.code}", name="x")
        section = Section._base_manager.create(workshop=workshop, project=project, name="All", position=0)
        said = {"workshop": workshop, "project": project, "section": section, "title": "a step", "done": True, "done_on": scene.AS_OF}
        steps = Step._base_manager.bulk_create([Step(code=f"S{at}", position=at, **said) for at in range(count // 2)], batch_size=500)
        wanted = [
            CallOut(workshop=workshop, step=step, item=kinds[(at * 2 + more) % len(kinds)], quantity=Decimal(4))
            for at, step in enumerate(steps)
            for more in range(min(2, len(kinds)))
        ]
        CallOut._base_manager.bulk_create(wanted, batch_size=500)
        done = [Finish(workshop=workshop, step=step, on=scene.AS_OF, by=by) for step in steps]
        found[bench.pk] = [finish.ref for finish in Finish._base_manager.bulk_create(done, batch_size=500)]
    return found


def _lines(rng, lots, shelves, ends, finishes, count, said):
    """Receipts first, then uses, and now and then a carry, a passing to a lot of the same item, or a count."""
    from inventory.models import Movement

    def line(lot, quantity, source, target, ref=""):
        return Movement(lot=lot, quantity=Decimal(quantity), source=source, target=target, ref=ref, **said)

    of_item = {}
    for lot in lots:
        of_item.setdefault(lot.item_id, []).append(lot)
    where = {lot.pk: shelves[lot.item_id % len(shelves)] for lot in lots}
    lines = [line(lot, 10**6, ends["supplier"], where[lot.pk]) for lot in lots]
    while len(lines) < count:
        lot, what = rng.choice(lots), rng.random()
        here = where[lot.pk]
        if what < 0.9:
            lines.append(line(lot, rng.randrange(1, 9), here, ends["used"], rng.choice(finishes[lot.bench_id])))
        elif what < 0.95:
            where[lot.pk] = rng.choice(shelves)
            if where[lot.pk] is not here:
                lines += [line(lot, 10**5, here, where[lot.pk])]
        elif what < 0.98:
            other = rng.choice(of_item[lot.item_id])
            ref = f"transfer:{len(lines)}"
            lines += [line(lot, 5, here, ends["passed"], ref), line(other, 5, ends["passed"], here, ref)]
        else:
            lines.append(line(lot, 2, here, ends["counted"]))
    return lines


def raw_read():
    """Every row that the trace reads, in the same columns, with no walk."""
    from buildplan.models import CallOut, Finish, RivetRow
    from buildplan.trace import picture
    from inventory.models import Lot, Movement, PackingLine, Place

    return [
        list(rows)
        for rows in (
            Movement.objects.order_by("id").values_list(*picture._MOVE),
            Place.objects.values_list("id", "path", "end", "hands_id", "hands__name"),
            Lot.objects.values_list(*picture._LOT),
            Finish.objects.filter(taken_back_at=None).values_list(*picture.STEP, "id", "on", "by__name"),
            CallOut.objects.filter(step__done=True).values_list(*picture.STEP, "item_id", "item__code"),
            RivetRow.objects.values_list("id"),
            PackingLine.objects.values_list("id"),
        )
    ]


def measure(sizes, rounds=9):
    """Seconds of a trace each way, and of the raw read; how much was found."""
    from django_scopes import scope

    from buildplan.models import Project
    from buildplan.trace import queries

    with scope(workshop=fill(**sizes)):
        project = Project.objects.get(code="P-TERN")
        forward, back = queries.from_code(BATCH), queries.from_project(project)
        works = (lambda: queries.from_code(BATCH), lambda: queries.from_project(project), raw_read)
        times = scene.race(*works, rounds=rounds)
        found = dict(zip(("forward", "back", "raw read"), times, strict=True))
        return found | {"forward lines": len(forward.lines), "back lines": len(back.lines)}


def main():
    """Print the ratios."""
    scene.start()
    found = measure(FULL)
    print(f"{found['forward lines']} lines forward, {found['back lines']} back; raw read {1000 * found['raw read']:.0f} ms")
    for name in ("forward", "back"):
        print(f"{name}: {1000 * found[name]:.0f} ms, {found[name] / found['raw read']:.2f} times the raw read")


if __name__ == "__main__":
    sys.exit(main())
