"""Loading a packing list by a program."""

import zipfile
from datetime import date
from decimal import Decimal
from http import HTTPStatus
from io import BytesIO
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django_scopes import scopes_disabled

from buildplan.loading import sent_files
from buildplan.models import LoadedFile
from inventory.claims.services import save_sender
from inventory.models import Crate, PackingLine
from tests import factories, loads

ADDRESS = "/api/v1/packing-lists"
GOOD = ("7A/1,12,AN470AD4-6,200", "7A,13,SEAL-B2,50", "7B,14,MS20470AD4-6,40")

pytestmark = pytest.mark.usefixtures("catalogue")


@pytest.fixture
def program(as_device, storekeeper):
    return as_device(storekeeper, "manage")


def csv(*rows, name="list.csv"):
    return SimpleUploadedFile(name, "\n".join((loads.PACKING, *rows, "")).encode(), "text/csv")


def book(**parts):
    """A zip file of these parts, which calls itself a workbook."""
    data = BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return data.getvalue()


def send(client, file, *, key=None, **more):
    headers = {"idempotency-key": key} if key else {}
    return client.post(ADDRESS, {"file": file, "crate": "C-7", "bench": "TERN", **more}, headers=headers)


def test_list_is_loaded_by_the_device_s_member(program, bench, owner, storekeeper):
    sender = save_sender(name="Marsh Kits", by=owner)

    answer = send(program, csv(*GOOD), due="2027-03-12", sender="marsh kits", printed_lines="3", printed_quantity="290")

    crate = Crate.objects.get()
    assert answer.status_code == HTTPStatus.CREATED
    assert answer.json() == {"loaded": {"lines": 3, "bags": 3, "made": ["crate C-7"]}, "warnings": [], "errors": []}
    assert answer["Location"] == reverse("api-crate", args=[crate.pk])
    assert (crate.bench, crate.due_on, crate.sender) == (bench, date(2027, 3, 12), sender)
    assert (crate.printed_lines, crate.printed_quantity) == (3, Decimal(290))
    assert (LoadedFile.objects.get(kind="packing").name, LoadedFile.objects.get(kind="packing").by) == ("list.csv", storekeeper)
    assert {line.history.get().history_user for line in crate.lines.all()} == {storekeeper}


def test_dry_run_says_the_same_and_writes_nothing(program, bench):
    before = loads.row_counts()

    answer = send(program, csv(*GOOD), dry_run="true")

    assert answer.status_code == HTTPStatus.OK
    assert answer.json() == {
        "loaded": {"lines": 3, "bags": 3, "made": ["crate C-7"]},
        "warnings": [],
        "errors": [],
        "dry_run": True,
    }
    assert "Location" not in answer
    assert loads.row_counts() == before


@pytest.mark.parametrize("dry_run", ["true", "false"])
def test_faults_are_a_problem_document_that_says_all_of_them(program, bench, dry_run):
    before = loads.row_counts()

    answer = send(program, csv("7A,1,AN470AD4-6,0", "7A,2,NOPE,3", *GOOD), dry_run=dry_run, key=str(uuid4()))

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert answer["Content-Type"] == "application/problem+json"
    document = answer.json()
    assert (document["type"], document["status"]) == ("urn:rivetloft:problem:not-loaded", 422)
    assert [error.split(": ")[:2] for error in document["errors"]] == [["list.csv:2", "quantity"], ["list.csv:3", "item"]]
    assert document["warnings"] == []
    assert loads.row_counts() == before


def test_totals_that_differ_are_warnings(program, bench):
    answer = send(program, csv(*GOOD[:2], ",total,,251"), printed_lines="3", printed_quantity="249")

    assert answer.status_code == HTTPStatus.CREATED
    assert answer.json()["warnings"] == [
        "list.csv: the printed number of lines is 3, and the file has 2, 1 fewer: compare the file with the paper",
        "list.csv: the printed total is 249, and the lines add up to 200 ea and 50 g: compare the file with the paper",
        "list.csv:4: quantity: the printed total is 251, and the lines add up to 200 ea and 50 g: compare the file with the paper",
    ]


def test_same_key_loads_once_and_gets_the_first_answer(program, bench):
    key = str(uuid4())

    first, again = (send(program, csv(*GOOD), key=key) for _ in range(2))

    assert (first.status_code, again.status_code) == (HTTPStatus.CREATED, HTTPStatus.CREATED)
    assert (again.json(), again["Location"], again["Idempotent-Replay"]) == (first.json(), first["Location"], "true")
    assert PackingLine.objects.count() == 3


def test_same_key_with_another_file_is_refused(program, bench):
    key = str(uuid4())
    send(program, csv(*GOOD), key=key)

    answer = send(program, csv(*GOOD[:1]), key=key)

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "Idempotency-Key" in answer.json()["detail"]


def test_second_list_of_a_crate_is_refused(program, bench):
    send(program, csv(*GOOD))

    answer = send(program, csv("9,1,SEAL-B2,5"))

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert answer.json()["errors"] == ["crate C-7 has packing lines already: a list is loaded once"]
    assert PackingLine.objects.count() == 3


PNG = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR"
BOMB = b"\0" * (sent_files.MOST_UNPACKED + 1)


@pytest.mark.parametrize(
    ("name", "data", "told"),
    [
        ("list.csv", b"", "list.csv is empty"),
        ("list.csv", PNG, "list.csv is a picture by its content"),
        ("list.csv", b"\xff\xd8\xff\xe0\0\x10JFIF", "list.csv is a picture by its content"),
        ("list.csv", b"RIFF\x24\0\0\0WEBPVP8 ", "list.csv is a picture by its content"),
        ("list.xlsx", b"\0\0\0\x18ftypheic", "list.xlsx is a picture by its content"),
        ("list.pdf", b"%PDF-1.7\n", "list.pdf is a PDF by its content"),
        ("list.txt", b"bag,line,item,quantity\n7A,1,SEAL-B2,5\n", "list.txt is neither .csv nor .xlsx"),
        ("list", b"bag,line,item,quantity\n7A,1,SEAL-B2,5\n", "list is neither .csv nor .xlsx"),
        ("list.xlsm", book(workbook="x"), "list.xlsm is a workbook with macros"),
        ("list.xlsx", book(**{"xl/vbaProject.bin": "x"}), "list.xlsx is a workbook with macros"),
        ("list.xlsx", b"PK\x03\x04 torn", "list.xlsx: is no XLSX workbook"),
        ("list.xlsx", b"\xd0\xcf\x11\xe0 old", "list.xlsx: is an old .xls"),
        ("list.csv", book(workbook="x"), "list.csv:1: is an XLSX workbook by its content"),
        ("list.csv", b"bag,line,item,quantity\n", "list.csv:1: a header alone"),
        ("list.csv", b"BM,line,item,quantity\n7A,1,SEAL-B2,5\n", "list.csv:1: bm: no such column"),
        ("../../etc/\nlist.csv", b"bag\n", "list.csv:1: line: this column is missing"),
    ],
)
def test_what_is_no_packing_list_is_told_so_and_nothing_written(program, bench, name, data, told):
    before = loads.row_counts()

    answer = send(program, SimpleUploadedFile(name, data) if data else SimpleUploadedFile(name, b""))

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert any(told in error for error in answer.json()["errors"])
    assert loads.row_counts() == before


@pytest.mark.parametrize(
    ("name", "data", "told"),
    [
        ("list.csv", b"x" * (sent_files.MOST_BYTES + 1), "10 MB are the most"),
        ("list.csv", b"bag,line,item,quantity" + b"\n" * (sent_files.MOST_LINES + 1), "over 100000 lines"),
        ("list.xlsx", book(**{"xl/worksheets/sheet1.xml": BOMB}), "100 MB when unpacked"),
    ],
)
def test_what_is_too_large_is_told_so(program, bench, name, data, told):
    answer = send(program, SimpleUploadedFile(name, data))

    assert answer.status_code == HTTPStatus.REQUEST_ENTITY_TOO_LARGE
    assert told in answer.json()["detail"]


def test_list_with_too_many_rows_is_refused(program, bench):
    rows = (f"7A,{number},SEAL-B2,5" for number in range(sent_files.MOST_ROWS + 1))

    answer = send(program, csv(*rows))

    assert answer.json()["errors"] == ["the list has over 10000 rows: split it, one crate a list"]
    assert not Crate.objects.exists()


@pytest.mark.parametrize("missing", ["file", "crate", "bench"])
def test_what_is_missing_is_named(program, bench, missing):
    body = {"file": csv(*GOOD), "crate": "C-7", "bench": "TERN"}
    del body[missing]

    answer = program.post(ADDRESS, body)

    assert answer.status_code == HTTPStatus.BAD_REQUEST
    assert list(answer.json()["errors"]) == [missing]


@pytest.mark.parametrize("more", [{"due": "2027-02-30"}, {"printed_lines": "-1"}, {"printed_quantity": "0.0001"}, {"dry_run": "perhaps"}])
def test_what_does_not_read_is_refused(program, bench, more):
    assert send(program, csv(*GOOD), **more).status_code == HTTPStatus.BAD_REQUEST


def test_json_is_no_way_to_send_a_file(program):
    answer = program.post(ADDRESS, {"crate": "C-7"}, content_type="application/json")

    assert answer.status_code == HTTPStatus.UNSUPPORTED_MEDIA_TYPE


def test_bench_or_sender_of_another_workshop_is_not_found(program, bench, outsider):
    with scopes_disabled():
        factories.MemberFactory(workshop=outsider)
    assert send(program, csv(*GOOD), bench="OUTSIDE-BENCH").status_code == HTTPStatus.NOT_FOUND
    assert send(program, csv(*GOOD), sender="OUTSIDE sender").status_code == HTTPStatus.NOT_FOUND


def test_crate_code_of_another_workshop_is_a_crate_of_ours(program, bench, outsider):
    assert send(program, csv(*GOOD), crate="OUTSIDE-CRATE").status_code == HTTPStatus.CREATED
    with scopes_disabled():
        assert PackingLine.objects.filter(workshop=outsider).count() == 1


def test_builder_may_not_load(as_member, builder, bench):
    answer = send(as_member(builder), csv(*GOOD))

    assert answer.status_code == HTTPStatus.FORBIDDEN
    assert not Crate.objects.exists()


def test_token_without_manage_may_not_load(as_device, storekeeper, bench):
    assert send(as_device(storekeeper, "read", "scan"), csv(*GOOD)).status_code == HTTPStatus.FORBIDDEN


def test_forty_rows_take_as_many_queries_as_two(program, bench):
    def count(crate, *rows):
        with CaptureQueriesContext(connection) as found:
            assert send(program, csv(*rows), crate=crate).status_code == HTTPStatus.CREATED
        return len(found)

    count("FIRST", "7A,1,SEAL-B2,5")  # the device is seen, once a minute
    few = count("FEW", "7A,1,SEAL-B2,5", "7B,1,AN470AD4-6,5")
    assert count("MANY", *(f"7{number % 9},{number},SEAL-B2,5" for number in range(40))) == few
