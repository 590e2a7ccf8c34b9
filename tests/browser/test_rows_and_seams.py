"""A rivet row and a seam typed in, asked about, told what is wrong with them, and removed, as people meet it."""

from decimal import Decimal
from fractions import Fraction

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from buildplan.models import RivetRow, Seam
from tests import factories

pytestmark = pytest.mark.alike


@pytest.fixture
def step(workshop, project):
    for code, facts in (
        ("MS20470AD4-6", {"kind": "rivet", "diameter": Fraction(1, 8)}),
        ("CLECO-4", {"kind": "cleco", "diameter": Fraction(1, 8)}),
        ("SEAL-B2", {"kind": "sealant", "unit": "g", "gravity": Decimal("1.55")}),
    ):
        factories.ItemFactory(workshop=workshop, code=code, **facts)
    factories.StepFactory(project=project, code="F3-06", title="Seal the skin")
    return factories.StepFactory(project=project, code="F3-05")


def fill(page, **said):
    for label, text in said.items():
        page.get_by_label(label.replace("_", " "), exact=True).fill(text)


def test_row_and_seam_are_added_changed_and_removed_by_everyone(page, live_server, signed_in, axe, builder, step):
    signed_in(builder)
    page.goto(live_server.url + reverse("step", args=[step.project.code, step.code]))

    page.get_by_role("link", name="Add a rivet row").click()
    page.get_by_role("link", name="match drilling").click()
    expect(page.get_by_label("Clecos: 1 hole in")).to_have_value("2")
    axe(page)
    fill(page, Row="R1", Rivet="MS20470AD4-7", Holes="84", Grip_in_inches="1/16")
    page.get_by_label("Clecos until").select_option(label="F3-06 Seal the skin")
    page.get_by_role("button", name="Add it").click()
    page.get_by_text("MS20470AD4-7 is no code of the catalogue.").wait_for()
    axe(page)
    fill(page, Rivet="ms20470 ad4-6")
    page.get_by_role("button", name="Add it").click()
    page.get_by_text("Question of row R1").wait_for()
    axe(page)

    page.get_by_role("link", name="Add a seam").click()
    fill(page, Seam="S1", Sealant="SEAL-B2", Length="1", Unit_of_the_length="m", Leg_a="6", Unit_of_legs_and_thickness="mm")
    page.get_by_label("Shape").select_option("triangle")
    page.get_by_role("button", name="Add it").click()
    page.get_by_text("triangle needs it").wait_for()
    axe(page)
    fill(page, Leg_b="6")
    page.get_by_role("button", name="Add it").click()
    page.get_by_text("Seam S1 is saved.").wait_for()

    page.get_by_role("link", name="S1", exact=True).click()
    expect(page.get_by_label("Leg b", exact=True)).to_have_value("6")
    axe(page)
    page.get_by_role("button", name="Remove").click()
    page.get_by_text("Seam S1 is removed.").wait_for()
    page.get_by_role("link", name="R1", exact=True).click()
    fill(page, Holes="90", Grip_in_inches="3/16")
    axe(page)
    page.get_by_role("button", name="Save").click()
    page.get_by_text("Row R1 is saved.").wait_for()
    expect(page.get_by_text("Question of row R1")).to_have_count(0)
    assert (RivetRow.objects.get().holes, Seam.objects.exists()) == (90, False)
