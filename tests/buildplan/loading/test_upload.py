"""Loading a packing list on a page."""

from datetime import date
from decimal import Decimal
from html import unescape
from http import HTTPStatus
from io import BytesIO
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django_scopes import scopes_disabled
from openpyxl import Workbook

from inventory.claims.services import save_sender
from inventory.models import Crate, Identifier, PackingLine
from tests import factories, loads

GOOD = ["7A/1,12,AN470AD4-6,200", "7A,13,SEAL-B2,50", "7B,14,MS20470AD4-6,40"]

pytestmark = pytest.mark.usefixtures("catalogue")


@pytest.fixture
def keeper(as_member, storekeeper):
    return as_member(storekeeper)


def csv(*rows, name="list.csv"):
    return SimpleUploadedFile(name, "\n".join((loads.PACKING, *rows, "")).encode(), "text/csv")


def given(bench, **more):
    return {"bench": bench.pk, "crate": "C-7", "due_on": "2027-03-12", "request_key": str(uuid4()), "do": "look", **more}


def send(keeper, bench, **more):
    answer = keeper.post(reverse("load-crate"), given(bench, **more))
    return answer, unescape(answer.content.decode())


def again(answer, **more):
    """The form as the page shows it, sent again without choosing the file anew."""
    form = answer.context["form"]
    return {name: form[name].value() or "" for name in form.fields if name != "file"} | more


def test_the_form_offers_the_workshop_s_benches_alone(keeper, bench, outsider):
    body = keeper.get(reverse("load-crate")).content.decode()

    assert bench.name in body
    assert "OUTSIDE" not in body


def test_a_good_list_is_looked_at_before_it_is_loaded(keeper, bench):
    answer, body = send(keeper, bench, file=csv(*GOOD), printed_lines="4", printed_quantity="240")

    assert answer.status_code == HTTPStatus.OK
    assert "3 lines in 3 bags, into crate C-7" in body
    assert "1 fewer in the file" in body
    assert "240 ea, 50 g" in body
    assert not Crate.objects.exists()


def test_it_is_loaded_from_the_page_by_who_pressed(keeper, bench, owner, storekeeper):
    sender = save_sender(name="Marsh Kits", by=owner)
    looked, _ = send(keeper, bench, file=csv(*GOOD), printed_lines="4", printed_quantity="240", sender=sender.pk)

    answer = keeper.post(reverse("load-crate"), again(looked, do="load"))

    crate = Crate.objects.get()
    assert (answer.status_code, answer.url) == (HTTPStatus.FOUND, reverse("crate", args=[crate.pk]))
    assert (crate.code, crate.bench, crate.due_on, crate.sender) == ("C-7", bench, date(2027, 3, 12), sender)
    assert (crate.printed_lines, crate.printed_quantity) == (4, Decimal(240))
    assert sorted(crate.lines.values_list("number", "item__code", "quantity")) == [
        ("12", "MS20470AD4-6", 200),
        ("13", "SEAL-B2", 50),
        ("14", "MS20470AD4-6", 40),
    ]
    assert {row.history.first().history_user for row in (crate, *crate.lines.all())} == {storekeeper}


def test_pressed_twice_it_is_loaded_once(keeper, bench):
    looked, _ = send(keeper, bench, file=csv(*GOOD))
    form = again(looked, do="load")

    answers = [keeper.post(reverse("load-crate"), form) for _ in range(2)]

    assert [answer.url for answer in answers] == [reverse("crate", args=[Crate.objects.get().pk])] * 2
    assert PackingLine.objects.count() == 3


def test_every_bad_row_is_told_and_nothing_loaded(keeper, bench):
    answer, body = send(keeper, bench, do="load", file=csv("7A,1,AN470AD4-6,0", "7A,2,NOPE-9,3", ",3,SEAL-B2,x", *GOOD))

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    for told in ("list.csv:2: quantity", "list.csv:3: item", "list.csv:4: bag", "list.csv:4: quantity"):
        assert told in body
    assert "Load it into crate" not in body
    assert not Crate.objects.exists()


def test_an_unknown_code_is_taught_with_one_press_and_the_list_goes_on(keeper, bench):
    looked, body = send(keeper, bench, file=csv("7A,1,AN470AD4-6B,10", "7A,2,AN470AD4-6B,10"))
    assert 'value="item=MS20470AD4-6&text=AN470AD4-6B"' in body

    for _ in range(2):  # pressed twice
        taught = keeper.post(reverse("load-crate"), again(looked, teach="item=MS20470AD4-6&text=AN470AD4-6B"))
        assert taught.status_code == HTTPStatus.OK
        assert "can be loaded" in taught.content.decode()

    assert Identifier.objects.filter(text="AN470AD4-6B", item__code="MS20470AD4-6").count() == 1
    keeper.post(reverse("load-crate"), again(taught, do="load"))
    assert PackingLine.objects.filter(item__code="MS20470AD4-6").count() == 2


@pytest.mark.parametrize(
    "teach", ["item=OUTSIDE-ITEM&text=X", "item=&text=X", "nonsense", "item=SEAL-B2&text=AN470AD4-6", "item=SEAL-B2&text="]
)
def test_what_cannot_be_taught_is_said(keeper, bench, teach):
    before = Identifier.objects.count()
    looked, _ = send(keeper, bench, file=csv(*GOOD))

    answer = keeper.post(reverse("load-crate"), again(looked, teach=teach))

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert answer.context["form"].errors
    assert Identifier.objects.count() == before


def test_a_workbook_is_read_as_well(keeper, bench):
    book = Workbook()
    book.active.title = "packing"
    for row in (loads.PACKING.split(","), ["7A", "1", "SEAL-B2", 50]):
        book.active.append(row)
    data = BytesIO()
    book.save(data)

    answer, body = send(keeper, bench, file=SimpleUploadedFile("book.xlsx", data.getvalue()))

    assert answer.status_code == HTTPStatus.OK
    assert "1 line in 1 bag, into crate C-7" in body


@pytest.mark.parametrize(
    ("file", "told"),
    [
        (SimpleUploadedFile("list.pdf", b"%PDF-1.7 x"), "list.pdf"),
        (SimpleUploadedFile("list.xlsx", b"PK\x03\x04 torn"), "list.xlsx"),
        (SimpleUploadedFile("list.csv", b"\x00\x01\x02"), "list.csv"),
        (SimpleUploadedFile("list.csv", b"bag;line\n"), "list.csv"),
    ],
)
def test_what_is_no_list_is_refused(keeper, bench, file, told):
    file.seek(0)
    answer, body = send(keeper, bench, file=file)

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert told in body


@pytest.mark.parametrize(
    "kept",
    [{}, {"kept": "nothing that was signed here"}, {"kept": "../../etc/x.csv"}],
)
def test_a_form_without_its_file_is_refused(keeper, bench, kept):
    answer, _ = send(keeper, bench, **kept)

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert not Crate.objects.exists()


def test_a_crate_that_has_lines_is_refused(keeper, bench):
    crate = factories.CrateFactory(bench=bench, code="C-7")
    factories.PackingLineFactory(crate=crate)

    answer, body = send(keeper, bench, do="load", file=csv(*GOOD))

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "C-7 has packing lines already" in body


def test_another_workshop_s_bench_is_none(keeper, bench, outsider):
    with scopes_disabled():
        theirs = outsider.benches.get()
    answer, _ = send(keeper, theirs, do="load", file=csv(*GOOD))

    assert "bench" in answer.context["form"].errors


def test_only_who_keeps_stock_may_load(as_member, builder):
    assert as_member(builder).get(reverse("load-crate")).status_code == HTTPStatus.FORBIDDEN


def test_looking_takes_no_query_for_each_row(keeper, bench):
    def count(*rows):
        with CaptureQueriesContext(connection) as found:
            send(keeper, bench, file=csv(*rows))
        return len(found)

    count(*GOOD)

    assert count(*GOOD) == count(*GOOD, *(f"7A,{at},SEAL-B2,5" for at in range(100, 130)))
