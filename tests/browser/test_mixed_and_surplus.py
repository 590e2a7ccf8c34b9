"""What was mixed for a step, on its page, and what a bench has too much of, offered from there."""

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from buildplan.sealing import services
from buildplan.sealing.services import Take
from inventory.models import Transfer
from tests import factories

pytestmark = [pytest.mark.alike, pytest.mark.django_db(transaction=True)]


def test_mixed_step_and_surplus_are_usable_by_everyone(page, live_server, signed_in, axe, workshop, bench, project, drawer, builder):
    known = {"gravity": Decimal("1.55"), "base": Decimal(100), "accelerator": Decimal(10)}
    sealant = factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g", **known)
    factories.BenchFactory(workshop=workshop, name="Plover")
    step = factories.StepFactory(project=project, code="F3-05")
    factories.SeamFactory(step=step, sealant=sealant, code="KEEL")  # 27.9 g
    tin = factories.LotFactory(bench=bench, item=sealant, code="R7", expires_on=timezone.localdate() + timedelta(40))
    factories.stock(tin, 100, drawer)
    services.record_mix(
        item=sealant,
        key=uuid4(),
        takes=[Take(tin, drawer, Decimal(20))],
        shares=[(step, Decimal(20))],
        base=Decimal(18),
        accelerator=Decimal(2),
        mixed_at=timezone.now(),
        mixed_by="Ada",
        on=timezone.localdate(),
        temperature_f=None,
        life_hours=None,
        by=builder,
    )
    signed_in(builder)
    page.goto(live_server.url + reverse("step", args=["TERN-1", "F3-05"]))
    expect(page.get_by_role("table", name="Mixed for it")).to_contain_text("18 g base + 2 g accelerator")
    axe(page)

    page.goto(live_server.url + reverse("surplus"))
    expect(page.get_by_text("72.1 of 80 g")).to_be_visible()
    axe(page)
    page.get_by_role("link", name="Offer it").click()
    expect(page.get_by_label("How much")).to_have_value("72.1")
    page.get_by_role("button", name="Offer it").click()
    expect(page.get_by_text("They stay yours until the other side agrees")).to_be_visible()
    assert (Transfer.objects.get().lot, Transfer.objects.get().quantity) == (tin, Decimal("72.1"))
