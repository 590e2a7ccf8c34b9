"""Pages of blanks, pieces and cuts."""

from datetime import date
from http import HTTPStatus
from uuid import UUID, uuid4

import pytest
from django.urls import reverse

from buildplan.cutting import queries, services
from buildplan.cutting.models import Blank, Cut, CuttingRules, Operation, OperationDone, Piece, Spoiled
from inventory.models import SetAside
from tests import factories

KEY, DAY = UUID(int=9), date(2027, 3, 6)
pytestmark = pytest.mark.django_db


@pytest.fixture
def half(sheet, lot_of, step, later_step, piece_of):
    """A lot and two pieces of four from one: now and later."""
    return lot_of(sheet), piece_of(step, sheet, per_blank=4), piece_of(later_step, sheet, "W-32", 4, per_blank=4)


def test_blank_is_added_changed_and_removed(as_member, storekeeper, workshop):
    factories.ItemFactory(workshop=workshop, code="PLATE", kind="sheet")
    client = as_member(storekeeper)
    said = {"item": "plate", "form": "sheet", "unit": "mm", "length": "900", "width": "600", "kerf": "0"}
    assert client.post(reverse("add-blank"), {**said, "width": ""}).status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert client.post(reverse("add-blank"), said).status_code == HTTPStatus.FOUND
    blank = Blank.objects.get()
    assert (blank.length, blank.kerf) == (900, 0)
    page = client.get(reverse("change-blank", args=[blank.pk])).content.decode()
    assert 'value="900"' in page
    client.post(reverse("change-blank", args=[blank.pk]), {**said, "grain": "length"})
    assert Blank.objects.get().grain == "length"
    assert "PLATE" in client.get(reverse("cutting")).content.decode()
    client.post(reverse("remove-blank", args=[blank.pk]))
    assert not Blank.objects.exists()
    assert "No blank yet" in client.get(reverse("cutting")).content.decode()


def test_rules_are_set_by_an_owner(as_member, owner):
    client = as_member(owner)
    assert (
        client.post(reverse("cutting-rules"), {"unit": "mm", "kerf": "2.5", "end_trim": "", "allowance": "0"}).status_code
        == HTTPStatus.FOUND
    )
    rules = CuttingRules.objects.get()
    assert (rules.kerf, rules.end_trim) == (2.5, 0)
    assert 'value="2.5"' in client.get(reverse("cutting-rules")).content.decode()


def test_piece_is_put_into_a_step_from_its_page(as_member, builder, step, sheet, made_item):
    client, where = as_member(builder), ["TERN-1", "F3-01"]
    page = client.get(reverse("step", args=where)).content.decode()
    assert reverse("add-piece", args=where) in page
    said = {"code": "W-31", "blank": sheet.pk, "count": "6", "item": "w-31", "hand": "left"}
    again = client.post(reverse("add-piece", args=where), said)
    assert again.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "say how long it is" in again.content.decode()
    client.post(reverse("add-piece", args=where), {**said, "per_blank": "4"})
    piece = Piece.objects.get()
    assert (piece.item, piece.count, piece.hand) == (made_item, 6, "left")
    assert "0 of 6 sawn from SHEET-032" in client.get(reverse("step", args=where)).content.decode()
    client.post(reverse("piece", args=[piece.pk]), {**said, "per_blank": "3"})
    assert Piece.objects.get().per_blank == 3
    client.post(reverse("remove-piece", args=[piece.pk]))
    assert not Piece.objects.exists()


def test_cut_is_looked_at_planned_sawn_and_spoiled(as_member, builder, sheet, half, drawer, step):
    lot, now, _ = half
    client, where = as_member(builder), reverse("plan-cut", args=[sheet.pk])
    assert "W-31" in client.get(f"{where}?step={step.pk}").content.decode()
    said = {"key": KEY, "lot": lot.pk, f"now-{now.pk}": "2"}
    look = client.post(where, {**said, "look": "1"})
    assert look.status_code == HTTPStatus.OK
    assert "How it would be cut" in look.content.decode()
    assert "<svg" in look.content.decode()
    assert not Cut.objects.exists()
    for _ in range(2):
        client.post(where, said | {"accept": "on"})
    cut = Cut.objects.get()
    assert SetAside.objects.count() == 1
    page = client.get(reverse("cut", args=[cut.pk])).content.decode()
    assert "Saw it" in page
    assert "eye protection" in page
    shelves = client.get(reverse("shelves")).content.decode()
    assert "promised to F3-01 of TERN-1, planned 2027-03-06: 2 of W-31" in shelves
    assert "promised to F3-01" in client.get(reverse("lot", args=[lot.pk])).content.decode()
    body = {"source": drawer.pk, "target": drawer.pk, "on": "2026-01-02", "unit": "mm", "keep-0": "on", "length-0": "450", "width-0": "600"}
    assert client.post(reverse("saw-cut", args=[cut.pk]), {**body, "source": ""}).status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert client.post(reverse("saw-cut", args=[cut.pk]), body).status_code == HTTPStatus.FOUND
    assert Cut.objects.get().state == "sawn"
    line = cut.pieces.get()
    spoiled = {
        f"line{line.pk}-key": uuid4(),
        f"line{line.pk}-count": "1",
        f"line{line.pk}-cause": "bent",
        f"line{line.pk}-on": "2026-01-03",
    }
    for _ in range(2):
        client.post(reverse("spoil-pieces", args=[line.pk]), spoiled)
    assert Spoiled.objects.get().cause == "bent"
    page = client.get(reverse("cut", args=[cut.pk])).content.decode()
    assert "1 spoiled" in page
    assert "450 x 600 mm" in page
    assert "Saw it" not in page
    assert client.post(reverse("undo-cut", args=[cut.pk])).status_code == HTTPStatus.CONFLICT
    blank = client.get(reverse("blank", args=[sheet.pk])).content.decode()
    assert "offcut" in blank
    assert "450 x 600 mm" in blank


def test_stranding_is_shown_before_it_is_done(as_member, builder, sheet, half):
    """One blank alone: two of W-31 now take it from four of W-32, and give two pieces less."""
    lot, now, later = half
    client, where = as_member(builder), reverse("plan-cut", args=[sheet.pk])
    said = {"key": KEY, "lot": lot.pk, f"now-{now.pk}": "2"}
    words = "his cut leaves 2 of the 4 pieces of W-32 for F9-01 without material"
    assert words in client.post(where, {**said, "look": "1"}).content.decode()
    refused = client.post(where, said)
    assert refused.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert words in refused.content.decode()
    assert not Cut.objects.exists()
    assert later.count == 4


def test_planned_cut_is_given_up_from_its_page(as_member, builder, sheet, half, owner):
    lot, now, _ = half
    cut = services.plan_cut(blank=sheet, lot=lot, now={now: 2}, later={}, key=KEY, by=owner, accept=True)
    client = as_member(builder)
    assert "Give this cut up" in client.get(reverse("cut", args=[cut.pk])).content.decode()
    client.post(reverse("undo-cut", args=[cut.pk]))
    assert not SetAside.objects.exists()
    assert "Given up by" in client.get(reverse("cut", args=[cut.pk])).content.decode()


def test_operations_are_counted_and_what_was_done_too_often_shows(as_member, builder, step, sheet, piece_of):
    piece = piece_of(step, sheet, count=12, per_blank=4)
    client = as_member(builder)
    for hand in ("left", "right"):
        client.post(reverse("add-operation", args=[piece.pk]), {"name": "trim", "hand": hand, "count": "2"})
    wrong = client.post(reverse("add-operation", args=[piece.pk]), {"name": "Trim", "hand": "none", "count": "9"})
    assert wrong.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "13 of W-31 would be worked on" in wrong.content.decode()
    left, right = Operation.objects.order_by("pk")
    done = {"count": "3", "on": "2026-01-02", "key": KEY}
    for _ in range(2):
        client.post(reverse("operation-done", args=[left.pk]), done)
    [trim] = queries.operations([piece.pk])[piece.pk]
    assert [(line.done, line.left, line.over) for line in trim.lines] == [(3, 0, 1), (0, 2, 0)]
    assert (trim.untouched, trim.meant, trim.spent) == (9, 8, 0)
    client.post(reverse("operation-done", args=[right.pk]), {**done, "count": "2", "key": uuid4()})
    page = client.get(reverse("piece", args=[piece.pk])).content.decode()
    assert "7 of 12 are as they were; 8 are meant to stay so" in page
    assert "1 too many were worked on" in page
    assert "trim, left: 3 of 2" in client.get(reverse("step", args=["TERN-1", "F3-01"])).content.decode()
    too_many = client.post(reverse("operation-done", args=[right.pk]), {**done, "count": "8", "key": uuid4()})
    assert too_many.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    client.post(reverse("take-back-operation", args=[OperationDone.objects.order_by("pk")[0].pk]))
    assert queries.operations([piece.pk])[piece.pk][0].lines[0].done == 0
    assert client.post(reverse("remove-operation", args=[left.pk])).status_code == HTTPStatus.CONFLICT


def test_lot_is_measured(as_member, builder, bar, lot_of):
    lot = lot_of(bar)
    client = as_member(builder)
    assert (
        client.post(reverse("measure-lot", args=[lot.pk]), {"unit": "in", "length": "12 1"}).status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    )
    client.post(reverse("measure-lot", args=[lot.pk]), {"unit": "in", "length": "12", "certificate": "C-7"})
    page = client.get(reverse("lot", args=[lot.pk])).content.decode()
    assert "12 in" in page
    assert "C-7" in page


@pytest.mark.parametrize("many", [1, 6])
def test_pages_take_as_many_queries_whatever_the_size(many, queries_of, owner, builder, bar, lot_of, step, piece_of, drawer):
    pieces = [piece_of(step, bar, f"R-{at}", 2, length=100) for at in range(many)]
    lots = [lot_of(bar, 2, f"A-{at}") for at in range(many)]
    for piece, lot in zip(pieces, lots, strict=True):
        services.plan_cut(blank=bar, lot=lot, now={piece: 1}, later={}, key=uuid4(), by=owner)
    addresses = {"cutting": [], "blank": [bar.pk], "plan-cut": [bar.pk]}
    taken = {name: queries_of(builder, reverse(name, args=args)) for name, args in addresses.items()}
    assert taken == {"cutting": 9, "blank": 15, "plan-cut": 13}
