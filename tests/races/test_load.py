"""Eight loads of one file at once: it is there once, and nobody sees half of it."""

from collections import Counter
from datetime import date
from uuid import uuid4

import pytest
from django_scopes import scopes_disabled

from buildplan.loading import uploads
from buildplan.loading.sent_files import SentFile
from buildplan.loading.services import Request, load
from buildplan.loading.targets import Named
from buildplan.models import CallOut, LoadedFile, Step
from inventory.models import Crate, Holding, Identifier, Item, Lot, PackingLine, Workshop
from inventory.stock.queries import ledger_errors
from tests import loads

pytestmark = pytest.mark.django_db(transaction=True)

TODAY = date(2027, 3, 1)


def do(kind, path, **named):
    return load(Request(kind, path, Named(**{"workshop": "MARSH", **named})), today=TODAY)


def kinds(outcomes):
    return Counter("refused" if outcome.errors else "loaded" for outcome in outcomes)


@pytest.fixture
def items(tmp_path):
    return loads.table(tmp_path / "c.csv", loads.CATALOGUE, loads.RIVETS, loads.SEALANT)


def test_eight_loads_of_stock_add_it_once(at_once, bench, items, tmp_path):
    do("catalogue", items)
    path = loads.table(tmp_path / "s.csv", f"{loads.STOCK},lot", "SEAL-B2,10,Fridge,S-1", "SEAL-B2,5,Door,")

    assert kinds(at_once(lambda _: do("stock", path))) == {"loaded": 1, "refused": 7}
    assert sorted(Holding.objects.values_list("quantity", flat=True)) == [5, 10]
    assert (Lot.objects.count(), LoadedFile.objects.filter(kind="stock").count()) == (2, 1)
    assert ledger_errors() == []


def test_eight_loads_of_a_plan_make_its_steps_once(at_once, bench, items, tmp_path):
    do("catalogue", items)
    steps = [f"S{n},Floats,Do it" for n in range(20)]
    loads.table(tmp_path / "plan" / "steps.csv", loads.STEPS, *steps)
    loads.table(tmp_path / "plan" / "needs.csv", loads.NEEDS, *(f"S{n},SEAL-B2,5" for n in range(20)))

    assert kinds(at_once(lambda _: do("plan", tmp_path / "plan", project="TERN-1"))) == {"loaded": 8}
    assert (Step.objects.count(), CallOut.objects.count()) == (20, 20)


def test_eight_loads_make_a_workshop_once(at_once, items):
    assert kinds(at_once(lambda _: do("catalogue", items, workshop="NEW"))) == {"loaded": 8}
    workshop = Workshop.objects.get(code="NEW")
    with scopes_disabled():
        assert Item.objects.filter(workshop=workshop).count() == 2
        assert Identifier.objects.filter(workshop=workshop).count() == 2
        assert workshop.benches.count() == 1


def test_eight_loads_of_a_packing_list_list_it_once(at_once, bench, items, tmp_path):
    do("catalogue", items)
    path = loads.table(tmp_path / "p.csv", loads.PACKING, "7A,1,SEAL-B2,5")
    assert kinds(at_once(lambda _: do("packing", path, crate="C-7"))) == {"loaded": 1, "refused": 7}


def test_eight_presses_of_one_form_list_a_crate_once(at_once, bench, items, storekeeper):
    do("catalogue", items)
    sent = SentFile("p.csv", f"{loads.PACKING}\n7A,1,SEAL-B2,5\n".encode())
    form = {"upload": sent, "asked": uploads.Asked(bench, "C-7"), "request_key": uuid4()}

    found = at_once(lambda _: uploads.load_upload(**form, by=storekeeper, today=TODAY))

    assert {crate for _, crate in found} == {Crate.objects.get()}
    assert Counter(bool(outcome.loaded) for outcome, _ in found) == {True: 1, False: 7}
    assert PackingLine.objects.count() == 1


def test_eight_lists_of_one_crate_from_different_forms_list_it_once(at_once, bench, items, storekeeper):
    do("catalogue", items)
    sent = SentFile("p.csv", f"{loads.PACKING}\n7A,1,SEAL-B2,5\n".encode())
    form = {"upload": sent, "asked": uploads.Asked(bench, "C-7")}

    found = at_once(lambda _: uploads.load_upload(**form, request_key=uuid4(), by=storekeeper, today=TODAY))

    refused = [outcome.errors for outcome, crate in found if crate is None]
    assert refused == [["crate C-7 has packing lines already: a list is loaded once"]] * 7
    assert PackingLine.objects.count() == 1
