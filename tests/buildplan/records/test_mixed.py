"""A step with what was mixed for it: finishing it, its page, its sheet for programs, and the workshop's own figure."""

from datetime import UTC, date, datetime
from decimal import Decimal
from fractions import Fraction
from uuid import uuid4

import pytest
import time_machine
from django.urls import reverse

from buildplan.models import Finish, Mix
from buildplan.records import services
from buildplan.records.mixing import Given, plan_sealing
from buildplan.records.services import NothingTaken, Use
from buildplan.records.sheet import sheet_on
from buildplan.records.used import calibrations
from buildplan.sealing import services as sealing
from buildplan.sealing.services import Take
from inventory.models import Movement
from inventory.stock.queries import ledger_errors, on_hand
from tests import factories
from tests.factories import DAY

AT = datetime(2027, 2, 20, 9, 0, tzinfo=UTC)
GIVEN = Given(day=DAY, people=2, pace=Decimal(20), temperature_f=Fraction(77), division=Decimal("0.1"), lives={"SEAL-B2": Decimal(2)})


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel(AT, tick=False):
        yield


@pytest.fixture
def sealant(workshop):
    known = {"gravity": Decimal("1.55"), "base": Decimal(100), "accelerator": Decimal(10)}
    return factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g", **known)


@pytest.fixture
def tin(step, bench, sealant, drawer):
    """300 g on hand for a step whose seam takes 27.9 g."""
    factories.SeamFactory(step=step, sealant=sealant, code="KEEL")
    lot = factories.LotFactory(bench=bench, item=sealant, code="R7", expires_on=date(2027, 12, 1))
    factories.stock(lot, 300, drawer)
    return lot


@pytest.fixture
def mix(tin, sealant, step, drawer, builder):
    def mix(grams, *others):
        shares = [(step, Decimal(grams)), *others]
        total = sum(share for _, share in shares)
        return sealing.record_mix(
            item=sealant,
            key=uuid4(),
            takes=[Take(tin, drawer, total)],
            shares=shares,
            base=total - 2,
            accelerator=Decimal(2),
            mixed_at=AT,
            mixed_by="Ada",
            on=DAY,
            temperature_f=Fraction(77),
            life_hours=Fraction(2),
            by=builder,
        )

    return mix


def finish(step, by, *uses, **said):
    return services.finish_step(step=step, on=DAY, uses=uses, by=by, **said)


class TestFinish:
    def test_step_that_was_only_mixed_for_is_finished_without_more_and_not_without_movements(self, mix, step, tin, builder):
        mix(28)
        found = finish(step, builder)

        assert not found.without_movements
        assert on_hand(tin) == 272
        assert not Movement.objects.filter(ref=found.ref).exists()

    def test_step_takes_the_rest_beside_what_was_mixed(self, mix, step, tin, drawer, builder):
        mix(20)
        finish(step, builder, Use(tin, drawer, Decimal("7.9")))

        assert on_hand(tin) == Decimal("272.1")
        assert ledger_errors() == []

    def test_batch_that_was_taken_back_is_no_longer_taken(self, mix, step, builder):
        sealing.take_back_mix(mix=mix(28), on=DAY, now=AT, by=builder)
        with pytest.raises(NothingTaken):
            finish(step, builder)
        assert not Finish.objects.exists()

    def test_taking_the_finish_back_leaves_what_was_mixed(self, mix, step, tin, drawer, builder):
        made = mix(20)
        finish(step, builder, Use(tin, drawer, Decimal(8)))
        services.take_back(step=step, on=DAY, now=AT, by=builder)

        assert on_hand(tin) == 280
        assert Mix.objects.get() == made
        assert made.taken_back_at is None


class TestSheet:
    def test_batches_are_planned_of_what_is_left_to_mix(self, mix, step):
        mix(20)
        found = sheet_on(step, DAY)
        (plan,) = plan_sealing(found, GIVEN).products

        assert (plan.product.total, plan.product.mixed, plan.product.to_mix) == (Decimal("27.9"), 20, Decimal("7.9"))
        assert (plan.mix.grams, [batch.grams for batch in plan.batches]) == (Decimal("7.9"), [Decimal("7.9")])
        assert "20 g of it are mixed" in [reason.text for reason in plan.product.reasons]
        assert [(need.quantity, need.mixed) for need in found.needs] == [(Decimal("7.9"), 20)]
        assert [(one.lots, one.of(step.pk)) for one in found.mixed] == [(("R7",), 20)]

    def test_call_out_and_seam_are_told_whole_and_less_what_was_mixed_once(self, mix, step, sealant):
        factories.CallOutFactory(step=step, item=sealant, quantity=Decimal(10))
        mix(12)
        (product,) = sheet_on(step, DAY).products

        assert (product.total, product.mixed, product.to_mix) == (Decimal("37.9"), 12, Decimal("25.9"))
        assert "10 g as the plans say" in [reason.text for reason in product.reasons]

    def test_step_that_all_was_mixed_for_has_nothing_left_to_mix(self, mix, step):
        mix(40)
        (plan,) = plan_sealing(sheet_on(step, DAY), GIVEN).products

        assert (plan.product.to_mix, plan.mix, plan.batches, plan.short) == (0, None, (), 0)

    def test_done_step_tells_what_it_needed_in_all(self, mix, step, builder):
        mix(28)
        finish(step, builder)
        step.refresh_from_db()
        found = sheet_on(step, DAY)

        assert [need.quantity for need in found.needs] == [Decimal("27.9")]
        assert (found.products[0].total, found.products[0].mixed) == (Decimal("27.9"), 0)
        assert len(found.mixed) == 1

    @pytest.mark.parametrize("many", [1, 5])
    def test_sheet_takes_the_same_queries_however_many_were_mixed(self, mix, step, many, django_assert_num_queries):
        for _ in range(many):
            mix(5)
        with django_assert_num_queries(18):
            sheet_on(step, DAY)


class TestPages:
    def page(self, client, step, name="step"):
        return " ".join(client.get(reverse(name, args=[step.project.code, step.code])).content.decode().split())

    def test_open_step_shows_its_batches_and_what_is_left(self, mix, step, project, as_member, builder):
        other = factories.StepFactory(project=project, code="F9")
        sealing.end_mix(mix=mix(20, (other, Decimal(3))), left=Decimal("1.5"), at=AT, by=builder)
        page = self.page(as_member(builder), step)

        assert "As mixed 100 : 9.5; the product&#x27;s is 100 : 10, by weight." in page
        for words in ["Mixed for it", "21 g base + 2 g accelerator", "20 g</td>", "2027-02-20 09:00 by Ada", "2027-02-20 11:00", "1.5 g"]:
            assert words in page
        assert "27.9 g, 20 g of it mixed" in page
        assert "20 g of it are mixed" in page
        assert "27.9 g, 20 g of it mixed" in self.page(as_member(builder), step, "step-sheet")

    def test_done_step_shows_that_it_took_its_batches_and_nothing_more(self, mix, step, as_member, builder):
        mix(28)
        answer = as_member(builder).post(reverse("step", args=[step.project.code, step.code]), {"on": str(DAY)})
        assert answer.status_code == 302
        page = self.page(as_member(builder), step)

        assert "It took what was mixed for it, and nothing more." in page
        assert "Mixed for it" in page
        assert "Done without movements" not in page

    def test_step_without_batches_shows_none(self, tin, step, as_member, reader):
        assert "Mixed for it" not in self.page(as_member(reader), step)

    def test_api_tells_the_batches_and_what_was_mixed(self, mix, step, as_member, reader):
        made = mix(20)
        found = as_member(reader).get("/api/v1/projects/TERN-1/step", {"step": step.code}).json()

        assert found["mixes"] == [
            {
                "id": made.pk,
                "item": "SEAL-B2",
                "grams": "20",
                "for_this_step": "20",
                "base": "18",
                "accelerator": "2",
                "lots": ["R7"],
                "mixed_at": "2027-02-20T09:00:00+00:00",
                "mixed_by": "Ada",
                "work_until": "2027-02-20T11:00:00+00:00",
                "left": None,
                "warnings": [
                    {"text": "as mixed 100 : 11.1; the product's is 100 : 10, by weight", "source": "the product's data sheet, as entered"}
                ],
                "ratio_trace": [
                    {"text": "as mixed 100 : 11.1; the product's is 100 : 10, by weight", "source": "the product's data sheet, as entered"},
                    {"text": "18 g base ask for 1.8 g accelerator; 2 g is off by 11.1 %", "source": "computed"},
                    {"text": "over 2 %, what a part may be off by", "source": "a starting value of ours"},
                ],
            }
        ]
        assert [(need["needed"], need["mixed"]) for need in found["needs"]] == [("7.9", "20")]
        assert [(one["grams"], one["mixed"]) for one in found["sealants"]] == [("27.9", "20")]


class TestOwnFigure:
    def test_own_figure_counts_what_was_mixed_and_what_finishing_took(self, mix, step, tin, sealant, drawer, builder):
        mix(20)
        finish(step, builder, Use(tin, drawer, Decimal("35.8")))
        (sample,) = calibrations([sealant.pk])[sealant.pk].samples

        assert (sample.formula, sample.used) == (Decimal("27.9"), Fraction("55.8"))

    def test_own_figure_of_a_step_that_was_only_mixed_for(self, mix, step, sealant, builder):
        mix("27.9")
        finish(step, builder)

        assert calibrations([sealant.pk])[sealant.pk].mean == 1

    def test_own_figure_leaves_out_batches_taken_back_and_steps_not_done(self, mix, step, tin, sealant, drawer, builder):
        sealing.take_back_mix(mix=mix(100), on=DAY, now=AT, by=builder)
        mix(5)
        assert calibrations([sealant.pk]) == {}

        finish(step, builder, Use(tin, drawer, Decimal("22.9")))
        assert calibrations([sealant.pk])[sealant.pk].mean == 1
