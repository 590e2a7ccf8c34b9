"""The page of shelf lives, and its file."""

import csv
import re
from datetime import timedelta
from decimal import Decimal
from http import HTTPStatus
from io import StringIO

import pytest
from django.urls import reverse

from buildplan.ageing.views import PAGE
from inventory.models import PoolRules, UnitCost
from tests import factories
from tests.factories import DAY

URL = "/shelf-life/"
CSV = "/shelf-life.csv"


def words(page):
    return " ".join(re.sub(r"<[^>]+>", " ", page.content.decode()).split())


@pytest.fixture
def show(as_member, reader):
    return lambda **asked: as_member(reader).get(URL, asked)


def test_page_is_in_the_menu(show, scene):
    assert f'<a href="{URL}" aria-current="page">Shelf life</a>' in show().content.decode()


def test_page_counts_the_dead_and_the_unknown(show, scene):
    assert "4 holdings that age, as of Sat 2027-02-20: 1 dead , 1 of unknown life , which count for nothing" in words(show())


def test_page_says_what_dies_and_what_could_use_it(show, scene):
    shown = words(show())

    assert "Dies in the next 30 days Tue 2027-03-02 : SEAL-B2 R7 in Hangar/Fridge, 50 g. 38 g of the lot die unused." in shown
    assert "Could use it, done by Tue 2027-03-02: F3-09 , 20 g on Sat 2027-03-13: first F3-04" in shown


def test_page_says_that_a_ready_step_can_be_pulled_forward(show, lot_of, needed):
    lot_of("R7", 10)
    needed("F3-09", DAY + timedelta(days=21), 20)

    assert "it waits for nothing and can be pulled forward" in words(show())


def test_page_says_where_no_step_could_use_what_dies(show, lot_of):
    lot_of("R7", 10)

    assert "50 g of the lot die unused. No step that is still to do could use it." in words(show())


def test_picture_has_a_title_a_description_and_the_needs(show, scene):
    text = show().content.decode()

    assert '<title id="timeline-title">Lots by their last usable day</title>' in text
    assert 'aria-labelledby="timeline-title timeline-about"' in text
    assert text.count('class="takes"') == 2
    assert "<title>F3-04, 2027-02-27</title>" in text
    assert 'class="unknown"' in text


def test_table_says_the_same_as_the_picture(show, scene):
    shown = words(show())

    assert "Taken by F3-04 (12 g on Sat 2027-02-27)" in shown
    assert "Dead before F3-04 (12 g on Sat 2027-02-27), F3-09 (20 g on Sat 2027-03-13)" in shown
    assert "expires: usable through 2027-03-02 expires 2027-03-02, as printed" in shown


def test_page_filters(show, scene):
    shown = words(show(state="dead"))

    assert "1 holding that age" in shown or "1 holding" in shown
    assert "R6" in shown
    assert "R8" not in shown


def test_filter_that_finds_nothing_says_so(show, scene):
    assert "Nothing like that ages here." in words(show(place="Loft"))


def test_page_without_anything_that_ages_says_what_would(show, workshop):
    assert "Nothing here ages: no lot on hand has an end of life." in words(show())


@pytest.mark.parametrize("days", ["0", "-3", "many", "99999999999999999999"])
def test_bad_days_are_said_and_the_page_shows_thirty(show, scene, days):
    answer = show(days=days)

    assert answer.status_code == HTTPStatus.OK
    assert 'class="error"' in answer.content.decode()
    assert "Dies in the next 30 days" in words(answer)


def test_lists_are_paged(show, lot_of):
    for at in range(PAGE + 1):
        lot_of(f"R{at}", at + 100, 1)

    assert f"{PAGE + 1} holdings" in words(show())
    assert show().content.decode().count('class="alive"') == PAGE
    assert show(page=2).content.decode().count('class="alive"') == 1


def test_file_has_every_row_with_its_reasons(as_member, reader, scene):
    answer = as_member(reader).get(CSV)
    rows = list(csv.DictReader(StringIO(answer.content.decode())))

    assert [row["lot"] for row in rows] == ["R6", "R7", "R8", "R9"]
    assert rows[1] == {
        "last_usable_day": "2027-03-02",
        "days_left": "10",
        "item": "SEAL-B2",
        "name": "Sealant, class B",
        "lot": "R7",
        "place": "Hangar/Fridge",
        "bench": "TERN",
        "state": "good",
        "quantity": "50",
        "unit": "g",
        "limit": "expires",
        "unused": "38",
        "value": "",
        "currency": "",
        "taken_by": "F3-04 on 2027-02-27",
        "too_late_for": "F3-09 on 2027-03-13",
        "could_use": "F3-09 on 2027-03-13",
        "why": rows[1]["why"],
    }
    assert "expires: usable through 2027-03-02 [expires 2027-03-02, as printed]" in rows[1]["why"]
    assert (rows[3]["last_usable_day"], rows[3]["days_left"], rows[3]["limit"]) == ("", "", "")
    assert answer["Content-Disposition"] == 'attachment; filename="shelf-life-2027-02-20.csv"'


def test_page_file_and_api_say_the_same_value_of_what_dies(show, as_member, reader, scene, sealant):
    PoolRules.objects.create(workshop=sealant.workshop, currency="EUR")
    UnitCost.objects.create(workshop=sealant.workshop, item=sealant, since=DAY, amount="0.35")
    shown, rows = words(show()), list(csv.DictReader(StringIO(as_member(reader).get(CSV).content.decode())))
    lines = as_member(reader).get(reverse("api-shelf-life")).json()["lines"]

    assert "38 g of the lot die unused, worth 13.30 EUR." in shown
    assert "Of what has a cost, 13.30 EUR die unused." in shown
    assert (rows[1]["value"], rows[1]["currency"]) == (lines[1]["value"], lines[1]["currency"]) == ("13.30", "EUR")
    for why in (rows[1]["why"], lines[1]["trace"][-1]["text"], shown):
        assert "38 g unused x 0.35 EUR = 13.30 EUR" in why


def test_file_takes_the_page_s_filters(as_member, reader, scene):
    answer = as_member(reader).get(CSV, {"item": "R8"})

    assert len(answer.content.decode().splitlines()) == 2


def test_file_refuses_what_it_cannot_read(as_member, reader, scene):
    assert as_member(reader).get(CSV, {"days": "many"}).status_code == HTTPStatus.BAD_REQUEST


def test_file_keeps_a_formula_in_a_lot_code_as_text(as_member, reader, lot_of):
    lot_of("=1+1", 10)
    (row,) = csv.DictReader(StringIO(as_member(reader).get(CSV).content.decode()))

    assert row["lot"] == "'=1+1"


def test_page_takes_the_same_queries_at_one_and_at_many(queries_of, reader, lot_of, needed, bench):
    lot_of("R0", 10)
    needed("F0", DAY, 1)
    few = queries_of(reader, reverse("shelf-life"))
    for at in range(1, 8):
        lot_of(f"R{at}", at)
        needed(f"F{at}", DAY + timedelta(days=at), Decimal(1), project=factories.ProjectFactory(bench=bench))

    assert queries_of(reader, reverse("shelf-life")) == few


def test_page_never_shows_the_outsider(show, scene, outsider):
    assert "OUTSIDE" not in show().content.decode()
