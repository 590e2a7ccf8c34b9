"""Shortfall of a whole plan against a raw read of the same rows, in one run: `python -m tests.benchmarks.shortfall`.

Goals: at most 3 times the raw read; 10 times the work in at most 12 times the time.
"""

import sys

from tests.benchmarks import scene

FULL = {"items": 600, "steps": 3000, "call_outs": 25_000, "lots": 12_000}
TENTH = {name: size // 10 for name, size in FULL.items()}


def raw_read(project):
    """Every row that shortfall reads, in the same columns, with no arithmetic."""
    from buildplan.models import CallOut, Step, StepAfter
    from buildplan.shortfall import queries
    from inventory.models import Bench, Holding, Item, PackingLine, Place, SetAside

    lot = (*queries._LOT, *(f"lot__{name}" for name in queries._DATES), "lot__opened_on")
    items = ("id", "code", "name", "unit", "kind", "pack", "lead_days", "life_months", "open_life_days", "min_life_days")
    return [
        list(rows)
        for rows in (
            Step.objects.filter(project=project).values_list("id", "project_id", "code", "position", "planned_on", "done"),
            StepAfter.objects.filter(step__project=project).values_list("step_id", "after_id"),
            CallOut.objects.filter(step__project=project, step__done=False).values_list("step_id", "item_id", "quantity", "rounding"),
            Item.objects.values_list(*items),
            Bench.objects.filter(shared=True).values_list("pk", flat=True),
            Place.objects.values_list("id", "path"),
            SetAside.objects.order_by("id").values_list("lot_id", "ref", "quantity"),
            Holding.objects.filter(quantity__gt=0).order_by("lot_id", "place__path").values_list(*lot),
            PackingLine.objects.filter(open_quantity__gt=0).values_list(*queries._LINE, *queries._DATES),
        )
    ]


def measure(sizes, rounds=9):
    """Seconds of shortfall, of shortfall with every trace, and of the raw read; peak MB of the first and last."""
    from django_scopes import scope

    from buildplan.shortfall import queries
    from buildplan.shortfall.answer import as_object

    workshop, project = scene.fill(**sizes)
    with scope(workshop=workshop):
        (project,) = queries.projects([project.code])

        def net():
            return queries.shortfall([project], before=None, as_of=scene.AS_OF)

        def explain():
            return as_object(net(), every=True)

        def read():
            return raw_read(project)

        times = scene.race(net, explain, read, rounds=rounds)
        names = ("net", "with reasons", "raw read")
        return {**dict(zip(names, times, strict=True)), "net MB": scene.peak(net), "raw MB": scene.peak(read)}


def main():
    """Print the ratios."""
    scene.start()
    tenth, full = measure(TENTH), measure(FULL)
    for name, found in (("a tenth", tenth), ("full", full)):
        sizes = " ".join(f"{key} {value:.3f}" for key, value in found.items())
        print(f"{name}: {sizes}; net / raw read {found['net'] / found['raw read']:.2f}")
    net, read = (full[name] / tenth[name] for name in ("net", "raw read"))
    print(f"growth: 10 times the work takes {net:.1f} times the time of net, {read:.1f} times that of the raw read")


if __name__ == "__main__":
    sys.exit(main())
