"""Files of every kind by page: chosen, their columns named, looked at, loaded; what is wrong is told at once and what was typed stays."""

from dataclasses import dataclass
from datetime import date
from html import unescape
from http import HTTPStatus
from io import BytesIO
from typing import Any
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django_scopes import scopes_disabled

from buildplan.loading import example, job_files
from buildplan.loading.tables import KINDS
from buildplan.models import CallOut, ColumnMemory, LoadedFile, LoadJob, Step
from inventory.models import Crate, Holding, Identifier, Item, PackingLine
from tests import factories, loads

pytestmark = pytest.mark.django_db

KEPT = {"bench", "project", "crate", "due_on", "recount", "remove_missing"}


@dataclass
class Pages:
    """The pages of loading, as a member presses their buttons."""

    client: Any

    def choose(self, kind, *files, **given):
        """Send files, and give the job that keeps them."""
        answer = self.client.post(f"{reverse('load')}?kind={kind}", {"files": list(files), "key": str(uuid4()), **given})
        assert answer.status_code == HTTPStatus.FOUND, answer.context["form"].errors
        return LoadJob.objects.latest("pk")

    def press(self, job, do, **changes):
        """Press a button of a job's page as it stands, with some of it changed; the answer and its text."""
        job.refresh_from_db()
        answer = self.client.post(reverse("load-job", args=[job.pk]), {"do": do, **form_of(job), **changes})
        job.refresh_from_db()
        return answer, unescape(answer.content.decode())

    def see(self, job):
        return unescape(self.client.get(reverse("load-job", args=[job.pk])).content.decode())


def form_of(job):
    """What the job's page sends as it stands."""
    sent = {name: value for name, value in job.choices.items() if value and name in KEPT}
    for table, (file, sheet) in job.choices["tables"].items():
        sent[f"table-{table}"] = f"{file}.{sheet}"
    for table, (positions, said) in job.choices["columns"].items():
        sent |= {f"col-{table}-{name}": at for name, at in positions.items()}
        sent |= {f"all-{table}-{name}": text for name, text in said.items()}
    return sent


@pytest.fixture
def pages(as_member, storekeeper, bench):
    return Pages(as_member(storekeeper))


@pytest.fixture
def items(workshop):
    for code, kind, unit in (("MS20470AD4-6", "rivet", "ea"), ("SEAL-B2", "sealant", "g")):
        item = factories.ItemFactory(workshop=workshop, code=code, kind=kind, unit=unit)
        Identifier.objects.get_or_create(workshop=workshop, item=item, defaults={"text": code, "key": code})


def csv(name, *lines):
    return SimpleUploadedFile(name, lines[0] if isinstance(lines[0], bytes) else "\n".join(lines).encode())


def test_catalogue_of_other_names_is_loaded_and_its_columns_are_remembered(pages, workshop):
    job = pages.choose(
        "catalogue", csv("parts.csv", "Part No.;Description;Remark;Packed in", "AN960-10;Washer;;100", "AN960-416;Washer;new;0,5")
    )
    text = pages.see(job)
    assert "this must be known" in text  # kind and unit, which the file hasn't
    assert "Not read:" in text

    looked, text = pages.press(job, "look", **{"all-catalogue-kind": "fastener", "all-catalogue-unit": "ea", "col-catalogue-pack": "3"})
    assert (looked.status_code, Item.objects.exists()) == (HTTPStatus.OK, False)
    assert "It can be loaded" in text

    pages.press(job, "load")
    assert (job.state, job.result["loaded"]["items"]) == ("done", 2)
    assert set(Item.objects.values_list("code", "kind", "unit", "pack")) == {
        ("AN960-10", "fastener", "ea", 100),
        ("AN960-416", "fastener", "ea", 0.5),
    }
    assert not job_files.are_there(job)
    assert "parts.csv is loaded" in pages.see(job)

    assert ColumnMemory.objects.get().titles == {"item": "Part No.", "name": "Description", "pack": "Packed in"}
    again = pages.choose("catalogue", csv("more.csv", "Packed in,Description,Part No.", "1,Nut,AN365-10"))
    assert again.choices["columns"]["catalogue"] == [{"item": 2, "name": 1, "pack": 0}, {"kind": "fastener", "unit": "ea"}]
    assert "as last time" in pages.see(again)


def test_every_bad_row_is_told_at_once_by_row_and_both_names_of_its_column(pages, items, bench):
    job = pages.choose("stock", csv("s.csv", "Part No.,Qty,Bin", "NOPE,1,A", "SEAL-B2,-4,A", "SEAL-B2,5,"), bench=bench.pk)

    answer, text = pages.press(job, "load")

    assert (answer.status_code, job.state) == (HTTPStatus.UNPROCESSABLE_ENTITY, "failed")
    assert "s.csv:2: item ('Part No.'): 'NOPE' is no code" in text
    assert "s.csv:3: quantity ('Qty'): " in text
    assert "s.csv:4: place ('Bin'): " in text
    assert not Holding.objects.exists()


def test_stock_of_other_names_is_loaded_at_one_place(pages, items, bench):
    job = pages.choose("stock", csv("s.csv", "Part No.,Qty", "SEAL-B2,5", "MS20470AD4-6,40"), bench=bench.pk)

    pages.press(job, "load", **{"all-stock-place": "Hangar/Rack 1"})

    assert job.state == "done"
    assert set(Holding.objects.filter(quantity__gt=0).values_list("lot__item__code", "quantity", "place__path")) == {
        ("SEAL-B2", 5, "Hangar/Rack 1"),
        ("MS20470AD4-6", 40, "Hangar/Rack 1"),
    }


def test_same_stock_again_is_refused_in_the_words_of_the_page(pages, items, bench):
    lines = (loads.STOCK, "SEAL-B2,5,Fridge")
    pages.press(pages.choose("stock", csv("s.csv", *lines), bench=bench.pk), "load")

    job = pages.choose("stock", csv("s.csv", *lines), bench=bench.pk)
    answer, text = pages.press(job, "load")

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert 'to say how much lies where, tick "The file says how much lies where"' in text
    pages.press(job, "load", recount="on")
    assert (job.state, Holding.objects.get(quantity__gt=0).quantity) == ("done", 5)


def test_plan_of_several_files_is_put_together_by_their_names(pages, items, bench):
    steps = csv("tern-steps.csv", "Step,Section,Title,Depends on", "F1,Floats,Rivet it,", "F2,Floats,Seal it,F1")
    needs = csv("needs.csv", "Step,Part,Qty", "F1,MS20470AD4-6,40", "F2,SEAL-B2,25")
    job = pages.choose("plan", needs, steps, bench=bench.pk, project="TERN-1")
    assert job.choices["tables"] == {"steps": [1, 0], "needs": [0, 0]}
    assert "2 steps" not in pages.see(job)

    pages.press(job, "load")

    assert job.state == "done"
    assert list(Step.objects.order_by("position").values_list("code", "section__name")) == [("F1", "Floats"), ("F2", "Floats")]
    assert set(CallOut.objects.values_list("step__code", "quantity")) == {("F1", 40), ("F2", 25)}
    assert reverse("order-sheet", args=["TERN-1"]) in pages.see(job)


def test_plan_in_one_book_takes_the_sheets_that_are_chosen(pages, items, bench, tmp_path):
    book = loads.book(tmp_path / "b.xlsx", Tabelle1=[loads.STEPS, "F1,Floats,Rivet it"], Tabelle2=[loads.NEEDS, "F1,SEAL-B2,25"])
    job = pages.choose("plan", SimpleUploadedFile("b.xlsx", book.read_bytes()), bench=bench.pk, project="TERN-1")
    assert "say which file or sheet holds it" in pages.see(job)

    twice, text = pages.press(job, "look", **{"table-steps": "0.0", "table-needs": "0.0"})
    assert twice.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "one table a sheet" in text

    pages.press(job, "load", **{"table-steps": "0.0", "table-needs": "0.1"})
    assert (job.state, CallOut.objects.get().quantity) == ("done", 25)


def test_packing_list_is_taught_a_code_and_loaded_into_its_crate(pages, items, bench):
    job = pages.choose(
        "packing", csv("p.csv", "Box,Pos,Part No.,Qty", "7A,1,MS20470AD46X,200"), bench=bench.pk, crate="C-7", due_on="2027-04-01"
    )
    assert "MS20470AD46X means MS20470AD4-6" in pages.see(job)

    pages.press(job, "look", teach="item=MS20470AD4-6&text=MS20470AD46X")
    pages.press(job, "load")

    assert (job.state, PackingLine.objects.get().quantity) == ("done", 200)
    assert Crate.objects.get().due_on == date(2027, 4, 1)
    assert reverse("crate", args=[Crate.objects.get().pk]) in pages.see(job)


def test_two_of_ours_from_one_of_theirs_are_refused_and_what_was_typed_stays(pages, items, bench):
    job = pages.choose("stock", csv("s.csv", "Part No.,Qty,Bin", "SEAL-B2,5,A"), bench=bench.pk)

    answer, text = pages.press(job, "load", **{"col-stock-lot": "1", "all-stock-unit": "kg"})

    assert (answer.status_code, job.state) == (HTTPStatus.UNPROCESSABLE_ENTITY, "chosen")
    assert "Qty is taken for quantity already" in text
    assert 'value="kg"' in text


def test_windows_1252_is_warned_of(pages, bench):
    job = pages.choose("catalogue", csv("c.csv", f"{loads.CATALOGUE}\nAN960-10,Unterlegscheibe f\xfcr 10,fastener,ea\n".encode("cp1252")))

    assert "Windows-1252" in pages.see(job)
    pages.press(job, "load")
    assert (Item.objects.get().name, job.state) == ("Unterlegscheibe für 10", "done")
    assert "Windows-1252" in pages.see(job)


def test_row_of_the_wrong_width_is_told_though_columns_are_named(pages, items, bench):
    job = pages.choose("stock", csv("s.csv", "Part No.,Qty,Bin", "SEAL-B2,5", "SEAL-B2,5,A,B"), bench=bench.pk)
    _, text = pages.press(job, "look")
    assert "s.csv:2: too short: 2 cells where the header has 3" in text
    assert "s.csv:3: too long: 4 cells where the header has 3" in text


@pytest.mark.parametrize(
    ("file", "said"),
    [
        (csv("x.csv", b""), "is empty"),
        (csv("x.xlsx", b"\x89PNG\r\n\x1a\n"), "is a picture by its content"),
        (csv("x.ods", b"PK\x03\x04"), "is neither .csv nor .xlsx"),
    ],
)
def test_file_that_is_no_list_is_refused_at_once(pages, file, said):
    answer = pages.client.post(f"{reverse('load')}?kind=catalogue", {"files": [file], "key": str(uuid4())})
    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert said in unescape(answer.content.decode())
    assert not LoadJob.objects.exists()


def test_broken_book_says_so_and_can_be_chosen_anew(pages):
    job = pages.choose("catalogue", SimpleUploadedFile("x.xlsx", BytesIO(b"PK\x03\x04broken").read()))
    assert "is no XLSX workbook" in pages.see(job)
    answer, _ = pages.press(job, "load")
    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY


def test_same_form_sent_twice_keeps_one_file(pages):
    key = str(uuid4())
    sent = [
        pages.client.post(f"{reverse('load')}?kind=catalogue", {"files": [csv("c.csv", loads.CATALOGUE, loads.SEALANT)], "key": key})
        for _ in "ab"
    ]
    assert sent[0].url == sent[1].url
    assert LoadJob.objects.count() == 1


def test_load_pressed_twice_loads_once(pages, items, bench):
    job = pages.choose("stock", csv("s.csv", loads.STOCK, "SEAL-B2,5,Fridge"), bench=bench.pk)
    pages.press(job, "load")
    again, _ = pages.press(job, "load")
    assert again.status_code == HTTPStatus.FOUND
    assert (Holding.objects.get(quantity__gt=0).quantity, LoadedFile.objects.count()) == (5, 1)


def test_files_that_are_gone_are_asked_for_again(pages):
    job = pages.choose("catalogue", csv("c.csv", loads.CATALOGUE, loads.SEALANT))
    job_files.forget(job)
    assert "Its files are no longer kept." in pages.see(job)
    answer, text = pages.press(job, "load")
    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "no longer kept" in text


def test_job_of_another_workshop_is_not_there(pages, outsider):
    with scopes_disabled():
        theirs = factories.LoadJobFactory(by=outsider.members.first())
    address = reverse("load-job", args=[theirs.pk])
    assert pages.client.get(address).status_code == HTTPStatus.NOT_FOUND
    assert pages.client.post(address, {"do": "load"}).status_code == HTTPStatus.NOT_FOUND


def test_empty_file_and_example_of_each_table_load_as_they_are(pages):
    for table in {name for names in KINDS.values() for name in names} & {*example.FILES}:
        empty = pages.client.get(f"{reverse('load-columns')}?table={table}")
        filled = pages.client.get(f"{reverse('load-columns')}?table={table}&filled=1").content.decode()
        assert empty.headers["Content-Disposition"] == f'attachment; filename="{table}.csv"'
        assert set(filled.splitlines()[0].lower().split(",")) <= set(empty.content.decode().strip().lower().split(","))
        assert len(filled.splitlines()) > 1
    assert pages.client.get(f"{reverse('load-columns')}?table=members").status_code == HTTPStatus.NOT_FOUND


def test_pages_take_as_many_queries_for_many_loads_as_for_one(pages, storekeeper, queries_of):
    first = pages.choose("catalogue", csv("c.csv", loads.CATALOGUE, "FLT.1,Part,part,ea"))
    counted = [queries_of(storekeeper, reverse("load")), queries_of(storekeeper, reverse("load-job", args=[first.pk]))]
    many = pages.choose("catalogue", csv("m.csv", loads.CATALOGUE, *(f"FLT.{n},Part,part,ea" for n in range(20))))
    for _ in range(4):
        pages.choose("catalogue", csv("c.csv", loads.CATALOGUE, loads.SEALANT))
    assert [queries_of(storekeeper, reverse("load")), queries_of(storekeeper, reverse("load-job", args=[many.pk]))] == counted
