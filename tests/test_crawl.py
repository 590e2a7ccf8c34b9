"""Every page of the site as each role: an answer that browsers and people can read, and no link that refuses or leads nowhere."""

import re
from collections import Counter
from http import HTTPStatus
from urllib.parse import urljoin, urlsplit

import pytest
from django.conf import settings
from django.contrib.staticfiles import finders
from django.test import override_settings
from django.urls import Resolver404, resolve, reverse
from django.utils import timezone
from django_scopes import scopes_disabled

from buildplan.loading.demo import PROJECT, ensure_demo
from inventory.models import Photo
from tests import factories
from tests.pages import Page, invalid
from tests.test_authorisation import MEMBERS, PROGRAMS, RIGHTS, Scene, TakenBack, may
from tests.test_isolation import OPEN

pytestmark = [pytest.mark.alike, pytest.mark.django_db]

STATIC = "/static/"
REFUSED = {HTTPStatus.FORBIDDEN, HTTPStatus.NOT_FOUND, HTTPStatus.METHOD_NOT_ALLOWED}
FILES = ("-csv", "-pdf", "-letter", "-card")  # the same for whoever may see them
OF_OURS = 2  # the same of ours: rows of both benches, not every calculator
A_KIND = 1  # pages of the demo that are looked at of one address's kind
PAGES = [name for name, rights in RIGHTS.items() if name not in PROGRAMS and "GET" in rights]  # API and forms: test_authorisation
ROLES = tuple(who for who in MEMBERS if who != "holder")  # of the two builders the one with most that refuses
OPEN_PAGES = sorted(OPEN - {"sign-out", "feed", "api-part", "openapi"})  # the last two have no one value
ELSEWHERE = ("mailto:", "data:", "tel:")
# Where one goes from: everything else is found by its links.
STARTS = ("home", "plans", "order-sheets", "shelves", "crates", "shelf-life", "club", "scan", "settings", "members", "figures")


class Crawl:
    """Two workshops walked through: ours has a row behind every address, the demo has pages full of rows."""

    def __init__(self):
        with scopes_disabled():
            loaded = ensure_demo(settings.BASE_DIR / "fixtures", password="a long enough one", today=timezone.localdate())
            self.demo = loaded.workshop
            self.scene = Scene()
            for name in Photo.objects.values_list("file", flat=True):
                (settings.MEDIA_ROOT / name).write_bytes(b"")
            self.scene.sessions["demo owner"] = self.scene._signed_in(factories.MemberFactory(workshop=self.demo))
        self.addresses = {name: self.scene.address(name, self.scene.ours) for name in [*PAGES, *OPEN_PAGES]}
        self.answers, self.pages, self.asked, self.tried, self.wrong = {}, {}, {}, set(), []
        for who in ROLES:
            self._visit_each_address(who)
        self._visit_signed_out()
        self._follow("demo owner")

    def _visit_each_address(self, who):
        for name in PAGES:
            if may(who, RIGHTS[name]["GET"]) and (who == "owner" or not name.endswith(FILES)):
                self.visit(who, self.addresses[name], name)
        for (asker, address), page in list(self.pages.items()):
            if asker == who:
                for link in sorted(page.links, key=str):
                    self._try(who, address, link)

    def _visit_signed_out(self):
        for name in [*PAGES, *OPEN_PAGES]:
            self.visit(None, self.addresses[name], name)

    def _follow(self, who):
        """From page to page by their links, a few of each kind."""
        seen, waiting = Counter(), [reverse(name) for name in STARTS] + [reverse("plan", args=[PROJECT])]
        waiting = list(dict.fromkeys(waiting))
        while waiting:
            address = waiting.pop(0)
            page = self.visit(who, address, resolve(urlsplit(address).path).url_name)
            for link in sorted(page.links if page else (), key=str):
                found = self._try(who, address, link)
                if found and found[1] not in waiting and (who, found[1]) not in self.answers and seen[found[0]] < A_KIND:
                    seen[found[0]] += 1
                    waiting.append(found[1])

    def visit(self, who, address, name):
        """What the address answers, kept; the page, where it is one."""
        if (who, address) in self.answers:
            return self.pages.get((who, address))
        answer = self.scene.ask(who, "GET", name, address)
        self.answers[who, address] = answer
        self.asked.setdefault((who, name), set()).add(urlsplit(address).path)
        if answer.status_code >= HTTPStatus.INTERNAL_SERVER_ERROR:
            self.wrong.append(f"{who} {address}: {answer.status_code}")
        if answer.headers.get("Content-Type", "").startswith("text/html") and "Location" not in answer.headers:
            self.pages[who, address] = Page(answer.content.decode())
        return self.pages.get((who, address))

    def _try(self, who, origin, link):
        """The kind and address of a page that a link leads to, where it is one of ours; its fault is noted once."""
        absolute = link.address.startswith("/")
        if link.address.startswith(ELSEWHERE) or (who, link) in self.tried:
            return None
        if absolute:
            self.tried.add((who, link))
        parts = urlsplit(urljoin(origin, link.address))
        if parts.netloc:
            return None
        if parts.fragment and parts.path == urlsplit(origin).path and link.address.startswith("#"):
            if parts.fragment not in self.pages[who, origin].ids:
                self.wrong.append(f"{who} {origin}: #{parts.fragment} isn't there")
            return None
        try:
            name = resolve(parts.path).url_name
        except Resolver404:
            self.wrong.append(f"{who} {origin}: {link.address} leads nowhere")
            return None
        return self._ask(who, origin, link.method, name, parts)

    def _ask(self, who, origin, method, name, parts):
        address = parts.path + (f"?{parts.query}" if parts.query else "")
        if method == "POST":
            if self._refuses(who, name, parts.path, own=parts.path == urlsplit(origin).path):
                self.wrong.append(f"{who} {origin}: offers to send to {parts.path}, which refuses")
            return None
        asked = self.asked.setdefault((who, name), set())
        if len(asked) < (OF_OURS if who in ROLES else A_KIND) and parts.path not in asked:
            asked.add(parts.path)
            self.visit(who, address, name)
        answer = self.answers.get((who, address))
        if answer is not None and answer.status_code in REFUSED and not answer.streaming:
            self.wrong.append(f"{who} {origin}: links to {address}, which answers {answer.status_code}")
        return name, address

    def _refuses(self, who, name, path, *, own):
        """Whether a form would be refused whatever is filled in. Who has the right by the table isn't asked again.

        A page that is there may miss a hidden field of its `own` form.
        """
        right = RIGHTS.get(name, {}).get("POST")
        role = who.split()[-1]
        if name in OPEN or (right and "@" not in right and right != "nobody?" and may(role, right)):
            return False
        if (who, name, path) not in self.asked:
            self.asked[who, name, path] = self.scene.ask(who, "POST", name, path).status_code
        return self.asked[who, name, path] in (REFUSED - {HTTPStatus.NOT_FOUND} if own else REFUSED)


@pytest.fixture(scope="module")
def crawl(django_db_setup, django_db_blocker, tmp_path_factory):
    """Walked through once: none of it stays."""
    apart = override_settings(API_RATE=10**6, API_STRANGERS_RATE=10**6, MEDIA_ROOT=tmp_path_factory.mktemp("uploads"))
    with apart, django_db_blocker.unblock(), TakenBack():
        yield Crawl()


def test_no_page_fails_and_no_link_leads_nowhere_or_to_a_refusal(crawl):
    assert sorted(set(crawl.wrong)) == [], "\n".join(sorted(set(crawl.wrong)))


def test_every_page_can_be_read_by_a_browser_and_with_a_screen_reader(crawl):
    wrong = {}
    for (_, address), page in crawl.pages.items():
        for fault in page.faults:
            wrong.setdefault(fault, address)

    assert wrong == {}, "\n".join(f"{fault}: {where}" for fault, where in wrong.items())


def test_every_page_is_valid_html(crawl):
    wrong, seen = {}, Counter()
    for who, address in crawl.pages:
        name = resolve(urlsplit(address).path).url_name
        seen[name] += 1
        if seen[name] == 1:  # html5lib takes its time, and a page is one template whoever asks
            wrong |= dict.fromkeys(invalid(crawl.answers[who, address].content.decode()), address)

    assert wrong == {}, "\n".join(f"{fault}: {where}" for fault, where in wrong.items())


def test_every_file_that_a_page_loads_is_ours_and_there(crawl):
    loaded = {asset for page in crawl.pages.values() for asset in page.assets}
    files = {urlsplit(one).path.removeprefix(STATIC) for one in loaded if one.startswith(STATIC)}

    assert {one for one in loaded if not one.startswith("/")} == set()
    assert {one for one in files if finders.find(one) is None} == set()


def test_every_answer_says_which_scripts_and_styles_it_allows(crawl):
    said = {address: answer.headers.get("Content-Security-Policy", "") for (_, address), answer in crawl.answers.items()}
    del said[reverse("scan-decoder")]  # a worker's own policy: the one place that may compile (inventory/scanning)
    lax = {address for address, policy in said.items() if "default-src 'self'" not in policy or re.search(r"unsafe-|\*", policy)}

    assert lax == set()


def test_pages_of_the_demo_are_walked_through(crawl):
    """The walk reaches what it should: a page that nothing leads to would be missed in silence."""
    reached = {resolve(urlsplit(address).path).url_name for who, address in crawl.pages if who == "demo owner"}

    assert {"step", "lot", "crate", "seal-day", "order-sheet", "pins", "club-day", "member", "thing"} <= reached
