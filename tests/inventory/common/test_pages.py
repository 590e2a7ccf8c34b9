"""What every page shares: problems as pages, the way back, error pages, figures in templates."""

import re
from datetime import date
from decimal import Decimal
from http import HTTPStatus

import pytest
from django.template import loader
from django.test import Client, RequestFactory
from django.urls import reverse

from inventory.common import filters
from inventory.common.pages import came_from, way_back
from tests import factories


def test_problem_becomes_a_page_with_its_status(as_member, reader, bench, item, project):
    page = as_member(reader).get(reverse("ordered", args=[project.code, item.pk]))

    assert page.status_code == HTTPStatus.FORBIDDEN
    assert "<h1>Not allowed</h1>" in page.content.decode()
    assert "this takes one of: owner, storekeeper" in page.content.decode()


ELSEWHERE = ["https://elsewhere.example/", "//elsewhere.example", "///elsewhere.example", "/\\elsewhere.example", "/\t/elsewhere.example"]


@pytest.mark.parametrize("asked", [*ELSEWHERE, "javascript:alert(1)", "", "0", "shelves", "shelves/", ".", " /shelves/"])
def test_way_back_never_leads_off_the_site(asked):
    assert way_back(RequestFactory().post("/", {"next": asked}), "/home/") == "/home/"


def test_forged_way_back_is_no_error_after_saving(as_member, owner, lot, drawer):
    factories.stock(lot, 10, place=drawer)
    page = as_member(owner).post(reverse("count", args=[lot.pk, drawer.pk]), {"counted": "9", "next": "0"})

    assert (page.status_code, page.url) == (HTTPStatus.FOUND, reverse("shelves"))


def test_way_back_goes_where_the_form_asked():
    assert way_back(RequestFactory().post("/", {"next": "/shelves/?page=2"}), "/home/") == "/shelves/?page=2"


def test_page_that_is_not_there(client, db):
    page = client.get("/nothing/here/")

    assert page.status_code == HTTPStatus.NOT_FOUND
    assert "There is nothing here" in page.content.decode()


def test_form_without_its_token_is_told_so(as_member, owner):
    client = Client(enforce_csrf_checks=True)
    client.force_login(owner.user, backend="django.contrib.auth.backends.ModelBackend")

    page = client.post(reverse("sign-out"))

    assert page.status_code == HTTPStatus.FORBIDDEN
    assert "This form is too old" in page.content.decode()


def test_address_of_a_button_says_that_it_is_one(as_member, reader):
    page = as_member(reader).get(reverse("sign-out"), headers={"referer": "http://testserver/shelves/?page=2"})

    assert (page.status_code, page["Allow"]) == (HTTPStatus.METHOD_NOT_ALLOWED, "POST, OPTIONS")
    assert "done by a form alone" in page.content.decode()
    assert 'href="/shelves/?page=2"' in page.content.decode()


@pytest.mark.parametrize("said", ["https://elsewhere.example/shelves/", "javascript:alert(1)", "", "http://testserver/here/?page=2"])
def test_back_to_where_one_was_never_leads_off_the_site_nor_to_the_page_itself(said):
    assert came_from(RequestFactory().get("/here/?page=2", HTTP_REFERER=said)) == ""


def test_problem_leads_back_to_where_it_was_pressed(as_member, reader, bench, item, project):
    ordered = reverse("ordered", args=[project.code, item.pk])
    page = as_member(reader).get(ordered, headers={"referer": f"http://testserver{reverse('plan', args=[project.code])}"})

    assert f'href="{reverse("plan", args=[project.code])}">Back to where you were' in page.content.decode()
    assert reverse("roles") in page.content.decode()


@pytest.mark.parametrize("name", ["400.html", "403.html", "404.html", "405.html", "500.html", "403_csrf.html"])
def test_error_page_renders_without_anything(name):
    assert "<h1>" in loader.get_template(name).render()


def test_page_allows_no_script_or_style_of_its_own(as_member, owner):
    page = as_member(owner).get(reverse("home"))

    assert "default-src 'self'" in page["Content-Security-Policy"]
    assert "unsafe-inline" not in page["Content-Security-Policy"]
    assert not re.search(r"<script(?![^>]*\bsrc=)", page.content.decode())
    assert " style=" not in page.content.decode()


def test_menu_stays_with_the_project_of_the_address(as_member, owner, project, bench):
    factories.ProjectFactory(bench=bench, code="TERN-2")
    client = as_member(owner)
    sheet = reverse("order-sheet", args=["TERN-2"])

    shelves = f"{reverse('shelves')}?project=TERN-2"
    assert f'href="{shelves}"' in client.get(sheet).content.decode()
    assert f'href="{sheet}"' in client.get(shelves).content.decode()
    assert f'href="{reverse("order-sheets")}"' in client.get(reverse("shelves")).content.decode()


@pytest.mark.parametrize("project", ["a\nb", "%00", "<script>", "a/b?c#d"])
def test_menu_takes_any_project_that_is_named(as_member, owner, project):
    page = as_member(owner).get(reverse("shelves"), {"project": project})

    assert page.status_code == HTTPStatus.OK
    assert "<script>" not in page.content.decode()


def test_filters_write_figures_and_days():
    assert filters.plain(Decimal("2.500")) == "2.5"
    assert filters.day(date(2027, 3, 6)) == "Sat 2027-03-06"
    assert filters.day(None) == ""
    assert (filters.days(1), filters.days(4)) == ("1 day", "4 days")
