"""Every page in both schemes and both widths: axe finds nothing, nothing is cut off, no policy is broken, the console stays empty.

The pages of `FULL` are seen in all four looks and whole; the others by day on a phone and by night at a desk, without the header and footer
that all share: colours and widths are those of one stylesheet, and axe takes its time.
"""

import json
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django_scopes import scopes_disabled
from playwright.sync_api import Error

from buildplan.figures.calculators import CALCULATORS
from buildplan.loading.demo import PROJECT, ensure_demo
from inventory.models import Item, Photo
from tests import factories
from tests.browser.conftest import BEYOND, LOOKS, RUN
from tests.pictures import picture
from tests.test_authorisation import ASKED_FOR, PROGRAMS, RIGHTS, may
from tests.test_isolation import furnish, rows_of, values_in

pytestmark = pytest.mark.alike

STEP = "F3-04"  # of the demo: rows, seams, call-outs
FULL = {"home", "plan", "order-sheet", "pins", "step", "step-sheet", "shelves", "shelf-life", "club-day", "club", "crate", "count-bag"}
FULL |= {"seal-day", "seal-day-move", "mix-card", "find", "statement", "pick-list"}
WHOLE = FULL | {"sign-in"}
NO_PAGE = {"photo", "scan-worker", "scan-decoder", "openapi", "feed", "sign-out", "archive-file"}
PAGES = [name for name, rights in RIGHTS.items() if name not in PROGRAMS | NO_PAGE and "GET" in rights and may("owner", rights["GET"])]
PAGES = [name for name in PAGES if not name.endswith(("-csv", "-pdf", "-letter"))]
PIXEL = picture()
RUN_WITHIN = RUN.replace(".run(document,", ".run({exclude: [['body > header'], ['body > footer']]},")
TELL = "addEventListener('securitypolicyviolation', event => console.error(`policy: ${event.violatedDirective} ${event.blockedURI}`))"
UNFOLD = "document.querySelectorAll('details').forEach(one => { one.open = true })"


def addresses(demo, ours):
    """Each page once, most of them short: axe's time grows with the page."""
    found = {}
    for name in PAGES:
        if name in FULL:
            given, workshop, project, step = values_in(name, rows_of(demo)), demo.code, PROJECT, STEP
        else:
            given, workshop, project, step = values_in(name, rows_of(ours)), "OURS", "OURS-PROJECT", "OURS-STEP"
        given = [{"OUTSIDE-PROJECT": project, "OUTSIDE-STEP": step, "outside": "mix"}.get(value, value) for value in given]
        asked = ASKED_FOR.get(name, "?").lstrip("?")
        found[name] = f"{reverse(name, args=given)}?{asked}&workshop={workshop}"
    for name, calculator in CALCULATORS.items():
        found[f"figure {name}"] = f"{reverse('figure', args=[name])}?{urlencode(calculator.example, doseq=True)}"
    item = rows_of(ours)(Item)
    found["repair"] = reverse("repair:index")
    found["repair rows"] = reverse("repair:inventory_movement_changelist")
    found["repair row"] = reverse("repair:inventory_item_change", args=[item])
    found["repair history"] = reverse("repair:inventory_item_history", args=[item])
    return found


class Look:
    """One page after another in one tab."""

    def __init__(self, page, site):
        self.page, self.site, self.wrong = page, site, {}
        self.where = ""
        page.add_init_script(TELL)
        page.on("console", lambda message: self._note("console", message.text) if message.type in {"error", "warning"} else None)
        page.on("pageerror", lambda error: self._note("script", str(error)))
        self.axe = Axe().axe_script

    def at(self, name, address):
        """Load it on a phone by day, then change only what is emulated."""
        self.where = name
        self.page.emulate_media(color_scheme="light", reduced_motion="reduce")  # no colour glides
        self.page.set_viewport_size({"width": 390, "height": 844})
        try:
            answer = self.page.goto(self.site + address)
        except Error as error:
            if "Download is starting" not in error.message:
                raise
            return
        if answer is None or not answer.ok:
            self._note("status", answer and answer.status)
            return
        self.page.evaluate(UNFOLD)
        self.page.evaluate(self.axe)
        self._see("light, 390 px", None)
        self.page.emulate_media(color_scheme="dark")
        if name in FULL:
            self._see("dark, 390 px", LOOKS)
        self.page.set_viewport_size({"width": 1280, "height": 844})
        self._see("dark, 1280 px", LOOKS)
        if name in FULL:
            self.page.emulate_media(color_scheme="light")
            self._see("light, 1280 px", LOOKS)

    def _see(self, look, only):
        run = RUN if self.where in WHOLE else RUN_WITHIN
        for one in self.page.evaluate(run, only)["violations"]:
            self._note(f"{look}: {one['id']}", [node["html"][:160] for node in one["nodes"][:3]])
        if (beyond := self.page.evaluate(BEYOND)) > 0:
            self._note(f"{look}: scrolls sideways", beyond)

    def _note(self, what, told):
        self.wrong.setdefault(f"{self.where}: {what}", told)


@pytest.mark.timeout(900)  # one after another: as long as many tests
@pytest.mark.django_db(transaction=True)
def test_every_page_is_usable_by_everyone(page, live_server, signed_in):
    with scopes_disabled():
        demo = ensure_demo(settings.BASE_DIR / "fixtures", password="a long enough one", today=timezone.localdate()).workshop
        ours = factories.furnished_workshop("OURS")
        furnish(ours)
        for name in Photo.objects.values_list("file", flat=True):
            path = Path(settings.MEDIA_ROOT) / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(PIXEL)
        owner = factories.MemberFactory(workshop=demo)
        factories.MemberFactory(workshop=ours, user=owner.user)
        settings.API_RATE, found = 10**6, addresses(demo, ours)
    look = Look(page, live_server.url)
    for name in ("sign-in", "forgotten", "password-sent", "api"):
        look.at(name, reverse(name))
    signed_in(owner)
    for name, address in found.items():
        look.at(name, address)

    assert look.wrong == {}, json.dumps(look.wrong, indent=1)
