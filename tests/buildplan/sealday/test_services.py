"""Planning and changing a seal day, its people, its sheets, its lots, its list, and the batches mixed on it."""

from datetime import date, datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction
from uuid import uuid4

import pytest
from django.utils import timezone

from buildplan.models import DayMix, DayProduct, DayStep
from buildplan.sealday import services
from buildplan.sealday.services import BadDay, BatchesMixed, DayOver, DayTaken, NothingToHold, OnTheList, PersonData
from buildplan.sealing.services import Take, take_back_mix
from inventory.common.problems import FieldProblem
from inventory.models import SetAside
from inventory.stock import services as stock
from inventory.stock.queries import on_hand
from inventory.workshop.policy import NotAllowed
from tests import factories
from tests.buildplan.sealday.conftest import CREW, NOW, SATURDAY, SUNDAY, planned, seam
from tests.factories import DAY

ONE_DAY = timedelta(days=1)


def held():
    return {(row.lot.code, row.ref): row.quantity for row in SetAside.objects.select_related("lot")}


def of(step):
    return f"step:{step.pk}"


@pytest.fixture
def mixed(day, b2, drawer, builder):
    """Mixes a batch of 55 g on the day: by whom, from which lot, for which steps."""

    def mixed(lot, *shares, key=None, by=builder, day=day, item=b2):
        grams = sum((grams for _, grams in shares), Decimal(0))
        small = (grams / 11).quantize(Decimal("0.001"))
        return services.mix(
            day=day,
            key=key or uuid4(),
            item=item,
            takes=[Take(lot, drawer, grams)],
            shares=shares,
            base=grams - small,
            accelerator=small,
            mixed_at=timezone.make_aware(datetime(2027, 3, 13, 10)),  # noqa: DTZ001
            mixed_by="Ida",
            on=SATURDAY,
            temperature_f=Fraction(75),
            by=by,
        )

    return mixed


class TestPlan:
    def test_plan_sets_the_steps_days(self, bench, steps, builder):
        day = services.plan_seal_day(bench=bench, on=SUNDAY, steps=[steps.left, steps.right], by=builder, today=DAY, note="with Ida")

        steps.left.refresh_from_db()
        assert (steps.left.planned_on, steps.right.history.first().history_user) == (SUNDAY, builder)
        assert [row.step_id for row in day.steps.order_by("pk")] == [steps.left.pk, steps.right.pk]
        assert (day.by, day.history.get().history_user, day.note, day.open) == (builder, builder, "with Ida", True)

    def test_plan_refuses_what_no_day_can_be(self, bench, other_bench, steps, day, owner, outsider):
        foreign = factories.StepFactory(project=factories.ProjectFactory(bench=other_bench), code="X1-01")
        done = factories.StepFactory(project=steps.left.project, code="D1-01", done=True)
        cases = [
            (DAY - ONE_DAY, [steps.fillet], BadDay, "2027-02-19 is past: plan a seal day for today"),
            (date.max, [steps.fillet], BadDay, "9999-12-31 is more than ten years off: name a day up to 2037-02-27"),
            (SUNDAY, [], BadDay, "without steps is none"),
            (SUNDAY, [foreign], BadDay, "X1-01 is a step of bench PLOVER, and this day is of TERN"),
            (SUNDAY, [done], BadDay, "D1-01 is done"),
            (SUNDAY, [steps.left], DayTaken, "F3-04 is in the seal day of 2027-03-13 already"),
            (SATURDAY, [steps.fillet], DayTaken, "bench TERN has a seal day on 2027-03-13 already"),
        ]
        for on, wanted, problem, text in cases:
            with pytest.raises(problem, match=text):
                services.plan_seal_day(bench=bench, on=on, steps=wanted, by=owner, today=DAY)
        assert DayStep.objects.count() == 2

    def test_plan_takes_who_may_plan(self, bench, steps, reader, outsider, builder):
        stranger = factories.MemberFactory(workshop=outsider)
        for member in (reader, stranger):
            with pytest.raises(NotAllowed):
                services.plan_seal_day(bench=bench, on=SATURDAY, steps=[steps.left], by=member, today=DAY)

    def test_plan_copies_what_the_latest_day_said_of_the_same_product(self, day, bench, steps, b2, owner):
        seam(steps.fillet, b2, 20)
        sunday = services.plan_seal_day(bench=bench, on=SUNDAY, steps=[steps.fillet], by=owner, today=DAY)

        data = DayProduct.objects.get(day=sunday)
        assert (data.item, data.life_hours, data.cure_hours) == (b2, 2, 72)


class TestChange:
    def test_figures_that_make_no_sense_are_refused(self, day, owner):
        good = {"temperature_f": Fraction(75), "pace": Fraction(20), "division": Fraction("0.1")}
        cases = [("temperature_f", 400), ("temperature_f", -500), ("pace", 0), ("pace", Fraction(1, 3)), ("division", -1), ("pace", 10**9)]
        for field, value in cases:
            with pytest.raises(FieldProblem) as error:
                services.change_seal_day(day=day, **{**good, field: Fraction(value)}, note="", by=owner)
            assert error.value.field == field

    def test_people_are_replaced(self, day, owner):
        services.set_people(day=day, people=[PersonData("Ida", time(10), time(12), owner), PersonData("Ann", time(9), time(17))], by=owner)

        assert [(row.name, row.comes, row.member) for row in day.people.order_by("comes")] == [
            ("Ann", time(9), None),
            ("Ida", time(10), owner),
        ]

    def test_people_refuse_nobody_twice_and_backwards(self, day, owner, outsider):
        stranger = factories.MemberFactory(workshop=outsider)
        cases = [
            ([], BadDay, "nobody is there"),
            ([CREW[0], PersonData("ida", time(9), time(10))], FieldProblem, "one name stands there twice"),
            ([PersonData("Ida", time(17), time(9))], FieldProblem, "Ida goes at 09:00, and comes at 17:00"),
            ([PersonData("Ida", time(9), time(9))], FieldProblem, "must go after they come"),
            ([PersonData("Ida", time(9), time(10), stranger)], NotAllowed, "another workshop's"),
        ]
        for people, problem, text in cases:
            with pytest.raises(problem, match=text):
                services.set_people(day=day, people=people, by=owner)
        assert day.people.count() == 2

    def test_steps_come_and_go(self, day, steps, owner):
        services.set_steps(day=day, steps=[steps.right, steps.fillet], by=owner, today=DAY)

        assert set(day.steps.values_list("step__code", flat=True)) == {"F3-05", "F3-06"}
        for step, planned_on in ((steps.left, SATURDAY), (steps.fillet, SATURDAY)):
            step.refresh_from_db()
            assert step.planned_on == planned_on
        with pytest.raises(BadDay, match="without steps is none"):
            services.set_steps(day=day, steps=[], by=owner, today=DAY)

    def test_sheet_refuses_what_is_no_sealant_and_no_hours(self, day, item, b2, owner):
        for thing, life, cure, field in ((item, 2, 2, "item"), (b2, 0, 2, "life_hours"), (b2, 2, 100_000, "cure_hours")):
            with pytest.raises(FieldProblem) as error:
                services.set_product(day=day, item=thing, life_hours=Fraction(life), cure_hours=Fraction(cure), by=owner)
            assert error.value.field == field

    def test_day_that_is_over_changes_no_more(self, day, steps, b2, lots, owner, mixed):
        services.call_off(day=day, reason="rain", by=owner, now=NOW)
        acts = [
            lambda: services.change_seal_day(day=day, temperature_f=None, pace=None, division=None, note="", by=owner),
            lambda: services.set_steps(day=day, steps=[steps.left], by=owner, today=DAY),
            lambda: services.set_people(day=day, people=CREW, by=owner),
            lambda: services.set_product(day=day, item=b2, life_hours=None, cure_hours=None, by=owner),
            lambda: services.hold_lots(day=day, by=owner, today=DAY, now=NOW),
            lambda: services.move(days=[day], to=SUNDAY, later=False, by=owner, today=DAY, now=NOW),
            lambda: services.tick(day=day, key="scale", text="x", done=True, by=owner, now=NOW),
            lambda: services.add_check(day=day, text="x", by=owner),
            lambda: mixed(lots.old, (steps.left, Decimal(55))),
            lambda: services.close(day=day, outcomes=[], by=owner, today=SATURDAY, now=NOW),
            lambda: services.call_off(day=day, reason="again", by=owner, now=NOW),
        ]
        for act in acts:
            with pytest.raises(DayOver, match="the seal day of 2027-03-13 is called off"):
                act()


class TestHolding:
    def test_hold_sets_the_plan_s_lots_aside_for_its_steps(self, day, lots, steps, owner, shown):
        before = shown(day)
        services.hold_lots(day=day, by=owner, today=DAY, now=NOW)

        assert held() == {("S-1", of(steps.left)): 55, ("S-2", of(steps.left)): 5, ("S-2", of(steps.right)): 50}
        assert shown(day).batches == before.batches

        services.release_lots(day=day, by=owner)
        assert held() == {}
        assert not shown(day).day.held

    def test_held_lots_follow_each_change(self, day, lots, steps, owner):
        services.hold_lots(day=day, by=owner, today=DAY, now=NOW)
        services.set_steps(day=day, steps=[steps.right], by=owner, today=DAY)
        assert held() == {("S-2", of(steps.right)): 50}  # F3-04 is planned for that day still, and takes the old lot first

        services.change_seal_day(day=day, temperature_f=Fraction(60), pace=Fraction(20), division=None, note="", by=owner)
        assert held() == {}  # too cold: nothing is planned

        services.change_seal_day(day=day, temperature_f=Fraction(75), pace=Fraction(20), division=None, note="", by=owner)
        assert held() == {("S-2", of(steps.right)): 50}

    def test_hold_without_a_plan_says_what_is_missing(self, day, lots, owner):
        services.change_seal_day(day=day, temperature_f=None, pace=Fraction(20), division=None, note="", by=owner)

        with pytest.raises(NothingToHold, match="SEAL-B2: for batches say the temperature"):
            services.hold_lots(day=day, by=owner, today=DAY, now=NOW)

    def test_hold_leaves_to_others_what_they_hold(self, day, lots, steps, bench, b2, owner):
        seam(steps.fillet, b2, 60)
        sunday = planned(bench, SUNDAY, [steps.fillet], b2, owner)
        services.hold_lots(day=sunday, by=owner, today=DAY, now=NOW)
        assert held() == {("S-2", of(steps.fillet)): 60}

        services.hold_lots(day=day, by=owner, today=DAY, now=NOW)
        assert held()["S-2", of(steps.fillet)] == 60


class TestChecks:
    def test_tick_and_untick(self, day, owner, builder):
        services.tick(day=day, key="scale", text="A scale", done=True, by=owner, now=NOW)
        row = services.tick(day=day, key="scale", text="A scale", done=False, by=builder, now=NOW)

        assert (day.checks.get(), row.ticked_at, row.ticked_by) == (row, None, None)
        assert [one.history_user for one in row.history.order_by("history_id")] == [owner, builder]

    def test_tick_refuses_what_is_not_on_the_list(self, day, owner):
        for key, text in (("nonsense:1", "x"), ("lot:" + "9" * 80, "x"), ("", "never written")):
            with pytest.raises(FieldProblem):
                services.tick(day=day, key=key, text=text, done=True, by=owner, now=NOW)

    def test_own_line_stands_once_and_can_go(self, day, owner):
        row = services.add_check(day=day, text="Bring the heater", by=owner)
        with pytest.raises(OnTheList):
            services.add_check(day=day, text="Bring the heater", by=owner)
        assert services.tick(day=day, key="", text="Bring the heater", done=True, by=owner, now=NOW) == row

        services.remove_check(check=row, by=owner)
        assert not day.checks.exists()
        with pytest.raises(FieldProblem, match="comes from the plan"):
            services.remove_check(check=services.tick(day=day, key="scale", text="x", done=True, by=owner, now=NOW), by=owner)


class TestMix:
    @pytest.fixture
    def said(self, day, b2, lots, drawer, steps, builder):
        """A batch of 55 g as it would be written down; `more` says what differs."""

        def said(**more):
            given = {
                "takes": [Take(lots.old, drawer, Decimal(55))],
                "shares": [(steps.left, Decimal(55))],
                "base": Decimal(50),
                "accelerator": Decimal(5),
                "mixed_at": timezone.make_aware(datetime(2027, 3, 13, 10)),  # noqa: DTZ001
                "mixed_by": "Ida",
                "on": SATURDAY,
                "temperature_f": Fraction(75),
            }
            return services.mix(day=day, key=uuid4(), item=b2, by=builder, **given | more)

        return said

    def test_mix_refuses_a_ratio_that_no_scale_explains_until_a_note_says_why(self, said, lots):
        wrong = {"base": Decimal(40), "accelerator": Decimal(15)}
        for note in ("", "   "):
            with pytest.raises(FieldProblem, match=r"as mixed 100 : 37.5; the product's is 100 : 10.*limit of ours") as refused:
                said(**wrong, note=note)
            assert refused.value.field == "note"
        assert not DayMix.objects.exists()
        assert (on_hand(lots.old), lots.old.__class__.objects.get(pk=lots.old.pk).opened_on) == (70, None)

        assert said(**wrong, note="poured too much").mix.note == "poured too much"

    def test_mix_asks_for_no_note_of_what_the_scale_explains(self, said, day, owner):
        weighed = {"base": Decimal("49.8"), "accelerator": Decimal("5.2")}  # 4.4 % off
        with pytest.raises(FieldProblem, match="over 2 %"):
            said(**weighed)
        services.change_seal_day(day=day, temperature_f=Fraction(75), pace=Fraction(20), division=Fraction(1, 2), note="", by=owner)

        assert said(**weighed).mix.note == ""

    def test_mix_of_a_product_whose_ratio_is_not_known_asks_for_no_note(self, said, b2):
        b2.base = b2.accelerator = None
        b2.save()

        assert said(base=Decimal(55), accelerator=Decimal(0)).mix.accelerator == 0

    @pytest.mark.parametrize(("days", "kept"), [(-2, False), (-1, True), (1, True), (2, False), (-132, False)])
    def test_mix_begins_near_its_seal_day(self, said, days, kept):
        began = timezone.make_aware(datetime(2027, 3, 13, 10)) + timedelta(days=days)  # noqa: DTZ001
        if kept:
            assert said(mixed_at=began).mix.mixed_at == began
            return
        with pytest.raises(FieldProblem, match=r"this seal day is 2027-03-13: .*a rule of ours") as refused:
            said(mixed_at=began)
        assert refused.value.field == "mixed_at"
        assert not DayMix.objects.exists()

    def test_mix_takes_from_stock_and_plans_the_rest_anew(self, day, lots, steps, mixed, shown):
        made = mixed(lots.old, (steps.left, Decimal(55)))

        assert (made.day, on_hand(lots.old), made.mix.life_hours) == (day, 15, 2)
        assert made.mix.work_until == made.mix.mixed_at + timedelta(hours=2)
        found = shown(day)
        (product,) = found.products
        assert (product.needed, product.mixed, product.open) == (110, 55, 55)
        assert [(batch.number, batch.grams) for batch in found.mixed] == [(1, 55)]
        assert [(batch.number, batch.grams, batch.lots[0].label) for batch in found.batches] == [(2, 55, "S-2")]
        assert [(share.code, share.grams) for share in found.batches[0].shares] == [("F3-04", 5), ("F3-05", 50)]

    def test_mix_of_what_the_plan_does_not_name_still_cures(self, day, lots, steps, workshop, bench, drawer, mixed, owner, shown):
        """Another product was mixed instead: it is shown with its cure, and the plan's need stands."""
        other = factories.ItemFactory(workshop=workshop, code="SEAL-B4", kind="sealant", unit="g")
        lot = factories.stock(factories.LotFactory(bench=bench, item=other, expires_on=SUNDAY), 60, drawer).lot
        services.set_product(day=day, item=other, life_hours=Fraction(4), cure_hours=Fraction(200), by=owner)
        mixed(lot, (steps.left, Decimal(55)), item=other)

        found = {product.code: product for product in shown(day).products}
        assert (found["SEAL-B4"].needed, found["SEAL-B4"].mixed, found["SEAL-B2"].open) == (0, 55, 110)
        assert "SEAL-B4 of F3-04 is cured on 2027-03-21" in shown(day).blocked[0].text

    def test_mix_of_the_last_batch_cures_from_then_on(self, day, lots, steps, mixed, shown):
        mixed(lots.old, (steps.left, Decimal(60)))
        made = mixed(lots.new, (steps.right, Decimal(50)))

        (product,) = shown(day).products
        assert (product.batches, product.cured_at) == ((), made.mix.mixed_at + timedelta(hours=72))

    def test_same_key_mixes_once(self, day, lots, steps, mixed):
        key = uuid4()
        first = mixed(lots.old, (steps.left, Decimal(55)), key=key)

        assert mixed(lots.old, (steps.left, Decimal(55)), key=key) == first
        assert (DayMix.objects.count(), on_hand(lots.old)) == (1, 15)

    def test_mix_for_a_step_of_another_day_is_refused(self, day, lots, steps, mixed):
        with pytest.raises(FieldProblem, match="F3-06 is no step of this day"):
            mixed(lots.old, (steps.fillet, Decimal(55)))
        assert on_hand(lots.old) == 70

    def test_mix_past_the_plan_of_a_held_day_is_not_in_its_own_way(self, day, lots, steps, owner, mixed):
        """58 g instead of 55: 3 g of what was held of the second lot are then not needed."""
        services.hold_lots(day=day, by=owner, today=DAY, now=NOW)
        mixed(lots.new, (steps.left, Decimal(58)))

        assert held() == {("S-1", of(steps.left)): 2, ("S-1", of(steps.right)): 50}

    def test_mix_of_what_another_step_holds_is_refused(self, day, lots, steps, owner, mixed):
        stock.set_aside(lot=lots.old, ref=of(steps.fillet), quantity=Decimal(20), by=owner)

        with pytest.raises(stock.SetAsideForOthers):
            mixed(lots.old, (steps.left, Decimal(55)))
        assert not DayMix.objects.exists()

    def test_batch_taken_back_keeps_its_number(self, day, lots, steps, builder, mixed, shown):
        made = mixed(lots.old, (steps.left, Decimal(55)))
        take_back_mix(mix=made.mix, on=SATURDAY, now=NOW, by=builder)

        found = shown(day)
        assert [(batch.number, batch.taken_back_at) for batch in found.mixed] == [(1, NOW)]
        assert [batch.number for batch in found.batches] == [2, 3]

    def test_step_with_a_batch_stays_in_the_day_and_the_day_on_its_date(self, day, lots, steps, owner, mixed):
        mixed(lots.old, (steps.left, Decimal(55)))

        with pytest.raises(BatchesMixed, match="a batch was mixed for F3-04"):
            services.set_steps(day=day, steps=[steps.right], by=owner, today=DAY)
        with pytest.raises(BatchesMixed, match="close that day"):
            services.move(days=[day], to=SUNDAY, later=False, by=owner, today=DAY, now=NOW)
        with pytest.raises(BatchesMixed, match="close the day"):
            services.call_off(day=day, reason="rain", by=owner, now=NOW)


def test_calling_off_gives_the_lots_back_and_keeps_the_reason(day, lots, owner, shown):
    services.hold_lots(day=day, by=owner, today=DAY, now=NOW)
    services.call_off(day=day, reason="rain", by=owner, now=NOW)

    found = shown(day)
    assert (held(), found.day.note, found.day.called_off_by, found.day.held) == ({}, "Called off: rain", owner, False)
    assert (found.batches, found.missing, found.faults) == ((), (), ())
