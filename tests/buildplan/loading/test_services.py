"""What holds for a load of any kind: where it goes, that it is whole or nothing, and what it costs."""

import resource
from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django_scopes import scope, scopes_disabled

from buildplan.loading.services import Request, load
from buildplan.loading.targets import Named
from buildplan.models import LoadedFile, Project
from inventory.models import Bench, Crate, Holding, Item, Lot, Member, Workshop
from tests import factories, loads

TODAY = date(2027, 3, 1)
MANY = 45  # rows: what SQLite still takes in one statement, whatever the table


def do(kind, path, recount=False, remove_missing=False, dry_run=False, **named):
    return load(Request(kind, path, Named(**named), recount, remove_missing, dry_run), today=TODAY)


def good(kind, path, **how):
    outcome = do(kind, path, **how)
    assert outcome.errors == []
    return outcome


def only_error(kind, path, **how):
    before = loads.row_counts()
    [error] = do(kind, path, **how).errors
    assert loads.row_counts() == before
    return error


@pytest.fixture
def items(file):
    return file("c.csv", loads.CATALOGUE, loads.RIVETS, loads.SEALANT)


@pytest.fixture
def stock(file):
    return file("s.csv", loads.STOCK, "SEAL-B2,10,Fridge")


@pytest.fixture
def steps(file):
    return file("steps.csv", loads.STEPS, "A,Floats,Drill")


@pytest.fixture
def packing(file):
    return file("p.csv", loads.PACKING, "7A,1,SEAL-B2,5")


# Where it goes


def test_load_makes_the_workshop_with_one_own_bench(db, items):
    assert good("catalogue", items, workshop="MARSH").made == ["workshop MARSH", "bench MAIN"]
    workshop = Workshop.objects.get()
    with scope(workshop=workshop):
        assert (workshop.code, workshop.name) == ("MARSH", "MARSH")
        assert Bench.objects.values_list("code", "shared").get() == ("MAIN", False)
        assert Member.objects.values_list("name", "user").get() == ("command line", None)


def test_load_of_a_new_workshop_takes_the_bench_that_is_named(db, items):
    assert good("catalogue", items, workshop="MARSH", bench="TERN").made == ["workshop MARSH", "bench TERN"]
    with scopes_disabled():
        assert Bench.objects.get().code == "TERN"


def test_load_of_a_new_workshop_with_a_pool_has_an_own_bench_as_well(db, items):
    good("catalogue", items, workshop="MARSH", bench="POOL", shared=True)
    with scopes_disabled():
        assert set(Bench.objects.values_list("code", "shared")) == {("MAIN", False), ("POOL", True)}


def test_load_finds_what_is_there_in_any_case(db, items, stock, steps):
    good("catalogue", items, workshop="MARSH", bench="TERN")
    good("plan", steps, workshop="MARSH", bench="TERN", project="TERN-1")
    for how in ({"bench": "tern"}, {"project": "tern-1"}):
        assert good("plan", steps, workshop="marsh", **{"project": "TERN-1", **how}).made == []


def test_load_without_a_workshop_takes_the_only_one(db, items, stock):
    good("catalogue", items, workshop="MARSH")
    assert good("stock", stock).made == []


def test_load_without_a_workshop_lists_several(workshop, outsider, items):
    assert only_error("catalogue", items) == "name the workshop with --workshop: the workshops are MARSH, OUTSIDE"


def test_load_without_any_workshop_says_what_would_do(db, items):
    assert only_error("catalogue", items) == "name the workshop with --workshop: the workshops are none yet"


def test_load_without_a_bench_takes_the_only_own_one(catalogue, bench, shared_bench, stock):
    good("stock", stock, workshop="MARSH")
    assert Lot.objects.get().bench == bench


def test_load_without_a_bench_lists_several(catalogue, bench, other_bench, shared_bench, stock):
    told = "name the bench with --bench: the benches are PLOVER, POOL, TERN"
    assert only_error("stock", stock, workshop="MARSH") == told


def test_load_without_a_bench_where_there_is_none_says_so(workshop, items, stock):
    good("catalogue", items, workshop="MARSH")
    assert only_error("stock", stock, workshop="MARSH") == "name the bench with --bench: there are no benches yet"


def test_load_makes_a_bench_of_a_new_code(catalogue, stock):
    assert good("stock", stock, workshop="MARSH", bench="PLOVER").made == ["bench PLOVER"]
    assert not Bench.objects.get(code="PLOVER").shared


def test_load_makes_a_shared_bench(catalogue, stock):
    assert good("stock", stock, workshop="MARSH", bench="POOL", shared=True).made == ["shared bench POOL"]
    assert Bench.objects.get(code="POOL").shared


def test_load_does_not_share_a_bench_that_is_somebodys(catalogue, stock):
    error = only_error("stock", stock, workshop="MARSH", bench="TERN", shared=True)
    assert error.startswith("bench TERN is there, and is not shared: ")


def test_load_of_a_bench_that_an_outsider_has_makes_ours(catalogue, stock, outsider):
    assert good("stock", stock, workshop="MARSH", bench="OUTSIDE-BENCH").made == ["bench OUTSIDE-BENCH"]


@pytest.mark.parametrize("code", ["x" * 41, "two\nlines"])
def test_load_refuses_a_code_that_no_row_can_keep(catalogue, steps, packing, code):
    only_error("plan", steps, workshop="MARSH", project=code)
    only_error("packing", packing, workshop="MARSH", crate=code)
    only_error("plan", steps, workshop="MARSH", project="P", bench=code)
    only_error("plan", steps, workshop=code, project="P")


# All of it or nothing


@pytest.mark.parametrize("kind", ["catalogue", "stock", "plan", "packing"])
def test_dry_run_tells_all_and_writes_nothing(db, request, items, kind):
    path = request.getfixturevalue({"catalogue": "items", "plan": "steps"}.get(kind, kind))
    if kind != "catalogue":
        good("catalogue", items, workshop="MARSH")
    how = {"bench": "TERN", "project": "P", "crate": "C", "workshop": "MARSH"}
    before = loads.row_counts()
    dry = good(kind, path, dry_run=True, **how)
    assert loads.row_counts() == before
    assert dry.dry_run
    wet = good(kind, path, **how)
    assert (wet.loaded, wet.made, wet.warnings) == (dry.loaded, dry.made, dry.warnings)


def test_errors_leave_nothing_that_was_made_on_the_way(db, file):
    path = file("c.csv", loads.CATALOGUE, "A,Thing,part,nonsense")
    before = loads.row_counts()
    outcome = do("catalogue", path, workshop="MARSH", bench="TERN")
    assert len(outcome.errors) == 1
    assert outcome.as_object()["loaded"] == {}
    assert loads.row_counts() == before


def test_every_load_is_on_record(catalogue, stock, steps, packing, bench):
    good("stock", stock, workshop="MARSH")
    good("plan", steps, workshop="MARSH", project="P")
    good("packing", packing, workshop="MARSH", crate="C")
    files = LoadedFile.objects.order_by("at").values_list("kind", "name", "bench__code", "by__name")
    assert list(files) == [
        ("catalogue", "items.csv", None, "command line"),
        ("stock", "s.csv", "TERN", "command line"),
        ("plan", "steps.csv", "TERN", "command line"),
        ("packing", "p.csv", "TERN", "command line"),
    ]


def test_what_is_made_has_the_command_lines_hand_in_its_history(catalogue, steps, bench):
    good("plan", steps, workshop="MARSH", project="P")
    hand = Member.objects.get(name="command line")
    assert Project.history.filter(code="P").get().history_user == hand
    assert Item.history.filter(code="SEAL-B2").get().history_user == hand


# What it costs


def queries_of(kind, path, **how):
    with CaptureQueriesContext(
        connection,
    ) as seen:
        good(kind, path, workshop="MARSH", **how)
    return len(seen)


def rows_of(kind, many, mark):
    """A table of `many` rows, none of which another mark has."""
    return {
        "catalogue": [loads.CATALOGUE, *(f"{mark}{n},Thing,part,ea" for n in range(many))],
        "stock": [f"{loads.STOCK},lot", *(f"SEAL-B2,{n + 1},Hangar/Drawer {mark}{n},{mark}{n}" for n in range(many))],
        "plan": [f"{loads.STEPS},after", *(f"S{n},Floats,Do it,{f'S{n - 1}' if n else ''}" for n in range(many))],
        "packing": [loads.PACKING, *(f"7A/{n},1,SEAL-B2,5" for n in range(many))],
    }[kind]


@pytest.mark.parametrize("kind", ["catalogue", "stock", "plan", "packing"])
def test_queries_are_as_many_for_few_rows_as_for_many(catalogue, file, kind):
    few, many = (file(f"{mark}.csv", *rows_of(kind, rows, mark)) for mark, rows in (("F", 2), ("M", MANY)))
    good(kind, file("w.csv", *rows_of(kind, 1, "W")), workshop="MARSH", project="W", crate="W")  # places and hand are there
    with_few = queries_of(kind, few, project="F", crate="F")
    assert queries_of(kind, many, project="M", crate="M") <= with_few
    assert with_few < 60


def test_queries_of_a_recount_are_as_many_for_few_rows_as_for_many(catalogue, file):
    for mark, rows in (("F", 2), ("M", MANY)):
        good("stock", file(f"{mark}.csv", *rows_of("stock", rows, mark)), workshop="MARSH")
    more = {mark: [row.replace(",", ",1", 1) for row in rows_of("stock", rows, mark)[1:]] for mark, rows in (("F", 2), ("M", MANY))}
    few, many = (file(f"{mark}2.csv", f"{loads.STOCK},lot", *more[mark]) for mark in "FM")
    good("stock", few, workshop="MARSH", recount=True)  # the end of the ledger that counts go to is there
    again = file("F3.csv", *rows_of("stock", 2, "F")[:1], "SEAL-B2,99,Hangar/Drawer F0,F0")
    assert queries_of("stock", many, recount=True) <= queries_of("stock", again, recount=True)


def test_a_large_file_takes_little_memory_and_tells_how_far_it_is(catalogue, file):
    rows = (f"SEAL-B2,{n % 90 + 1},Hangar/Rack {n % 40}/Drawer {n % 7}" for n in range(100_000))
    path = file("s.csv", loads.STOCK, *rows)
    told = []
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    outcome = load(Request("stock", path, Named(workshop="MARSH")), today=TODAY, progress=told.append)
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    assert (outcome.errors, outcome.loaded) == ([], {"lots": 1, "movements": 280})
    assert sum(Holding.objects.values_list("quantity", flat=True)) == sum(n % 90 + 1 for n in range(100_000))
    assert (told[0], told[-1], len(told)) == (1000, 100_000, 100)
    assert grown < 100_000  # kilobytes


def test_crate_of_an_outsider_is_not_ours(catalogue, packing, outsider):
    good("packing", packing, workshop="MARSH", crate="OUTSIDE-CRATE")
    assert Crate.objects.get().bench.code == "TERN"


def test_load_stays_within_the_scope_of_its_workshop(catalogue, stock):
    """A load from within another workshop's scope writes to the one that it names."""
    with scopes_disabled():
        other = factories.WorkshopFactory(code="ELSEWHERE")
    with scope(workshop=other):
        good("stock", stock, workshop="MARSH")
        assert not Lot.objects.exists()
    assert Lot.objects.count() == 1
