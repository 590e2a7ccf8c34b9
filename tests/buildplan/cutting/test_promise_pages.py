"""Pages of cuts: where their figures come from, and what is asked where a promise can't be kept."""

from fractions import Fraction
from http import HTTPStatus
from uuid import uuid4

import pytest
from django.urls import reverse

from buildplan.cutting import queries, services
from buildplan.cutting.models import Cut
from buildplan.cutting.services import BlankData
from inventory.models import Lot
from tests import factories

F = Fraction
pytestmark = pytest.mark.django_db


@pytest.fixture
def rail(workshop, owner):
    item = factories.ItemFactory(workshop=workshop, code="RAIL", kind="other")
    return services.save_blank(item=item, said=BlankData("bar", length=F(3000), end_trim=F(10)), by=owner)


@pytest.fixture
def planned(rail, workshop, lot_of, step, later_step, piece_of, owner):
    """One of 480 mm now, two later; the kerf is the workshop's."""
    services.set_rules(workshop=workshop, unit="mm", kerf=F(2), end_trim=F(0), allowance=F(0), by=owner)
    lot = lot_of(rail)
    now, later = piece_of(step, rail, "S-A", 1, length=480), piece_of(later_step, rail, "S-B", 2, length=480)
    return services.plan_cut(blank=rail, lot=lot, now={now: 1}, later={later: 2}, key=uuid4(), by=owner)


@pytest.fixture
def body(drawer):
    return {"source": drawer.pk, "target": drawer.pk, "on": "2026-01-02", "unit": "mm", "keep-0": "on"}


def text_of(answer):
    return answer.content.decode()


def test_cut_says_its_number_where_its_figures_come_from_and_what_is_left(as_member, builder, planned):
    page = text_of(as_member(builder).get(reverse("cut", args=[planned.pk])))
    assert f"cut:{planned.pk}" not in page
    assert page.count(f"Cut {planned.pk}") >= 3  # title, crumb, heading
    assert "10 mm end trim comes off first: 2990 mm to cut" in page
    assert "the workshop&#x27;s kerf and trim" in page
    assert "less 3 saw cuts of 2 mm: 1544 mm left over" in page
    assert 'name="length-0" value="2508"' in page  # of the offcut that the saw leaves, promised pieces in it
    assert "480 mm, promised from what is left" in page


def test_blank_says_kerf_and_trim_and_each_planned_cut_its_trace(as_member, builder, planned, rail):
    client = as_member(builder)
    page = text_of(client.get(reverse("blank", args=[rail.pk])))
    assert "The saw takes 2 mm a cut (the workshop&#x27;s kerf and trim); the end trim is 10 mm a blank (said of the blank)." in page
    assert "1544 mm left over" in page
    where = f"{reverse('plan-cut', args=[rail.pk])}"
    assert client.get(where).status_code == HTTPStatus.OK


def test_look_says_the_end_trim(as_member, builder, rail, lot_of, step, piece_of):
    lot, piece = lot_of(rail), piece_of(step, rail, "S-A", 1, length=480)
    said = {"key": uuid4(), "lot": lot.pk, f"now-{piece.pk}": "1", "look": "1"}
    page = text_of(as_member(builder).post(reverse("plan-cut", args=[rail.pk]), said))
    assert "10 mm end trim comes off first: 2990 mm to cut" in page
    assert "2510 mm left over" in page


def test_offcut_too_small_for_its_promise_is_asked_again_and_given_up_with_a_reason(as_member, builder, planned, body):
    client, where = as_member(builder), reverse("saw-cut", args=[planned.pk])
    refused = client.post(where, {**body, "length-0": "100"})
    assert refused.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "100 mm gives none of the 2; one of 962 mm gives them" in text_of(refused)
    assert 'name="length-0" value="100"' in text_of(refused)
    assert client.post(where, body).status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert Cut.objects.get().state == "planned"
    for _ in range(2):
        client.post(where, {**body, "length-0": "100", "release": "bent in the vice"})
    gone = Cut.objects.get(mother=planned)
    assert gone.state == "undone"
    page = text_of(client.get(reverse("cut", args=[planned.pk])))
    assert f"What was promised, cut {gone.pk}, was given up by {builder.name}" in page
    assert "bent in the vice" in page


def test_measuring_asks_for_a_reason_only_where_a_cut_is_planned(as_member, builder, planned, body, lot_of, rail):
    client = as_member(builder)
    client.post(reverse("saw-cut", args=[planned.pk]), {**body, "length-0": "2508"})
    offcut = Lot.objects.get(item__code="RAIL-OFFCUT")
    where = reverse("measure-lot", args=[offcut.pk])
    assert 'name="release"' in text_of(client.get(where))
    assert 'name="release"' not in text_of(client.get(reverse("measure-lot", args=[lot_of(rail, code="B-2").pk])))
    refused = client.post(where, {"unit": "mm", "length": "1"})
    assert refused.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "one of 962 mm gives them" in text_of(refused)
    assert client.post(where, {"unit": "mm", "length": "1", "release": "sawn askew"}).status_code == HTTPStatus.FOUND
    assert Cut.objects.get(lot=offcut).state == "undone"


def test_cut_on_a_blank_that_became_too_short_warns(as_member, builder, owner, planned, rail):
    services.save_blank(item=rail.item, said=BlankData("bar", length=F(1000)), by=owner)
    client = as_member(builder)
    for name, pk in (("cut", planned.pk), ("blank", rail.pk)):
        assert "Lot B-1, 1000 mm, doesn&#x27;t give 1 of S-A for F3-01 (480 mm each)" in text_of(client.get(reverse(name, args=[pk])))


def test_size_that_is_proposed_is_never_more_than_is_left(as_member, builder, workshop, planned, owner, body):
    services.set_rules(workshop=workshop, unit="mm", kerf=F(2, 3), end_trim=F(0), allowance=F(0), by=owner)
    left = services.left_of(queries.cut_rows().get(), queries.rules())
    assert left.length == 2990 - 480 - F(2, 3)
    client = as_member(builder)
    assert 'name="length-0" value="2509.3333"' in text_of(client.get(reverse("cut", args=[planned.pk])))
    assert client.post(reverse("saw-cut", args=[planned.pk]), {**body, "length-0": "2509.3333"}).status_code == HTTPStatus.FOUND
