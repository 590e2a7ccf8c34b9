"""Whatever a message offers to take back is as it was, once it is pressed: over the slices."""

from datetime import date
from decimal import Decimal
from fractions import Fraction
from uuid import uuid4

import pytest
from django import forms
from django.http import QueryDict
from django.urls import reverse
from django.utils import timezone

from buildplan.models import RivetRow, SealingSupply, Seam
from inventory.common.forms import DayInput, QuantityInput, SizeInput
from inventory.common.undo import as_it_stands
from inventory.models import Booking, ClaimRule, Identifier, Loan, Sender, UnitCost
from tests import factories
from tests.undo import pressed, undone


class Everything(forms.Form):
    """One box of each kind that our forms have."""

    day = DayInput(required=False)
    quantity = QuantityInput(required=False)
    size = SizeInput(required=False)
    state = forms.ChoiceField(choices=[("good", "good"), ("failed", "failed")])
    people = forms.MultipleChoiceField(choices=[("1", "Ann"), ("2", "Bea")], required=False)
    ticked = forms.BooleanField(required=False)
    note = forms.CharField(required=False)


@pytest.fixture
def keeper(as_member, storekeeper):
    return as_member(storekeeper)


def test_form_as_it_stands_reads_back_as_what_it_was_opened_with():
    was = {"day": date(2027, 3, 6), "quantity": Decimal("2.5"), "size": Fraction(1, 8), "state": "failed", "people": ["2", "1"]}
    for more in ({"ticked": True, "note": "dented"}, {"ticked": False, "note": ""}):
        form = Everything(as_sent(as_it_stands(Everything(initial=was | more))))
        assert form.is_valid(), form.errors
        assert form.cleaned_data == was | more


def as_sent(fields):
    """As a browser sends them: each value of a list by itself."""
    sent = QueryDict(mutable=True)
    for name, value in fields.items():
        sent.setlist(name, value if isinstance(value, list) else ["" if value is None else value])
    return sent


def test_row_and_seam_of_a_step_are_as_they_were(keeper, workshop, project):
    step = factories.StepFactory(project=project, code="F3-05")
    later = factories.StepFactory(project=project, code="F3-06", after=[step])
    rivet = factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", kind="rivet", diameter=Fraction(1, 8))
    cleco = factories.ItemFactory(workshop=workshop, code="CLECO-4", kind="cleco", diameter=Fraction(1, 8))
    sealant = factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g", gravity=Decimal("1.55"))
    spaced = {"cleco_every": 2, "cleco": cleco, "clecos_until": later}
    row = factories.RivetRowFactory(step=step, rivet=rivet, code="A", holes=40, grip=Fraction(1, 8), **spaced)
    seam = factories.SeamFactory(step=step, sealant=sealant, code="S1")
    kept = [list(model.objects.values(*names)) for model, names in OF_STEP.items()]

    pressed(keeper, "row", row.pk, code="B", rivet=rivet.code, holes="12", grip="", cleco_every="", clecos_until="")
    pressed(keeper, "remove-row", row.pk)
    pressed(keeper, "add-row", project.code, step.code, code="C", rivet=rivet.code, holes="12", grip="", cleco_every="", clecos_until="")
    pressed(keeper, "remove-seam", seam.pk)

    assert [list(model.objects.values(*names)) for model, names in OF_STEP.items()] == kept


OF_STEP = {
    RivetRow: ("code", "rivet", "holes", "grip", "cleco_every", "cleco", "clecos_until"),
    Seam: ("code", "sealant", "shape", "length", "unit", "leg_a", "leg_b", "thickness", "size_unit", "count", "grams_each", "loss_percent"),
}


def test_claim_clock_is_what_it_was(keeper, workshop):
    sender = Sender.objects.create(workshop=workshop, name="Kit Works")
    said = {"fault": "shortage", "days": "30", "against": "sender", "source": "terms, par. 4"}

    pressed(keeper, "set-claim-rule", sender.pk, **said)
    assert not ClaimRule.objects.exists()

    keeper.post(reverse("set-claim-rule", args=[sender.pk]), said, follow=True)
    pressed(keeper, "set-claim-rule", sender.pk, **said | {"days": "5"})
    pressed(keeper, "remove-claim-rule", ClaimRule.objects.get().pk)
    rule = ClaimRule.objects.get()
    assert (rule.days, rule.against, rule.source) == (30, "sender", "terms, par. 4")


def test_supply_of_a_batch_is_what_it_was(keeper, workshop):
    pressed(keeper, "supplies", name="Glove", quantity="2", unit="pair")
    assert not SealingSupply.objects.exists()

    supply = factories.SealingSupplyFactory(workshop=workshop, name="Cup", quantity=Decimal(1), unit="ea")
    pressed(keeper, "supply", supply.pk, name="Large cup", quantity="3", unit="ea")
    pressed(keeper, "supply", supply.pk, remove="1")
    assert list(SealingSupply.objects.values_list("name", "quantity", "unit")) == [("Cup", Decimal(1), "ea")]


def test_cost_of_shared_material_is_what_it_was(keeper, shared_bench, item, drawer):
    factories.stock(factories.LotFactory(bench=shared_bench, item=item), 5, drawer)
    said = {"item": item.pk, "since": "2026-01-02", "amount": "1.25"}

    pressed(keeper, "unit-costs", **said)
    assert not UnitCost.objects.exists()

    keeper.post(reverse("unit-costs"), said, follow=True)
    pressed(keeper, "unit-costs", **said | {"amount": "9"})
    pressed(keeper, "remove-unit-cost", UnitCost.objects.get().pk)
    assert UnitCost.objects.get().amount == Decimal("1.25")


def test_code_taught_by_mistake_is_unknown_again_and_one_known_before_stays(keeper, item):
    pressed(keeper, "code", code="RK-77", text="RK-77", item=item.code)
    assert not Identifier.objects.filter(text="RK-77").exists()

    keeper.post(reverse("code"), {"code": "RK-78", "text": "RK-78", "item": item.code}, follow=True)
    page = keeper.post(reverse("code"), {"code": "RK-78", "text": "RK-78", "item": item.code}, follow=True)
    assert 'class="undo"' not in page.content.decode()


def test_loan_is_in_its_place_again_and_a_booking_is_cancelled(as_member, workshop, builder, shared_bench, drawer):
    clecos = factories.ItemFactory(workshop=workshop, code="CLECO-3", kind="cleco")
    lot = factories.LotFactory(bench=shared_bench, item=clecos)
    factories.stock(lot, 40, drawer)
    client, today = as_member(builder), timezone.localdate().isoformat()

    lent = {"key": uuid4(), "spot": f"{lot.pk}:{drawer.pk}", "quantity": "10", "member": builder.pk}
    page = client.post(f"{reverse('lend')}?item={clecos.pk}", lent, follow=True)
    assert "returned" in undone(client, page)
    assert Loan.objects.get().ends.get().quantity == 10

    booked = {"key": uuid4(), "what": f"item:{clecos.pk}", "quantity": "5", "member": builder.pk, "first_day": today, "last_day": today}
    pressed(client, "book", **booked)
    assert not Booking.objects.filter(ended_at=None).exists()


def test_bench_is_held_by_whom_it_was(as_member, owner, bench, workshop):
    ann, bea = (factories.MemberFactory(workshop=workshop, role="builder", name=name) for name in ("Ann", "Bea"))
    client = as_member(owner)
    client.post(reverse("bench-holders", args=[bench.pk]), {"members": [ann.pk, bea.pk]}, follow=True)

    pressed(client, "bench-holders", bench.pk, members=[])

    assert set(bench.holders.values_list("member_id", flat=True)) == {ann.pk, bea.pk}
