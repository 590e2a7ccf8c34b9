"""The page and the endpoint of the search, the words, and how the main pages are worked out."""

from http import HTTPStatus

import pytest
from django.urls import reverse

from buildplan.finding.words import CHAPTERS, WORKED_OUT
from inventory.workshop.models import Role
from tests import factories

pytestmark = pytest.mark.django_db


def test_page_lists_groups_with_where_a_thing_lies(as_member, reader, scene):
    answer = as_member(reader).get(reverse("find"), {"q": "rivet"})

    assert answer.status_code == HTTPStatus.OK
    for text in ("Items", "Steps", "112 ea in Hangar/Rack 1/Drawer 3", reverse("step", args=["TERN-1", "F3-04"])):
        assert text in answer.content.decode()


def test_page_of_an_exact_code_is_the_thing_s_own(as_member, reader, scene):
    answer = as_member(reader).get(reverse("find"), {"q": "]C1010541234500001310R7\x1d17290331"}, follow=True)

    assert answer.redirect_chain
    assert "Rivet, universal head" in answer.content.decode()


def test_page_that_finds_nothing_says_what_would_do(as_member, storekeeper, reader, scene):
    kept = as_member(storekeeper).get(reverse("find"), {"q": "XK-999"})
    read = as_member(reader).get(reverse("find"), {"q": "XK-999"})

    assert kept.status_code == read.status_code == HTTPStatus.NOT_FOUND
    assert f"{reverse('code')}?code=XK-999" in kept.content.decode()
    assert "Teach the code" not in read.content.decode()
    assert reverse("load-crate") in kept.content.decode()


def test_page_of_a_day_without_a_seal_day_says_so(as_member, reader, scene):
    page = as_member(reader).get(reverse("find"), {"q": "7 March 2027"}).content.decode()

    assert "No seal day on Sun 2027-03-07" in page
    assert reverse("seal-days") in page


def test_every_page_has_the_field_and_its_text_is_kept(as_member, reader, scene):
    client = as_member(reader)

    assert 'name="q"' in client.get(reverse("shelves")).content.decode()
    assert 'value="riv&lt;et"' in client.get(reverse("find"), {"q": "riv<et"}).content.decode()
    assert client.get(reverse("find")).status_code == HTTPStatus.OK
    assert "too long" in client.get(reverse("find"), {"q": "x" * 4001}).content.decode()


def test_every_role_finds_people_by_name(as_member, workshop, scene):
    for role in Role.values:
        member = factories.MemberFactory(workshop=workshop, role=role)
        answer = as_member(member).get(reverse("find"), {"q": "mull"})
        assert "Jörg Müller" in answer.content.decode()


def test_endpoint_gives_what_the_page_shows(as_device, storekeeper, scene):
    body = as_device(storekeeper, "read").get("/api/v1/find", {"q": "universal"}).json()

    assert [group["kind"] for group in body["groups"]] == ["item"]
    assert body["groups"][0]["hits"][0]["page"] == f"{reverse('code')}?code=MS20470AD4-6"
    assert body["exact"] is None


def test_endpoint_keeps_separators_and_refuses_what_is_too_long(as_device, storekeeper, scene):
    client = as_device(storekeeper, "read")

    assert client.get("/api/v1/find", {"q": "]C1010541234500001310R7\x1d17290331"}).json()["exact"].startswith(reverse("code"))
    assert client.get("/api/v1/find", {"q": "x" * 4001}).status_code == HTTPStatus.BAD_REQUEST


def test_words_are_each_said_once(as_member, reader):
    names = [word.slug for chapter in CHAPTERS for word in chapter.words]
    page = as_member(reader).get(reverse("words")).content.decode()

    assert len(set(names)) == len(names)
    assert all(f'id="word-{name}"' in page for name in names)


def test_main_pages_say_how_they_are_worked_out(as_member, storekeeper, scene):
    client = as_member(storekeeper)
    pages = {
        "order-sheet": reverse("order-sheet", args=["TERN-1"]),
        "shelf-life": reverse("shelf-life"),
        "step": reverse("step", args=["TERN-1", "F3-04"]),
        "pins": reverse("pins", args=["TERN-1"]),
        "stock-by-week": reverse("stock-by-week", args=["TERN-1", scene.rivet.pk]),
        "seal-day": reverse("seal-day", args=[scene.day.pk]),
        "club-day": f"{reverse('club-day')}?day=2027-03-06",
        "tonight": reverse("tonight"),
    }
    assert set(pages) == set(WORKED_OUT)
    for name, address in pages.items():
        page = client.get(address).content.decode()
        assert page.count("How this is worked out") == 1, name
        assert all(reason.text and reason.source for reason in WORKED_OUT[name])
