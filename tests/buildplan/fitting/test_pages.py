"""The pages and the API of hands, conflicts and assemblies."""

import csv
import json
from http import HTTPStatus
from uuid import uuid4

import pytest
from django.urls import reverse
from django_scopes import scopes_disabled

from buildplan.fitting import queries, services
from buildplan.fitting.models import Assembly, Conflict, Mark, MirrorPair
from inventory.models import Item
from tests import factories
from tests.buildplan.fitting.conftest import READINGS, TODAY
from tests.buildplan.fitting.test_assemblies import at, put
from tests.inventory.labels.sheets import words

DAY = "2026-01-02"


@pytest.fixture
def post(as_member, builder):
    """What a form of a page answers to the builder."""

    def post(page, *args, **said):
        return as_member(builder).post(reverse(page, args=args), said)

    return post


@pytest.fixture
def send(as_member, builder):
    """What the API answers to the builder."""

    def send(method, name, *args, body=None, **headers):
        return as_member(builder).generic(
            method, reverse(name, args=args), json.dumps(body), content_type="application/json", headers=headers
        )

    return send


def test_conflict_recorded_answered_settled_and_reopened_by_pages(post, step, item, as_member, builder):
    bad = post("new-conflict", "TERN-1", **READINGS, steps="F1, NONE", items="NO-SUCH", key=uuid4())
    assert bad.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "There is no step NONE in this plan." in bad.content.decode()
    assert "There is no item NO-SUCH." in bad.content.decode()
    assert "sheet 4, view B" in bad.content.decode()

    key = uuid4()
    for _ in range(2):
        post("new-conflict", "TERN-1", **READINGS, steps="f1", items=item.code, key=key)
    row = Conflict.objects.get()
    assert [one.code for one in queries.conflict_view(row).steps] == ["F1"]
    shown = as_member(builder).get(reverse("step", args=["TERN-1", "F1"])).content.decode()
    assert "Held: text and drawing disagree." in shown
    refused = post("step", "TERN-1", "F1", on=DAY)
    assert refused.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "F1 is held" in refused.content.decode()

    guess = post("settle-conflict", row.pk, right="text", on=DAY)
    assert "the maker hasn&#x27;t answered" in guess.content.decode()
    post("answer-conflict", row.pk, text="the\r\nleft one", on=DAY, reference="letter 14", key=uuid4())
    post("change-conflict", row.pk, **{**READINGS, "title": "hand of rib 3"}, steps="F1", items="", key=uuid4())
    assert post("settle-conflict", row.pk, right="text", on=DAY).status_code == HTTPStatus.FOUND
    assert "Held:" not in as_member(builder).get(reverse("step", args=["TERN-1", "F1"])).content.decode()
    post("reopen-conflict", row.pk, why="wrote again")

    view = queries.conflict_view(Conflict.objects.get())
    assert view.conflict.title == "hand of rib 3"
    assert [answer.text for answer in view.answers] == ["the left one"]
    assert [(one.right, one.reopened_why) for one in view.settlements] == [("text", "wrote again")]
    for name, args in (("conflicts", []), ("conflict", [row.pk]), ("change-conflict", [row.pk])):
        assert "hand of rib 3" in as_member(builder).get(reverse(name, args=args)).content.decode()


def test_hands_written_by_pages_and_shown_on_step_and_code(post, as_member, builder, step, workshop):
    for code in ("RIB-L", "RIB-R"):
        item = factories.ItemFactory(workshop=workshop, code=code)
    factories.CallOutFactory(step=step, item=item)
    assert "own mirror image" in post("pair-items", left="RIB-L", right="RIB-L").content.decode()
    post("pair-items", left="RIB-L", right="RIB-R")
    assert "true pair" in post("false-mirror", one="RIB-L", other="RIB-R", told_apart="x").content.decode()
    assert post("state-hand", item="RIB-L", hand="right").status_code == HTTPStatus.UNPROCESSABLE_ENTITY

    shown = as_member(builder).get(reverse("step", args=["TERN-1", "F1"])).content.decode()
    assert "RIB-R is a right part; its mirror image is RIB-L" in shown
    assert "its mirror image is" in as_member(builder).get(reverse("code"), {"code": "RIB-L"}).content.decode()
    factories.stock(factories.LotFactory(bench=step.project.bench, item=item), 2)
    picked = as_member(builder).get(reverse("pick-list"), {"step": step.pk}).content.decode()
    assert "<strong>right</strong>" in picked
    post("undo-pair", MirrorPair.objects.get().pk)
    assert not MirrorPair.objects.exists()
    assert "RIB-L" in as_member(builder).get(reverse("hands")).content.decode()


def test_item_of_the_outsider_is_neither_paired_nor_named(post, outsider, workshop):
    factories.ItemFactory(workshop=workshop, code="RIB-L")
    with scopes_disabled():
        assert Item.objects.filter(code="OUTSIDE-ITEM").exists()
    for name, said in (
        ("pair-items", {"left": "RIB-L", "right": "OUTSIDE-ITEM"}),
        ("state-hand", {"item": "OUTSIDE-ITEM", "hand": "left"}),
        ("false-mirror", {"one": "RIB-L", "other": "OUTSIDE-ITEM", "told_apart": "x"}),
    ):
        answer = post(name, **said)
        assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "is no code of the catalogue" in answer.content.decode()


def test_assembly_made_numbered_marked_drilled_and_printed_by_pages(post, as_member, builder, step, lot):
    assert "no step NONE" in post("new-assembly", "TERN-1", name="Skin", fit_up="NONE", key=uuid4()).content.decode()
    post("new-assembly", "TERN-1", name="Skin", fit_up="F1", key=uuid4())
    row = Assembly.objects.get()
    post("add-positions", row.pk, parts="skin, stiffener", first=7, last=8)
    position = at(row, 7)
    assert "say which piece" in post("position", position.pk, on=DAY, key=uuid4()).content.decode()
    post("position", position.pk, lot=lot.pk, on=DAY, key=uuid4())
    post("position", at(row, 7, "skin").pk, words="=1+1", on=DAY, key=uuid4())
    post("note-deed", row.pk, deed="drilled", first=7, last=8, on=DAY, drill="40", key=uuid4())
    mark = Mark.objects.get(position=position)
    post("replace-mark", mark.pk, why="bent", words="new", on=DAY, key=uuid4())
    post("take-mark-for", Mark.objects.get(serial=1).pk, position=at(row, 8).pk, reason="one template", on=DAY, key=uuid4())
    post("take-mark-away", Mark.objects.get(position=at(row, 8)).pk, why="cracked", on=DAY)
    post("change-assembly", row.pk, name="Skin two", note="", final="F1", key=uuid4())

    client = as_member(builder)
    for name, args in (("assembly", [row.pk]), ("mark-list", [row.pk]), ("position", [position.pk]), ("change-assembly", [row.pk])):
        assert client.get(reverse(name, args=args)).status_code == HTTPStatus.OK, name
    assert "Skin two" in client.get(reverse("step", args=["TERN-1", "F1"])).content.decode()
    rows = list(csv.DictReader(client.get(reverse("marks-csv", args=[row.pk])).content.decode().splitlines()))
    assert [(one["part"], one["mark"], one["why"]) for one in rows] == [
        ("skin", "7", ""),
        ("stiffener", "7", "bent"),
        ("stiffener", "7b", "taken for stiffener 8: one template"),
        ("stiffener", "8", "cracked"),
    ]
    assert rows[0]["piece"] == "'=1+1"
    assert "drilled 40" in rows[1]["done"]
    page, printed = reverse("mark-labels-pdf", args=[row.pk]), {"sheet": "roll", "start": 1, "copies": 1}
    texts = words(client.get(page, printed).content)
    assert [text.split()[:2] for text in texts] == [["7", "skin"], ["7c", "stiffener"], ["8", "skin"], ["8b", "stiffener"]]
    assert "has the labels 1 to 1" in client.get(page, printed | {"start": 2}).content.decode()
    post("remove-position", at(row, 8, "skin").pk)
    assert not row.positions.filter(number=8, part="skin").exists()


def test_conflict_by_the_api_with_its_etag_and_its_key(send, step, item):
    body = {"project": "TERN-1", **READINGS, "steps": ["F1"]}
    made = send("POST", "api-conflicts", body=body, **{"Idempotency-Key": "one"})
    again = send("POST", "api-conflicts", body=body, **{"Idempotency-Key": "one"})
    assert made.status_code == again.status_code == HTTPStatus.CREATED
    assert Conflict.objects.count() == 1
    pk, tag = made.json()["id"], made["ETag"]
    assert send("POST", "api-conflicts", body={**body, "steps": ["NONE"]}).status_code == HTTPStatus.NOT_FOUND

    changed = send("PATCH", "api-conflict", pk, body={"items": [item.code], "kind": "size"}, **{"If-Match": tag})
    assert (changed.status_code, changed.json()["items"], changed.json()["kind"]) == (HTTPStatus.OK, [item.code], "size")
    assert [one["step"] for one in changed.json()["steps"]] == ["F1"]
    stale = send("PATCH", "api-conflict", pk, body={"title": "x"}, **{"If-Match": tag})
    assert stale.status_code == HTTPStatus.PRECONDITION_FAILED

    assert send("POST", "api-conflict-settle", pk, body={"right": "text", "on": DAY}).status_code == HTTPStatus.BAD_REQUEST
    send("POST", "api-conflict-answers", pk, body={"text": "left", "on": DAY, "reference": "letter"})
    settled = send("POST", "api-conflict-settle", pk, body={"right": "text", "on": DAY})
    assert (settled.json()["state"], settled.json()["record"]["cases"]) == ("settled", 1)
    assert send("POST", "api-conflict-settle", pk, body={"right": "text", "on": DAY}).status_code == HTTPStatus.CONFLICT
    assert [row["state"] for row in send("GET", "api-conflicts").json()["results"]] == ["settled"]
    reopened = send("POST", "api-conflict-reopen", pk, body={"why": "again"})
    assert reopened.json()["settlements"][0]["reopened_why"] == "again"


def test_assembly_by_the_api(send, step, lot):
    body = {"project": "TERN-1", "name": "Skin", "steps": [{"step": "F1", "phase": "fit_up"}]}
    made = send("POST", "api-assemblies", body=body)
    assert made.status_code == HTTPStatus.CREATED
    pk = made.json()["id"]
    assert send("POST", "api-assemblies", body=body).status_code == HTTPStatus.CONFLICT
    numbered = send("POST", "api-assembly-positions", pk, body={"parts": ["skin"], "first": 7, "last": 8}).json()
    seven, eight = (one["id"] for one in numbered["positions"])
    marked = send("POST", "api-position-mark", seven, body={"lot": lot.pk, "on": DAY})
    mark = marked.json()["positions"][0]["marks"][0]
    assert (marked.status_code, mark["mark"], mark["lot"]) == (HTTPStatus.CREATED, "7", lot.pk)
    assert send("POST", "api-position-mark", seven, body={"lot": lot.pk, "on": DAY}).status_code == HTTPStatus.CONFLICT
    done = send("POST", "api-assembly-done", pk, body={"deed": "drilled", "first": 1, "last": 9, "on": DAY, "drill": "40"}).json()
    assert done["positions"][0]["marks"][0]["events"][-1]["drill"] == "40"
    moved = send("POST", "api-mark-take-for", mark["id"], body={"position": eight, "reason": "one template", "on": DAY}).json()
    second = moved["positions"][1]["marks"][0]
    replaced = send("POST", "api-mark-replace", second["id"], body={"why": "bent", "words": "new", "on": DAY}).json()
    third = replaced["positions"][1]["marks"][1]
    assert third["mark"] == "8b"
    assert send("POST", "api-mark-away", third["id"], body={"why": "bent", "on": DAY}).status_code == HTTPStatus.OK
    tag = send("GET", "api-assembly", pk)["ETag"]
    assert send("PATCH", "api-assembly", pk, body={"steps": []}, **{"If-Match": tag}).json()["assemblies"] == 0
    assert send("GET", "api-assemblies").json()["results"][0]["marked"] == 0


def test_lists_take_as_many_queries_for_many_as_for_one(conflict, assembly, project, builder, queries_of):
    pages = [reverse(name) for name in ("conflicts", "assemblies", "hands")] + [reverse("conflict", args=[conflict.pk])]
    before = [queries_of(builder, page) for page in pages]
    for _ in range(3):
        services.record_conflict(project=project, **READINGS, by=builder)
    for number in range(3):
        services.make_assembly(project=project, name=f"More {number}", by=builder)
    put(assembly, 7, builder)
    services.add_answer(conflict=conflict, text="x", on=TODAY, reference="y", by=builder, today=TODAY)

    assert [queries_of(builder, page) for page in pages] == before
