"""The page that loads a packing list: what is kept between its steps, and what it is never given."""

import zipfile
from datetime import timedelta
from html import unescape
from http import HTTPStatus
from io import BytesIO
from pathlib import Path
from uuid import uuid4

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone
from django_scopes import scopes_disabled

from buildplan.loading import kept_files, sent_files
from inventory.claims.services import save_sender
from inventory.models import Crate, PackingLine
from tests import factories, loads

ADDRESS = "/crates/load/"
GOOD = ("7A/1,12,AN470AD4-6,200", "7A,13,SEAL-B2,50", "7B,14,MS20470AD4-6,40")

pytestmark = pytest.mark.usefixtures("catalogue")


@pytest.fixture
def keeper(as_member, storekeeper):
    return as_member(storekeeper)


@pytest.fixture
def kept(settings):
    """How many files are kept."""
    return lambda: len(list((Path(settings.MEDIA_ROOT) / kept_files.FOLDER).glob("*")))


def csv(*rows, name="list.csv"):
    return SimpleUploadedFile(name, "\n".join((loads.PACKING, *rows, "")).encode(), "text/csv")


def send(client, bench, **more):
    answer = client.post(ADDRESS, {"bench": bench.pk, "crate": "C-7", "request_key": str(uuid4()), "do": "look", **more})
    return answer, unescape(answer.content.decode())


def again(answer, **more):
    """The form as the page shows it, without a file."""
    form = answer.context["form"]
    return {name: form[name].value() or "" for name in form.fields if name != "file"} | more


def press(client, answer, **more):
    found = client.post(ADDRESS, again(answer, **more))
    return found, unescape(found.content.decode())


class TestTheKeptFile:
    def test_it_goes_once_it_is_loaded(self, keeper, bench, kept):
        looked, _ = send(keeper, bench, file=csv(*GOOD))
        assert kept() == 1

        press(keeper, looked, do="load")
        assert (kept(), PackingLine.objects.count()) == (0, 3)

    def test_it_stays_where_another_field_is_wrong(self, keeper, bench):
        wrong, _ = send(keeper, bench, file=csv(*GOOD), due_on="soon")
        assert wrong.status_code == HTTPStatus.UNPROCESSABLE_ENTITY

        right, body = press(keeper, wrong, due_on="2027-03-12")
        assert right.status_code == HTTPStatus.OK
        assert "list.csv can be loaded" in body

    def test_another_file_takes_its_place(self, keeper, bench, kept):
        first, _ = send(keeper, bench, file=csv(*GOOD))

        second, body = press(keeper, first, file=csv(*GOOD[:1], name="mended.csv"))
        assert "mended.csv can be loaded" in body
        assert kept() == 1
        press(keeper, second, do="load")
        assert PackingLine.objects.count() == 1

    def test_it_is_not_found_by_another_member(self, keeper, as_member, owner, bench):
        looked, _ = send(keeper, bench, file=csv(*GOOD))

        answer, body = press(as_member(owner), looked, do="load")
        assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "choose it again" in body
        assert not Crate.objects.exists()

    def test_it_is_gone_after_an_hour(self, keeper, bench):
        looked, _ = send(keeper, bench, file=csv(*GOOD))

        with time_machine.travel(timezone.now() + timedelta(minutes=61), tick=True):
            answer, body = press(keeper, looked, do="load")
        assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "the file is kept for an hour, and gone once it is loaded: choose it again" in body
        assert not Crate.objects.exists()

    def test_its_name_is_a_name_and_nothing_else(self, keeper, bench):
        _, body = send(keeper, bench, file=csv("7A,1,NOPE,1", name="a<b>\x07/../x.csv"))

        assert "x.csv:2: item" in body
        assert "\x07" not in body


class TestLoading:
    def test_it_leads_to_the_crate_and_the_order_of_counting(self, keeper, bench):
        looked, _ = send(keeper, bench, file=csv(*GOOD))

        answer = keeper.post(ADDRESS, again(looked, do="load"), follow=True)
        crate = Crate.objects.get()
        assert answer.redirect_chain == [(reverse("crate", args=[crate.pk]), HTTPStatus.FOUND)]
        body = answer.content.decode()
        assert "3 lines in 3 bags are listed in C-7 now." in body
        assert f'<a href="{reverse("crate-order", args=[crate.pk])}">Which bag to count first</a>' in body

    def test_a_file_that_nobody_has_looked_at_is_looked_at_first(self, keeper, bench):
        looked, _ = send(keeper, bench, file=csv(*GOOD))

        answer, body = press(keeper, looked, do="load", file=csv(*GOOD[:1]))
        assert answer.status_code == HTTPStatus.OK
        assert "1 line in 1 bag, into crate C-7" in body
        assert not Crate.objects.exists()

    def test_pressed_again_it_leads_to_what_was_loaded(self, keeper, bench):
        looked, _ = send(keeper, bench, file=csv(*GOOD))
        form = again(looked, do="load")

        first, second = (keeper.post(ADDRESS, form) for _ in range(2))
        assert (second.status_code, second.url) == (HTTPStatus.FOUND, first.url)
        assert PackingLine.objects.count() == 3

    def test_a_form_gone_back_to_loads_another_crate(self, keeper, bench):
        looked, _ = send(keeper, bench, file=csv(*GOOD))
        press(keeper, looked, do="load")

        other, _ = press(keeper, looked, crate="C-8", file=csv(*GOOD[:1]))
        answer, _ = press(keeper, other, do="load")
        assert answer.url == reverse("crate", args=[Crate.objects.get(code="C-8").pk])
        assert sorted(crate.lines.count() for crate in Crate.objects.all()) == [1, 3]

    def test_a_crate_that_has_lines_is_refused_with_a_link_to_it(self, keeper, bench):
        crate = factories.CrateFactory(bench=bench, code="C-7")
        factories.PackingLineFactory(crate=crate)
        before = loads.row_counts()

        answer, body = send(keeper, bench, crate=" c-7", file=csv(*GOOD))
        assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "crate C-7 has packing lines already: a list is loaded once" in body
        assert f'<a href="{reverse("crate", args=[crate.pk])}">Crate C-7</a>' in body
        assert loads.row_counts() == before

    def test_it_fills_a_crate_that_is_there_and_empty(self, keeper, bench):
        crate = factories.CrateFactory(bench=bench, code="C-7")
        looked, _ = send(keeper, bench, file=csv(*GOOD))

        answer, _ = press(keeper, looked, do="load")
        assert answer.url == reverse("crate", args=[crate.pk])

    def test_a_crate_of_another_bench_is_refused(self, keeper, bench, other_bench):
        factories.CrateFactory(bench=other_bench, code="C-7")

        _, body = send(keeper, bench, file=csv(*GOOD))
        assert "crate C-7 belongs to bench PLOVER, not to TERN" in body


def test_looking_writes_no_row_whatever_the_list_says(keeper, bench):
    before = loads.row_counts()

    for rows in (GOOD, ("7A,1,NOPE,5",), ("7A,1,SEAL-B2,0",)):
        send(keeper, bench, file=csv(*rows), printed_lines="9")
    assert loads.row_counts() == before


def test_totals_that_differ_are_told_from_the_form_and_from_the_file(keeper, bench):
    _, body = send(keeper, bench, file=csv(*GOOD, "7A,total,,251"), printed_lines="4", printed_quantity="241")

    assert "list.csv can be loaded" in body
    assert "list.csv: the printed number of lines is 4, and the file has 3, 1 fewer" in body
    assert "list.csv:5: quantity: the printed total of bag 7A is 251, and the lines add up to 200 ea and 50 g" in body
    assert '<strong class="warn">1 fewer in the file</strong>' in body


def test_total_of_all_in_the_file_stands_beside_what_was_added_up(keeper, bench):
    looked, _ = send(keeper, bench, file=csv(*GOOD, ",total,,240"))

    totals = {total.what: (total.printed, total.computed, total.difference) for total in looked.context["found"].totals}
    assert totals == {"Lines": (None, "3", ""), "Bags": (None, "3", ""), "Pieces": ("240", "240 ea, 50 g", "")}


def test_codes_past_the_first_thirty_are_counted(keeper, bench):
    _, body = send(keeper, bench, file=csv(*(f"7A,{number},SEAL-B2-{number},5" for number in range(34))))

    assert body.count(" means SEAL-B2</button>") == 30
    assert "And 4 more" in body


def workbook(**parts):
    data = BytesIO()
    with zipfile.ZipFile(data, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return data.getvalue()


@pytest.mark.parametrize(
    ("name", "data", "told"),
    [
        ("list.csv", b"", "list.csv is empty"),
        ("list.csv", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "list.csv is a picture by its content"),
        ("list.xlsm", workbook(book="x"), "list.xlsm is a workbook with macros: save it as .xlsx, without them"),
        ("list.xlsx", workbook(**{"xl/vbaProject.bin": "x"}), "list.xlsx is a workbook with macros"),
        ("list.txt", b"bag,line", "list.txt is neither .csv nor .xlsx: save it as one of these"),
        ("list.csv", b"x" * (sent_files.MOST_BYTES + 1), "list.csv has 10.0 MB, and 10 MB are the most"),
    ],
)
@pytest.mark.parametrize("do", ["look", "load"])
def test_what_is_no_packing_list_is_not_even_kept(keeper, bench, kept, name, data, told, do):
    before = loads.row_counts()

    answer, body = send(keeper, bench, file=SimpleUploadedFile(name, data), do=do)
    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert told in body
    assert (kept(), loads.row_counts()) == (0, before)


def test_sender_of_another_workshop_is_none(keeper, bench, outsider, owner):
    with scopes_disabled():
        member = factories.MemberFactory(workshop=outsider)
        theirs = save_sender(name="OUTSIDE sender", by=member)
    save_sender(name="Marsh Kits", by=owner)

    answer, body = send(keeper, bench, file=csv(*GOOD), sender=theirs.pk)
    assert "sender" in answer.context["form"].errors
    assert "Marsh Kits" in body
    assert "OUTSIDE" not in body


def test_code_of_the_outsider_is_not_near(keeper, bench, outsider):
    _, body = send(keeper, bench, file=csv("7A,1,OUTSIDE-ITEM,5"))

    assert "list.csv:2: item: 'OUTSIDE-ITEM' is no code of the catalogue" in body
    assert "means OUTSIDE" not in body


def test_builder_may_send_nothing(as_member, builder, bench, kept):
    answer, _ = send(as_member(builder), bench, file=csv(*GOOD), do="load")

    assert answer.status_code == HTTPStatus.FORBIDDEN
    assert (kept(), Crate.objects.count()) == (0, 0)
    assert "Load a packing list" not in as_member(builder).get(reverse("crates")).content.decode()


def test_crates_page_leads_to_it(keeper, bench):
    assert f'<a href="{ADDRESS}">Load a packing list</a>' in keeper.get(reverse("crates")).content.decode()
