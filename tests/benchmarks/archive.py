"""A workshop of 100,000 rows saved and loaded, beside a raw read and a bare bulk_create of the same rows in one run; and peak memory.

`python -m tests.benchmarks.archive`. Loads are rolled back at their end, the bare insert's too, so that each round finds the same.
"""

import sys
import tempfile
from datetime import UTC, datetime
from itertools import count
from pathlib import Path

from tests.benchmarks import scene

SIZES = {"items": 600, "steps": 3000, "call_outs": 25_000, "lots": 12_000}
TURNS = 16_000  # times two movements: in and out again
NOW = datetime(2027, 2, 20, 12, tzinfo=UTC)
_numbers = count(1)


def fill(sizes, turns):
    """The scene with a ledger that adds up."""
    from inventory.models import Holding, Member, Movement, Place

    workshop, _ = scene.fill(**sizes)
    by = Member._base_manager.create(workshop=workshop, name="command line", role="storekeeper")
    ends = [Place._base_manager.create(workshop=workshop, name=end, path=end, key=end, end=end) for end in ("supplier", "used")]
    held = list(Holding._base_manager.filter(workshop=workshop).order_by("pk"))

    def move(holding, quantity, source, target):
        said = {"workshop": workshop, "lot_id": holding.lot_id, "by": by, "at": NOW, "on": scene.AS_OF, "note": "as counted"}
        return Movement(**said, quantity=quantity, source=source, target=target)

    rows = [move(one, one.quantity, ends[0], one.place) for one in held]
    for at in range(turns):
        one = held[at % len(held)]
        rows += [move(one, 1, ends[0], one.place), move(one, 1, one.place, ends[1])]
    Movement._base_manager.bulk_create(rows, batch_size=1000)
    return workshop


def raw_read(workshop):
    """The same rows as the database gives them, and nothing made of them."""
    from django.db import connection

    from buildplan.archive.tables import all_tables

    for table in all_tables().values():
        sql, given = table.of_workshop(workshop.pk).query.sql_with_params()
        with connection.cursor() as cursor:
            cursor.execute(sql, given)
            while cursor.fetchmany(2000):
                pass


def rows_to_insert(workshop):
    """The workshop's rows as models, table by table, under ids that are free: what a bare insert is given."""
    from buildplan.archive.tables import Kind, all_tables

    shift = 10**9
    found = []
    for table in all_tables().values():
        moved = [column.field.attname for column in table.columns if column.kind in {Kind.OWN, Kind.LINK}]
        own = [] if table.label == "inventory.Workshop" or table.of else ["workshop_id"]
        rows = list(table.of_workshop(workshop.pk).values())
        for row in rows:
            row.pop("history_id", None)
            for name in [*moved, *own]:
                row[name] = None if row[name] is None else row[name] + shift
        found.append((table.model, rows))
    return found


def bare_insert(prepared):
    """Models made and inserted, in one transaction that is taken back."""
    from django.db import transaction

    with transaction.atomic():
        for model, rows in prepared:
            named = [{**row, "code": "BARE"} for row in rows] if model.__name__ == "Workshop" else rows
            model._base_manager.bulk_create([model(**row) for row in named], batch_size=1000)
        transaction.set_rollback(True)


def measure(sizes=SIZES, turns=TURNS, rounds=3):
    """Seconds of each, peak MB of saving and of loading, and how many rows there were."""
    from buildplan.archive.restoring import Asked, restore
    from buildplan.archive.saving import save

    workshop, folder = fill(sizes, turns), Path(tempfile.mkdtemp())

    def write():
        return save(workshop=workshop, path=folder / f"{next(_numbers)}.zip", now=NOW)

    saved = write()

    def load():
        return restore(asked=Asked(saved.path, code="COPY", dry_run=True))

    prepared = rows_to_insert(workshop)
    works = (write, lambda: raw_read(workshop), load, lambda: bare_insert(prepared))
    times = dict(zip(("save", "raw read", "load", "bare insert"), scene.race(*works, rounds=rounds), strict=True))
    return {**times, "save MB": scene.peak(write), "load MB": scene.peak(load), "rows": sum(saved.rows.values()), "bytes": saved.bytes}


def main():
    """Print seconds, ratios and memory."""
    scene.start()
    found = measure()
    print(f"{found['rows']} rows, {found['bytes'] / 1e6:.1f} MB as a file")
    for work, against in (("save", "raw read"), ("load", "bare insert")):
        ratio, seconds = found[work] / found[against], found[work]
        print(f"{work} {seconds:.1f} s, {ratio:.2f} times the {against}; peak {found[f'{work} MB']:.0f} MB")


if __name__ == "__main__":
    sys.exit(main())
