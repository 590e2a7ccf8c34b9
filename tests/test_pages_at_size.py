"""Each page in a small workshop and in a large one: as many queries, and no more than a phone in a hangar can load."""

import gzip
import re
from datetime import UTC, datetime, time, timedelta
from functools import cache
from http import HTTPStatus
from pathlib import Path, PurePosixPath
from posixpath import normpath
from uuid import uuid4

import pytest
import time_machine
from django.contrib.staticfiles import finders
from django.core.cache import cache as counted
from django.db import connection
from django.test import Client, override_settings
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django_scopes import scopes_disabled

from inventory.models import (
    Bag,
    Bench,
    Booking,
    Crate,
    Device,
    Identifier,
    Invitation,
    Item,
    LabelSheet,
    Loan,
    Lot,
    Member,
    Movement,
    PackingLine,
    Place,
    Scan,
    Sender,
    Tally,
    Temperature,
    Thing,
    Transfer,
    UpdateTest,
)
from inventory.workshop.middleware import seen_key
from tests import factories
from tests.benchmarks import scene
from tests.pages import Page
from tests.test_authorisation import ASKED_FOR, PROGRAMS, RIGHTS, TakenBack
from tests.test_isolation import furnish, rows_of, values_in

pytestmark = [pytest.mark.alike, pytest.mark.django_db]

SIZES = {
    "small": {"items": 6, "steps": 10, "call_outs": 20, "lots": 12},
    "large": {"items": 600, "steps": 3000, "call_outs": 25_000, "lots": 12_000},
}
SIZES["more projects"] = SIZES["small"]
COPIES = {"small": 1, "large": 150, "more projects": 1}
# Queries of each main page at both sizes, with the two of the savepoint around it and those of session, member and workshop. A page whose
# rows happen to lack something (a set-aside, a loan) may ask less. A figure that changes is a page that costs another: say here what it
# costs now, once you know why.
QUERIES = {
    "home": 74,
    "pick-list": 9,
    "projects": 51,
    "plan": 40,
    "order-sheet": 33,
    "stock-by-week": 18,
    "pins": 27,
    "step": 66,
    "step-sheet": 24,
    "substitutions": 27,
    "crates": 18,
    "crate": 19,
    "count-crate": 16,
    "count-bag": 13,
    "receipt": 15,
    "shelves": 15,
    "lot": 30,
    "labels": 10,
    "scans": 9,
    "shelf-life": 34,
    "temperatures": 8,
    "seal-days": 17,
    "seal-day": 63,
    "club": 14,
    "club-day": 21,
    "surplus": 27,
    "statement": 14,
    "pool": 8,
    "loans": 8,
    "bookings": 8,
    "members": 11,
    "devices": 7,
    "reminders": 53,
    "log": 20,
    "conflicts": 9,
    "assemblies": 8,
    "cutting": 12,
    "trace": 9,
    "notices": 8,
    "closing": 8,
    "gate": 30,
    "supplies": 7,
    "claims": 8,
    "senders": 8,
    "settings": 8,
    "figures": 6,
}
PROJECTS = 2  # more than in the small one
# Netting is of one bench at a time, and a plan that can't be netted must not hide the others: these ask for each project by itself.
# So many queries come with each further project; to every other page none.
BY_PROJECT = {"projects": 17}
NOW = datetime.combine(scene.AS_OF, time(12), UTC)
MOST = 150_000  # bytes of a page with all that it loads, as they travel
MOST_HTML = 400_000  # bytes of its HTML alone before it is compressed: a phone lays that out; a figure of ours
CAMERA = {"scan", "scan-photo", "scan-worker", "scan-decoder"}
FILES = {name for name in RIGHTS if name.endswith(("-csv", "-pdf")) or name in {"photo", "claim-letter"}}
PAGES = [name for name, rights in RIGHTS.items() if name not in PROGRAMS and "GET" in rights and name not in FILES]
# Each copy is another row: what is unique in it is given anew, by the number of the copy.
MANY = {
    Member: lambda at: {"user": factories.UserFactory(), "name": f"Member no {at}"},
    Device: lambda at: {"prefix": f"rl_{uuid4().hex[:8]}", "name": f"Device no {at}"},
    Invitation: lambda at: {"prefix": f"ri_{uuid4().hex[:8]}", "name": f"Guest no {at}"},
    Identifier: lambda at: {"text": f"ALSO-{at}", "key": f"ALSO{at}"},
    Place: lambda at: {"path": f"Shelf/Box {at}", "name": f"Box {at}", "key": f"shelf/box {at}"},
    Crate: lambda at: {"code": f"CRATE-NO-{at}"},
    Bag: lambda at: {"path": f"B{at}", "name": f"B{at}"},
    PackingLine: lambda at: {"number": f"N{at}"},
    Tally: lambda at: {"request_key": uuid4()},
    Sender: lambda at: {"name": f"Sender no {at}"},
    Movement: lambda at: {},
    Loan: lambda at: {"key": uuid4(), "movement": Movement.objects.order_by("-pk")[at]},
    Booking: lambda at: {"key": uuid4(), "thing": None, "first_day": scene.AS_OF + timedelta(at), "last_day": scene.AS_OF + timedelta(at)},
    Thing: lambda at: {"serial": f"Serial {at}", "lot": Lot.objects.order_by("-pk")[at]},
    Transfer: lambda at: {"key": uuid4()},
    UpdateTest: lambda at: {"on": scene.AS_OF - timedelta(at + 1)},
    Temperature: lambda at: {"at": NOW - timedelta(hours=at + 1)},
    LabelSheet: lambda at: {"name": f"Sheet no {at}"},
    Scan: lambda at: {"uuid": uuid4()},
}


def copy_rows(workshop, times):
    """So many more of each of these rows."""
    for model, differing in MANY.items():
        first = model.objects.filter(workshop=workshop).order_by("pk").last()
        values = {field.attname: getattr(first, field.attname) for field in model._meta.concrete_fields if not field.primary_key}
        model.objects.bulk_create([_copy(model, values, differing(at)) for at in range(times)])


def _copy(model, values, differing):
    row = model(**values)
    for name, value in differing.items():
        setattr(row, name, value)
    return row


class Visited:
    """Every page of a workshop of this size, once, by its owner."""

    def __init__(self, size):
        with scopes_disabled():
            workshop = factories.furnished_workshop(size.upper().replace(" ", "-"))
            furnish(workshop)
            scene.fill(**SIZES[size], workshop=workshop)
            copy_rows(workshop, COPIES[size])
            for _ in range(PROJECTS if size == "more projects" else 0):
                _another_project(workshop)
            if connection.vendor == "postgresql":  # in one transaction nothing else would tell it how many rows there are by now
                with connection.cursor() as cursor:
                    cursor.execute("ANALYZE")
            self.client = Client(raise_request_exception=False)
            self.client.force_login(Member.objects.filter(workshop=workshop).first().user, "django.contrib.auth.backends.ModelBackend")
        self.queries, self.pages, self.failed = {}, {}, []
        for name in QUERIES if size == "more projects" else PAGES:
            self._visit(name, address(name, workshop))

    def _visit(self, name, where):
        counted.set(seen_key(self.client.session.session_key), True)
        with CaptureQueriesContext(connection) as found, TakenBack():
            answer = self.client.get(where)
        if answer.status_code >= HTTPStatus.INTERNAL_SERVER_ERROR:
            self.failed.append(where)
        self.queries[name] = len(found)
        if answer.headers.get("Content-Type", "").startswith("text/html"):
            self.pages[name] = answer.content


def _another_project(workshop):
    item = Item.objects.filter(workshop=workshop).first()
    project = factories.ProjectFactory(bench=Bench.objects.filter(workshop=workshop).first())
    factories.CallOutFactory(step=factories.StepFactory(project=project, planned_on=scene.AS_OF), item=item)


def address(name, workshop):
    """A page of that workshop; the plan's are of the large plan."""
    given = [{"OUTSIDE-PROJECT": "PLAN", "OUTSIDE-STEP": "S5"}.get(value, value) for value in values_in(name, rows_of(workshop))]
    return reverse(name, args=given) + ASKED_FOR.get(name, "")


@pytest.fixture(scope="module")
def visited(django_db_setup, django_db_blocker):
    """Both workshops, made once: nothing of them stays."""
    with time_machine.travel(NOW, tick=False), override_settings(API_RATE=10**6), django_db_blocker.unblock(), TakenBack():
        yield {size: Visited(size) for size in SIZES}


@cache
def travels(file):
    """Bytes of a static file and of the modules that it imports, as they travel."""
    return sum(len(gzip.compress(Path(finders.find(one)).read_bytes(), 6)) for one in loaded(file))


@cache
def loaded(file):
    """A static file with the modules that it imports."""
    found, waiting = set(), [file]
    while waiting:
        one = waiting.pop()
        if one not in found:
            found.add(one)
            text = Path(finders.find(one)).read_text(errors="ignore") if one.endswith(".js") else ""
            waiting += [normpath(PurePosixPath(one).parent / name) for name in re.findall(r'from "(\.{1,2}/[^"]+)"', text)]
    return frozenset(found)


def weight(html):
    """Bytes of a page with all that it loads, as they travel."""
    files = {asset.removeprefix("/static/") for asset in Page(html.decode()).assets if asset.startswith("/static/")}
    return len(gzip.compress(html, 6)) + sum(map(travels, files))


def test_main_pages_take_the_queries_of_this_table(visited):
    small, large = ({name: visited[size].queries[name] for name in QUERIES} for size in ("small", "large"))

    assert small == QUERIES
    assert {name for name, count in large.items() if count > QUERIES[name]} == set()


def test_no_page_takes_more_queries_in_a_large_workshop_than_in_a_small_one(visited):
    small, large = visited["small"], visited["large"]
    grown = {name: (small.queries[name], large.queries[name]) for name in PAGES if small.queries[name] < large.queries[name]}

    assert (small.failed, large.failed) == ([], [])
    assert grown == {}


def test_only_what_nets_each_project_by_itself_takes_more_queries_for_more_projects(visited):
    small, more = visited["small"], visited["more projects"]
    each = {name: (count - small.queries[name]) / PROJECTS for name, count in more.queries.items() if count != small.queries[name]}

    assert each == BY_PROJECT


def test_no_page_is_heavier_than_a_phone_in_a_hangar_loads(visited):
    pages = {name: html for name, html in visited["large"].pages.items() if name not in CAMERA}
    heavy = {name: (len(html), weight(html)) for name, html in pages.items() if len(html) > MOST_HTML or weight(html) > MOST}

    assert heavy == {}


def test_pages_and_styles_travel_compressed_and_the_api_keeps_its_strong_tags(client, as_member, owner, item):
    for where in (reverse("sign-in"), "/static/rivetloft.css"):
        answer = client.get(where, headers={"accept-encoding": "gzip"})
        assert answer.getvalue()
        assert answer.headers["Content-Encoding"] == "gzip", where

    one = as_member(owner).get(reverse("api-item", args=[item.pk]), headers={"accept-encoding": "gzip"})
    assert "Content-Encoding" not in one.headers
    assert one.headers["ETag"].startswith('"')
