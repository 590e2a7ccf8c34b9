"""Can a day of a whole club go ahead? Against a raw read of the same rows, in one run: `python -m tests.benchmarks.club`.

20 projects of 3,000 steps each, a row of clecos and a tool in every step. Goal: at most 3 times the raw read. A day that fits, and one that
doesn't, where the days around it are searched for the smallest change.
"""

import sys
from datetime import timedelta
from decimal import Decimal

from tests.benchmarks import scene

FULL = {"projects": 20, "steps": 3000}
A_DAY = 4  # steps of a project
FREE_DAY, CONTESTED_DAY = (scene.AS_OF + timedelta(days=days) for days in (300, 320))


def fill(*, projects, steps):
    """A workshop with so many projects at as many benches, and a pool; on one day the last project wants more than there is."""
    from inventory.models import Bench, Holding, Item, Lot, Place, Workshop

    workshop = Workshop.objects.create(code=f"W{Workshop.objects.count()}", name="Benchmark")
    place = Place._base_manager.create(workshop=workshop, name="Shelf", path="Shelf", key="shelf")
    pool = Bench._base_manager.create(workshop=workshop, code="POOL", name="Pool", shared=True)
    kinds = {"cleco": 8, "tool": 12, "rivet": 1}
    items = {
        kind: [Item._base_manager.create(workshop=workshop, code=f"{kind}-{at}", name="x", kind=kind, unit="ea") for at in range(count)]
        for kind, count in kinds.items()
    }
    lots = [Lot(workshop=workshop, bench=pool, item=item) for kind in ("cleco", "tool") for item in items[kind]]
    for number in range(projects):
        bench = Bench._base_manager.create(workshop=workshop, code=f"B{number}", name="Bench")
        lots += [Lot(workshop=workshop, bench=bench, item=item) for item in items["cleco"]]
        _project(workshop, bench, items, steps, short=number == projects - 1)
    made = Lot._base_manager.bulk_create(lots)
    held = [Holding(workshop=workshop, lot=lot, place=place, quantity=Decimal(400)) for lot in made]
    Holding._base_manager.bulk_create(held)
    return workshop


def _project(workshop, bench, items, steps, *, short):
    from buildplan.models import CallOut, Project, RivetRow, Section, Step, StepAfter

    project = Project._base_manager.create(workshop=workshop, bench=bench, code=f"P-{bench.code}", name="x")
    section = Section._base_manager.create(workshop=workshop, project=project, name="All", position=0)
    rows = [
        Step(
            workshop=workshop,
            project=project,
            section=section,
            code=f"S{at}",
            title="a step",
            position=at,
            planned_on=scene.AS_OF + timedelta(days=at // A_DAY),
        )
        for at in range(steps)
    ]
    made = Step._base_manager.bulk_create(rows, batch_size=500)
    StepAfter._base_manager.bulk_create(
        [StepAfter(workshop=workshop, step=made[at], after=made[at - 1]) for at in range(1, steps)], batch_size=500
    )
    tools, clecos = items["tool"], items["cleco"]
    wanted = [CallOut(workshop=workshop, step=step, item=tools[at % len(tools)], quantity=Decimal(1)) for at, step in enumerate(made)]
    if short:
        at = min((CONTESTED_DAY - scene.AS_OF).days * A_DAY + A_DAY - 1, steps - 1)  # the last of its day may go to the next
        wanted[at].quantity = Decimal(400)
    CallOut._base_manager.bulk_create(wanted, batch_size=500)
    holes = [
        RivetRow(
            workshop=workshop,
            step=step,
            code="A",
            rivet=items["rivet"][0],
            holes=100,
            cleco_every=3,
            cleco=clecos[at % len(clecos)],
            clecos_until=made[at + 1] if at % 20 == 0 and at + 1 < steps else None,
        )
        for at, step in enumerate(made)
    ]
    RivetRow._base_manager.bulk_create(holes, batch_size=500)


def raw_read(day, *, around=False):
    """Every row that the question reads, in the same columns, with no arithmetic; with `around` those of the days around it too."""
    from buildplan.club.changes import REACH
    from buildplan.models import CallOut, Project, RivetRow, Step, StepAfter
    from inventory.models import Bench, Booking, Holding, Item, Loan

    last = day + timedelta(days=REACH)
    here = set(Step.objects.filter(done=False, planned_on=day).values_list("id", flat=True))
    near = set(
        Step.objects.filter(done=False, planned_on__gte=day - timedelta(days=REACH), planned_on__lte=last).values_list("id", flat=True)
    )
    until = list(RivetRow.objects.filter(cleco__isnull=False, clecos_until__done=False).values_list("step_id", "clecos_until_id"))
    near.update(step for pair in until for step in pair)
    row = ("step_id", "code", "rivet_id", "cleco_id", "holes", "cleco_every", "clecos_until_id")
    lot = ("lot__item_id", "lot__bench_id", "quantity", "lot__made_on", "lot__expires_on", "lot__opened_on")
    return [
        list(rows)
        for rows in (
            Step.objects.filter(done=False, planned_on__lte=last).order_by("planned_on", "id").values_list("id", "planned_on"),
            StepAfter.objects.values_list("step_id", "after_id"),
            Step.objects.filter(pk__in=near).values_list("id", "project_id", "code", "position", "planned_on", "done", "title", "minutes"),
            Project.objects.values_list("id", "code", "bench_id"),
            Bench.objects.values_list("id", "code", "name", "shared"),
            Item.objects.values_list("id", "code", "name", "unit"),
            CallOut.objects.filter(step__in=near if around else here).values_list("step_id", "item_id", "quantity", "rounding"),
            RivetRow.objects.filter(step__in=near if around else here).values_list(*row),
            Holding.objects.filter(quantity__gt=0).values_list(*lot),
            Loan.objects.values_list("id", "bench_id", "member_id", "ref"),
            Booking.objects.values_list("id", "bench_id", "member_id", "ref"),
        )
    ]


def measure(sizes, rounds=9):
    """Seconds of a day that fits, of one that doesn't, and of the raw read."""
    from django_scopes import scope

    from buildplan.club import queries

    with scope(workshop=fill(**sizes)):
        free, contested = (queries.go_ahead(day, today=scene.AS_OF) for day in (FREE_DAY, CONTESTED_DAY))
        works = (
            lambda: queries.go_ahead(FREE_DAY, today=scene.AS_OF),
            lambda: queries.go_ahead(CONTESTED_DAY, today=scene.AS_OF),
            lambda: raw_read(FREE_DAY),
            lambda: raw_read(CONTESTED_DAY, around=True),
        )
        times = scene.race(*works, rounds=rounds)
        found = dict(zip(("a day that fits", "one that doesn't", "raw read", "raw read around"), times, strict=True))
        return found | {"steps": len(free.steps), "goes": free.goes, "proposals": len(contested.proposals)}


def main():
    """Print the ratios."""
    scene.start()
    found = measure(FULL)
    print(f"{found['steps']} steps on the day; {found['proposals']} ways out of the contested one")
    for name, read in (("a day that fits", "raw read"), ("one that doesn't", "raw read around")):
        print(f"{name}: {1000 * found[name]:.0f} ms, {found[name] / found[read]:.2f} times the raw read")


if __name__ == "__main__":
    sys.exit(main())
