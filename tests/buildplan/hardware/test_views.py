"""The settings page: what each figure says of itself, who changes it, what a wrong one is told."""

import re
from decimal import Decimal
from fractions import Fraction
from http import HTTPStatus

import pytest
from django.urls import reverse

from buildplan.hardware.models import ClecoSpacing, RivetLoss
from tests import factories

SAVED = {
    "receiving_days": "3",
    "rivet_rounding": "up_half",
    "every-fit_up": "",
    "every-match_drill": "",
    "every-final": "",
    "every-curing": "",
}


@pytest.fixture
def url():
    return reverse("settings")


def words(page):
    return " ".join(re.sub(r"<[^>]+>", " ", page.content.decode()).split())


def test_settings_say_where_each_figure_comes_from(as_member, owner, url):
    page = words(as_member(owner).get(url))
    assert "3 is a starting value of ours, not a source&#x27;s" in page or "3 is a starting value of ours, not a source's" in page
    assert "NAVEDTRA 14018 fig. 13-43. The rounding: a starting value of ours; manuals differ" in page
    assert page.count("common practice of the trade") == 4
    assert "0 is a starting value of ours: no source gives one" in page


def test_settings_saved_say_that_they_are_the_workshop_s_own(as_member, owner, workshop, url):
    client = as_member(owner)
    answer = client.post(url, {**SAVED, "receiving_days": "5", "rivet_rounding": "nearest_half", "every-fit_up": "4"})
    assert answer.status_code == HTTPStatus.FOUND

    workshop.refresh_from_db()
    assert (workshop.receiving_days, workshop.rivet_rounding) == (5, "nearest_half")
    assert ClecoSpacing.objects.get().every == 4
    page = words(client.get(url))
    assert "this workshop's own; 3 is a starting value of ours" in page
    assert "The rounding: this workshop's own; manuals differ" in page
    assert "this workshop's own setting; every third hole is common practice" in page.replace("&#x27;", "'")


@pytest.mark.parametrize(
    "wrong",
    [
        {"receiving_days": "-1"},
        {"receiving_days": "366"},
        {"receiving_days": ""},
        {"rivet_rounding": "down"},
        {"every-fit_up": "0"},
        {"every-final": "x"},
    ],
)
def test_settings_with_one_wrong_figure_change_nothing(as_member, owner, workshop, url, wrong):
    answer = as_member(owner).post(url, {**SAVED, "receiving_days": "9", "every-curing": "2", **wrong})

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "Nothing is changed yet" in words(answer)
    workshop.refresh_from_db()
    assert (workshop.receiving_days, ClecoSpacing.objects.count()) == (3, 0)


def test_loss_is_added_changed_and_removed(as_member, owner, url):
    client = as_member(owner)
    for percent in ("5", "7.5"):
        client.post(url, {"diameter": "1/8", "percent": percent})
    loss = RivetLoss.objects.get()
    assert (loss.diameter, loss.percent) == (Fraction(1, 8), Decimal("7.5"))
    assert "1/8 in : 7.5 %" in words(client.get(url))

    client.post(reverse("remove-loss", args=[loss.pk]))
    assert not RivetLoss.objects.exists()


@pytest.mark.parametrize("diameter", ["", "1/0", "one", "1e99999999", "-1/8", "2", "0", "1/8/2"])
def test_loss_of_what_is_no_size_is_told(as_member, owner, url, diameter):
    answer = as_member(owner).post(url, {"diameter": diameter, "percent": "5"})

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert not RivetLoss.objects.exists()


@pytest.mark.parametrize("percent", ["", "-1", "100.5", "NaN", "1.005"])
def test_loss_of_what_is_no_percent_is_told(as_member, owner, url, percent):
    assert as_member(owner).post(url, {"diameter": "0.125", "percent": percent}).status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert not RivetLoss.objects.exists()


@pytest.mark.parametrize("role", ["storekeeper", "builder", "inspector", "reader"])
def test_others_read_the_settings_and_change_none(as_member, workshop, url, role):
    RivetLoss.objects.create(workshop=workshop, diameter=Fraction(1, 8), percent=Decimal(5))
    client = as_member(factories.MemberFactory(workshop=workshop, role=role))

    page = client.get(url).content.decode()
    assert "An owner can change them." in page
    assert page.count('method="post"') == 1  # signing out
    assert client.post(url, {**SAVED, "receiving_days": "9"}).status_code == HTTPStatus.FORBIDDEN
    assert client.post(url, {"diameter": "1/8", "percent": "9"}).status_code == HTTPStatus.FORBIDDEN
    assert client.post(reverse("remove-loss", args=[RivetLoss.objects.get().pk])).status_code == HTTPStatus.FORBIDDEN
    workshop.refresh_from_db()
    assert (workshop.receiving_days, RivetLoss.objects.get().percent) == (3, 5)


def test_settings_take_the_same_queries_whatever_is_set(queries_of, owner, workshop, url):
    few = queries_of(owner, url)
    for size in range(2, 9):
        RivetLoss.objects.create(workshop=workshop, diameter=Fraction(size, 32), percent=Decimal(5))
    ClecoSpacing.objects.create(workshop=workshop, stage="final", every=2)
    assert queries_of(owner, url) == few
