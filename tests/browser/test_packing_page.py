"""From a packing list on paper to a crate to be counted, as a storekeeper meets it on a phone."""

import pytest
from django.urls import reverse

from inventory.models import Crate, Identifier
from tests import factories, loads

pytestmark = pytest.mark.alike

PHONE = {"width": 390, "height": 844}
LIST = f"{loads.PACKING}\n7A,1,MS20470AD46X,200\n7A,2,SEAL-B2,0\n7A,total,,251\n"


@pytest.fixture
def bench(workshop, bench):
    factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", kind="rivet")
    factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g")
    return bench


def choose(page, text, name="list.csv"):
    page.get_by_label("Packing list").set_input_files({"name": name, "mimeType": "text/csv", "buffer": text.encode()})


def test_list_is_looked_at_mended_and_loaded(page, live_server, signed_in, axe, storekeeper, bench):
    page.set_viewport_size(PHONE)
    signed_in(storekeeper)
    page.goto(live_server.url + reverse("crates"))
    page.get_by_role("link", name="Load a packing list").click()
    axe(page)

    page.get_by_label("Crate").fill("CRATE-7")
    page.get_by_label("Lines, as printed").fill("3")
    choose(page, LIST)
    page.get_by_role("button", name="Look at it").click()
    page.get_by_text("list.csv can't be loaded yet").wait_for()
    page.get_by_text("list.csv:3: quantity").wait_for()
    axe(page)

    page.get_by_role("button", name="MS20470AD46X means MS20470AD4-6").click()
    page.get_by_text("MS20470AD46X means MS20470AD4-6 from now on.").wait_for()
    assert Identifier.objects.filter(text="MS20470AD46X", item__code="MS20470AD4-6").exists()

    choose(page, LIST.replace("SEAL-B2,0", "SEAL-B2,50"))
    page.get_by_role("button", name="Look at it again").click()
    page.get_by_text("list.csv can be loaded").wait_for()
    page.get_by_text("the printed total of bag 7A is 251").wait_for()
    page.get_by_text("1 fewer in the file").wait_for()
    axe(page)

    page.get_by_role("button", name="Load it into crate CRATE-7").click()
    page.get_by_text("2 lines in 1 bag are listed in CRATE-7 now.").wait_for()
    page.get_by_role("link", name="Which bag to count first").click()
    page.get_by_role("heading", name="CRATE-7").first.wait_for()
    assert Crate.objects.get().lines.count() == 2


def test_enter_key_looks_and_never_loads_or_teaches(page, live_server, signed_in, storekeeper, bench):
    signed_in(storekeeper)
    page.goto(live_server.url + reverse("load-crate"))
    page.get_by_label("Crate").fill("CRATE-7")
    choose(page, f"{loads.PACKING}\n7A,1,MS20470AD46X,200\n")
    page.get_by_label("Crate").press("Enter")
    page.get_by_text("list.csv can't be loaded yet").wait_for()

    page.get_by_label("Crate").fill("CRATE-8")
    page.get_by_label("Crate").press("Enter")
    page.get_by_text("list.csv can't be loaded yet").wait_for()
    assert not Identifier.objects.filter(text="MS20470AD46X").exists()

    choose(page, f"{loads.PACKING}\n7A,1,SEAL-B2,50\n")
    page.get_by_label("Crate").press("Enter")
    page.get_by_text("1 line in 1 bag, into crate CRATE-8").wait_for()
    page.get_by_label("Crate").fill("CRATE-9")
    page.get_by_label("Crate").press("Enter")
    page.get_by_text("1 line in 1 bag, into crate CRATE-9").wait_for()
    assert not Crate.objects.exists()
