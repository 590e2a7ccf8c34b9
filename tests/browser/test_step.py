"""A step with rivets and sealant as people meet it, on a screen and on paper."""

import re
from datetime import timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from django.conf import settings
from django.db.models import Count
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django_scopes import scopes_disabled
from playwright.sync_api import expect

from buildplan.loading.demo import KEEPER, ensure_demo
from buildplan.models import Step
from inventory.models import Member
from tests import factories

pytestmark = pytest.mark.alike

PAPERS = ("A4", "Letter")
SAID = {"people": 2, "pace": 40, "temperature": "80 F", "division": "0.1", "life-SEAL-B2": 1}


@pytest.fixture
def today():
    return timezone.localdate()


@pytest.fixture
def scene(workshop, bench, project, drawer, today):
    """A step with rows that agree and that ask, seams, a short sealant and one of which too little is known."""
    step = factories.StepFactory(project=project, code="F3-05", title="Seal and rivet the seams", planned_on=today + timedelta(9))
    later = factories.StepFactory(project=project, code="F3-06", after=[step])
    cleco = factories.ItemFactory(workshop=workshop, code="CLECO-3", kind="cleco", diameter=Fraction(3, 32))
    factories.ItemFactory(workshop=workshop, code="DIE-DIMPLE-3", name="Dimple die pair", kind="tool", diameter=Fraction(3, 32))
    for code, diameter, grip in (("MS20426AD3-3.5", Fraction(3, 32), "0.064"), ("MS20470AD4-6", Fraction(1, 8), "0.25")):
        rivet = factories.ItemFactory(workshop=workshop, code=code, kind="rivet", diameter=diameter)
        row = {"step": step, "code": code[-5:], "rivet": rivet, "holes": 142, "grip": Fraction(grip)}
        factories.RivetRowFactory(**row, cleco_every=3, cleco=cleco, clecos_until=later)
    known = {"gravity": Decimal("1.55"), "base": Decimal(100), "accelerator": Decimal(10)}
    for code, facts in (("SEAL-B2", known), ("SEAL-X", {"gravity": None})):
        sealant = factories.ItemFactory(workshop=workshop, code=code, name="Sealant", kind="sealant", unit="g", **facts)
        factories.SeamFactory(step=step, code=f"KEEL-{code[-1]}", sealant=sealant, length=Fraction(4))
        factories.stock(factories.LotFactory(bench=bench, item=sealant, code=f"L{code[-1]}", expires_on=today + timedelta(40)), 90, drawer)
    factories.SealingSupplyFactory(workshop=workshop, name="Mixing cup")
    return step


@pytest.fixture
def visit(page, live_server, signed_in, owner, scene):
    """Open a page of the site as the owner."""
    signed_in(owner)

    def visit(name, *args, **said):
        page.goto(live_server.url + reverse(name, args=args, query=said))
        return page

    return visit


def unfold(page):
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")


def pages(page, paper):
    """How many pages a print takes: each is one object of the PDF."""
    return len(re.findall(rb"/Type\s*/Page\b", page.pdf(format=paper)))


def mm(page, selector):
    """How wide a drawing is, by CSS's own 96 px an inch, which is what a print at 100 % keeps."""
    return page.locator(selector).first.bounding_box()["width"] / 96 * 25.4


def test_step_with_an_unreadable_day_is_usable_by_everyone(visit, axe):
    page = visit("step", "TERN-1", "F3-05", people=0, temperature="77")

    page.get_by_text("Is it F or C").wait_for()
    axe(page)


def test_done_step_with_rows_and_seams_is_usable_by_everyone(visit, axe, scene):
    scene.done = True
    scene.save()
    page = visit("step", "TERN-1", "F3-05")
    unfold(page)
    axe(page)


def test_targets_of_the_bench_are_large_enough_for_gloves(visit):
    page = visit("step", "TERN-1", "F3-05", **SAID)
    page.set_viewport_size({"width": 390, "height": 844})

    for box in page.locator("main button, main input:not([type=hidden], [type=checkbox]), main summary, main .links a").all():
        assert box.bounding_box()["height"] >= 48, box.evaluate("one => one.outerHTML")


def test_bars_and_ruler_are_true_to_size_on_screen_and_on_paper(visit):
    for name in ("step", "step-sheet"):
        page = visit(name, "TERN-1", "F3-05")
        for media in ("screen", "print"):
            page.emulate_media(media=media)
            assert mm(page, "svg.bar[width='9.525mm']") == pytest.approx(9.525, abs=0.02)
            assert mm(page, "svg.ruler") == pytest.approx(54.8, abs=0.02)


def test_from_the_form_to_a_sheet_with_the_same_batches(visit):
    page = visit("step", "TERN-1", "F3-05")
    for label, text in (
        ("People who place it", "2"),
        ("Grams that one person places in an hour", "40"),
        ("Temperature of the metal", "25 C"),
        ("Work life of SEAL-B2 in hours at 77 F", "1"),
    ):
        page.get_by_label(label).fill(text)
    page.get_by_role("button", name="Weigh out").click()
    expect(page.get_by_role("table", name="Batches of SEAL-B2").get_by_role("row")).to_have_count(3)
    assert "temperature=25+C" in page.url

    page.get_by_role("link", name="Sheet to print").click()
    expect(page.get_by_role("region", name="Mix card").get_by_text("2 of 2")).to_be_visible()


def test_bench_works_without_javascript(browser, live_server, client, owner, scene):
    client.force_login(owner.user, backend="django.contrib.auth.backends.ModelBackend")
    context = browser.new_context(java_script_enabled=False)
    context.add_cookies([{"name": "sessionid", "value": client.cookies["sessionid"].value, "url": live_server.url}])
    page = context.new_page()
    page.goto(live_server.url + reverse("step", args=["TERN-1", "F3-05"]))

    page.get_by_label("People who place it").fill("3")
    page.get_by_role("button", name="Weigh out").click()
    expect(page.get_by_label("People who place it")).to_have_value("3")
    context.close()


def test_page_of_a_step_breaks_no_policy(page, live_server, signed_in, owner, scene):
    signed_in(owner)
    said = []
    page.on("console", lambda message: said.append(message.text))

    page.goto(live_server.url + reverse("step-sheet", args=["TERN-1", "F3-05"]))
    assert said == []


@pytest.mark.parametrize("paper", PAPERS)
def test_sheet_fits_one_page(visit, paper):
    assert pages(visit("step-sheet", "TERN-1", "F3-05", **SAID), paper) == 1


@pytest.fixture
def fullest(db, today):
    """The demo's keeper, and its steps that print most."""
    ensure_demo(settings.BASE_DIR / "fixtures", password="demo keeper's own", today=today)
    with scopes_disabled():
        counts = {name: Count(name, distinct=True) for name in ("rivet_rows", "seams", "call_outs")}
        steps = Step.objects.annotate(**{f"n_{name}": count for name, count in counts.items()}).select_related("project")
        found = sorted(steps, key=lambda step: 2 * step.n_rivet_rows + 2 * step.n_seams + step.n_call_outs, reverse=True)
        return Member.objects.select_related("user").get(user__email=KEEPER), [(step.project.code, step.code) for step in found[:8]]


def test_every_full_sheet_of_the_demo_fits_one_page(page, live_server, signed_in, fullest):
    keeper, steps = fullest
    signed_in(keeper)
    asked = urlencode({**SAID, **{f"life-{code}": 1 for code in ("SEAL-A2", "SEAL-B12", "SEAL-C24")}})

    for project, step in steps:
        page.goto(f"{live_server.url}{reverse('step-sheet', args=[project, step])}?{asked}")
        assert {paper: pages(page, paper) for paper in PAPERS} == dict.fromkeys(PAPERS, 1), (project, step)
