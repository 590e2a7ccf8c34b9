"""The scan page without a browser: what is acted on, what is shown, what it is made of."""

import re
from decimal import Decimal
from http import HTTPStatus
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from inventory.labels import services as labels
from inventory.models import Bag, Scan, Tally
from inventory.scanning import offline, standing
from tests import factories

RIVET = "MS20470AD4-6"
WASM = "'wasm-unsafe-eval'"


@pytest.fixture
def rivet(workshop):
    return factories.ItemFactory(workshop=workshop, code=RIVET, kind="rivet")


@pytest.fixture
def bag(workshop, bench, rivet):
    crate = factories.CrateFactory(bench=bench, code="CRATE-7")
    bag = Bag.objects.create(workshop=workshop, crate=crate, name="7A", path="7A")
    factories.PackingLineFactory(crate=crate, bag=bag, item=rivet, quantity=Decimal(500))
    return bag


def typed(**given):
    return {"uuid": str(uuid4()), "action": "tally", "code": RIVET, "quantity": "", "place": "", "bag": "CRATE-7/7A", "lot": "", **given}


def post(client, **given):
    return client.post(reverse("scan"), typed(**given))


def counted():
    return sum(Tally.objects.values_list("quantity", flat=True))


def test_typed_code_is_acted_on_and_what_stands_stays(as_member, builder, bag):
    answer = post(as_member(builder), quantity="100")

    assert answer.url == f"{reverse('scan')}?action=tally&bag=CRATE-7%2F7A&last={Scan.objects.get().uuid}"
    page = as_member(builder).get(answer.url).content.decode()
    assert f"100 ea of {RIVET} counted in CRATE-7/7A" in page
    assert re.search(r'value="CRATE-7/7A"[^>]* selected', page)
    assert counted() == 100


def test_last_scan_is_undone_once(as_member, builder, bag):
    sent = post(as_member(builder), quantity="100")
    uuid = Scan.objects.get().uuid
    assert "Undo the last one" in as_member(builder).get(sent.url).content.decode().split("undo-last")[1]

    undone = as_member(builder).post(reverse("scan-undo", args=[uuid]))
    assert undone.url == f"{reverse('scan')}?action=tally&bag=CRATE-7%2F7A"
    assert counted() == 0
    assert "undo-last" not in as_member(builder).get(sent.url).content.decode()
    assert as_member(builder).post(reverse("scan-undo", args=[uuid])).status_code == HTTPStatus.CONFLICT


def test_nothing_is_offered_to_undo_for_a_made_up_address(as_member, builder, bag):
    for last in ("x", uuid4()):
        assert "undo-last" not in as_member(builder).get(f"{reverse('scan')}?last={last}").content.decode()


def test_find_leads_to_the_page_about_the_code(as_member, builder, bag):
    answer = post(as_member(builder), action="find", code="]d2010400638133393110AB1\x1d17270301")

    assert answer.url == f"{reverse('code')}?code=%5Dd2010400638133393110AB1%1D17270301"
    assert not Scan.objects.exists()


def test_form_sent_twice_counts_once_and_says_the_same(as_member, builder, bag):
    given = typed()
    answers = [as_member(builder).post(reverse("scan"), given) for _ in range(2)]

    assert [answer.status_code for answer in answers] == [HTTPStatus.FOUND, HTTPStatus.FOUND]
    assert counted() == 1


def test_uuid_of_another_scan_is_refused(as_member, builder, bag):
    given = typed()
    as_member(builder).post(reverse("scan"), given)
    answer = as_member(builder).post(reverse("scan"), {**given, "quantity": "7"})

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert counted() == 1


def test_refused_code_stays_in_the_form_under_another_uuid(as_member, builder, bag):
    given = typed(code="NOBODY-KNOWS-ME", quantity="3")
    answer = as_member(builder).post(reverse("scan"), given)

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    page = answer.content.decode()
    assert "not known here" in page
    assert 'value="NOBODY-KNOWS-ME"' in page
    assert given["uuid"] not in page
    assert Scan.objects.get().outcome == "unknown"


@pytest.mark.parametrize(
    "given", [{"quantity": "many"}, {"quantity": "-1"}, {"code": ""}, {"action": "burn"}, {"code": "x" * 4001}, {"uuid": "1"}]
)
def test_what_does_not_read_is_not_acted_on(as_member, builder, bag, given):
    answer = post(as_member(builder), **given)

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert not Scan.objects.exists()


def test_several_lots_are_offered_to_choose_from(as_member, owner, bench, rivet, drawer):
    lots = [factories.LotFactory(bench=bench, item=rivet, code=code) for code in ("R7", "R8")]
    for lot in lots:
        factories.stock(lot, 50, drawer)
    given = typed(action="take", bag="", quantity="2")
    page = as_member(owner).post(reverse("scan"), given).content.decode()

    assert "Which one?" in page
    (form,) = re.findall(r"<form (?:(?!</form>).)*>lot R8, [^<]*</button></form>", page)
    chosen = dict(re.findall(r'name="(\w+)" value="([^"]*)"', form))
    answer = as_member(owner).post(reverse("scan"), chosen)
    assert answer.status_code == HTTPStatus.FOUND
    assert lots[1].holdings.get().quantity == 48


def test_reader_s_scan_is_not_counted(as_member, reader, bag):
    answer = post(as_member(reader))

    assert answer.status_code in {HTTPStatus.FORBIDDEN, HTTPStatus.UNPROCESSABLE_ENTITY}
    assert not Tally.objects.exists()


def test_bag_of_the_outsider_is_no_bag(as_member, builder, bag, outsider):
    answer = post(as_member(builder), bag="OUTSIDE-CRATE")

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert not Tally.objects.exists()


def test_photo_that_does_not_do_keeps_what_was_typed(as_member, builder, bag):
    file = SimpleUploadedFile("list.pdf", b"%PDF-1.7", "application/pdf")
    answer = as_member(builder).post(reverse("scan-photo"), {**typed(quantity="7"), "photo": file})

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    page = answer.content.decode()
    assert "This is a PDF" in page
    assert 'value="7"' in page


def test_photo_s_address_alone_leads_to_the_page(as_member, builder):
    assert as_member(builder).get(reverse("scan-photo")).url == reverse("scan")


def test_places_and_bags_carry_their_labels(workshop, bag, drawer, owner):
    tokens = [label.token for label in labels.ensure_labels(rows=[bag, drawer], by=owner)]

    assert [(row.value, row.token) for row in standing.bags()] == [("CRATE-7", None), ("CRATE-7/7A", tokens[0])]
    assert [(row.value, row.token) for row in standing.places()] == [("Hangar/Rack 1/Drawer 3", tokens[1])]


def test_labels_of_lots_on_hand_are_known_to_the_page(as_member, owner, lot, drawer, bench, item):
    used_up = factories.LotFactory(bench=bench, item=item)
    factories.stock(lot, 5, drawer)
    here, _ = (label.token for label in labels.ensure_labels(rows=[lot, used_up], by=owner))

    assert f'data-tokens="{here}"' in as_member(owner).get(reverse("scan")).content.decode()


@pytest.mark.parametrize("change", [{"closed_on": timezone.localdate()}, None])
def test_crate_that_is_done_offers_no_bags(workshop, bag, change):
    if change:
        type(bag.crate).objects.filter(pk=bag.crate_id).update(**change)
    else:
        bag.crate.lines.update(open_quantity=0)

    assert standing.bags() == ()


def test_page_takes_the_same_queries_for_one_bag_and_for_many(queries_of, builder, bag, bench, workshop):
    one = queries_of(builder, reverse("scan"))
    for n in range(30):
        more = Bag.objects.create(workshop=workshop, crate=bag.crate, name=str(n), path=str(n))
        factories.PackingLineFactory(crate=bag.crate, bag=more)
        factories.PlaceFactory(workshop=workshop)

    assert queries_of(builder, reverse("scan")) == one


# What the page is made of


def test_only_the_decoder_may_compile_webassembly(client, as_member, builder, bag):
    pages = [as_member(builder).get(reverse(name)) for name in ("scan", "crates", "scan-worker")]

    assert WASM in client.get(reverse("scan-decoder"))["Content-Security-Policy"]
    for page in pages:
        policy = page["Content-Security-Policy"]
        assert "unsafe" not in policy


def test_page_has_no_inline_script_or_style(as_member, builder, bag):
    page = as_member(builder).get(reverse("scan")).content.decode()

    assert not re.search(r"<script(?![^>]*\bsrc=)|<style|\bstyle=|\bon[a-z]+=", page)


def test_other_pages_load_nothing_of_it(as_member, builder, bag):
    assert "scan.css" not in as_member(builder).get(reverse("crates")).content.decode()
    assert "/static/scan/" not in as_member(builder).get(reverse("crates")).content.decode()


def test_worker_keeps_every_module_that_the_page_imports(client, bag):
    script = client.get(reverse("scan-worker")).content.decode()
    kept = set(re.findall(r"/static/scan/([a-z-]+\.js)", script))
    folder = offline._path("scan/page.js").parent
    imported = {name for name in kept for name in re.findall(r'from "\./([a-z-]+\.js)"', (folder / name).read_text())}

    assert imported | {"page.js"} == kept
    assert script.startswith('const VERSION = "')


def test_page_says_which_version_it_is_of(as_member, builder, bag):
    page = as_member(builder).get(reverse("scan"))

    assert f'const VERSION = "{page["Scan-Version"]}";' in as_member(builder).get(reverse("scan-worker")).content.decode()
    assert "no-store" in page["Cache-Control"]


@pytest.mark.parametrize("name", ["scan-worker", "scan-decoder"])
def test_scripts_are_open_and_always_asked_for_anew(client, db, name):
    answer = client.get(reverse(name))

    assert answer.status_code == HTTPStatus.OK
    assert answer["Content-Type"] == "text/javascript; charset=utf-8"
    assert answer["Cache-Control"] == "no-cache"
