"""What a seal day's plan says: batches, lots, cures, what is missing, what doesn't fit."""

from datetime import date, datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from buildplan.models import Seam
from buildplan.sealday import queries, services
from buildplan.sealday.services import PersonData
from inventory.models import StorageRule, Temperature
from inventory.stock import services as stock
from tests import factories
from tests.buildplan.sealday.conftest import CREW, NOW, SATURDAY, SUNDAY, planned, seam, texts
from tests.factories import DAY


def lots_of(view):
    return [[(lot.label, lot.grams) for lot in batch.lots] for batch in view.batches]


def shares_of(view):
    return [[(share.code, share.grams) for share in batch.shares] for batch in view.batches]


class TestBatches:
    def test_batches_are_even_from_one_lot_each_the_oldest_first(self, day, lots, shown):
        """110 g with 80 g a batch at most: 55 + 55. The old lot's 70 g hold one of them; 55 g at 100:10 are 50 + 5 (PPG P/S 890)."""
        found = shown(day)

        assert lots_of(found) == [[("S-1", 55)], [("S-2", 55)]]
        assert [(batch.base, batch.accelerator, batch.error) for batch in found.batches] == [(50, 5, "1")] * 2  # +-1.0 % of 5 g on 0.1 g
        assert shares_of(found) == [[("F3-04", 55)], [("F3-04", 5), ("F3-05", 50)]]
        (product,) = found.products
        assert (product.needed, product.mixed, product.most, product.short) == (110, 0, 80, 0)
        assert (product.work_life_hours, product.exact, product.faults) == (2, True, ())

    def test_lot_that_is_dead_by_then_is_not_planned(self, day, lots, shown):
        lots.old.expires_on = SATURDAY - timedelta(days=1)
        lots.old.save()

        assert lots_of(shown(day)) == [[("S-2", 55)], [("S-2", 55)]]

    def test_short_day_plans_what_there_is_and_says_the_rest(self, day, lots, drawer, owner, shown):
        stock.scrap(lot=lots.new, quantity=Decimal(170), place=drawer, on=DAY, by=owner)

        found = shown(day)

        assert (found.products[0].short, sum(batch.grams for batch in found.batches)) == (10, 100)
        (missing,) = found.missing
        assert (missing.line.item.code, missing.line.short, missing.own, missing.late) == ("SEAL-B2", 10, True, False)
        assert missing.line.order_by == SATURDAY - timedelta(days=14 + 3)  # lead time, and the receiving allowance

    def test_other_steps_before_the_day_take_theirs_first(self, day, lots, b2, project, shown):
        earlier = factories.StepFactory(project=project, code="A1-01", planned_on=SATURDAY - timedelta(days=3))
        later = factories.StepFactory(project=project, code="Z1-01", planned_on=SATURDAY + timedelta(days=1))
        for step in (earlier, later):
            seam(step, b2, 40)

        found = shown(day)

        assert lots_of(found) == [[("S-2", 55)], [("S-2", 55)]]  # 30 g are left of the old lot, too little for a batch
        assert "A1-01 takes 40 g of lot S-1" in texts(found.products[0].why)

    def test_next_day_plans_from_what_this_day_leaves(self, day, lots, bench, steps, b2, owner, shown):
        seam(steps.fillet, b2, 100)
        sunday = planned(bench, SUNDAY, [steps.fillet], b2, owner)

        assert lots_of(shown(sunday)) == [[("S-2", 50)], [("S-2", 50)]]  # the old lot has 15 g left
        assert shown(day).products[0].short == 0

    def test_day_without_its_figures_still_takes_its_lots_from_the_next(self, day, lots, bench, steps, b2, owner, shown):
        services.change_seal_day(day=day, temperature_f=None, pace=None, division=None, note="", by=owner)
        seam(steps.fillet, b2, 200)
        sunday = planned(bench, SUNDAY, [steps.fillet], b2, owner)

        assert shown(day).batches == ()
        assert shown(day).products[0].faults == ("for batches say the grams that one of them places in an hour and the temperature",)
        assert shown(sunday).products[0].short == 40  # 270 - 110 - 200

    def test_set_aside_for_another_step_is_not_planned(self, day, lots, project, owner, shown):
        other = factories.StepFactory(project=project)
        stock.set_aside(lot=lots.old, ref=f"step:{other.pk}", quantity=Decimal(20), by=owner)

        assert lots_of(shown(day)) == [[("S-2", 55)], [("S-2", 55)]]

    def test_product_by_another_unit_is_planned_in_grams(self, day, lots, b2, shown):
        b2.unit = "oz"
        b2.save()

        found = shown(day)
        assert found.products[0].needed == 110
        assert found.batches[0].lots[0].places[0][2] == Decimal("1984.467")  # 70 oz of the old lot

    def test_product_without_a_ratio_is_planned_without_base_and_accelerator(self, day, lots, b2, shown):
        b2.base = b2.accelerator = None
        b2.save()

        found = shown(day)
        assert [(batch.grams, batch.base, batch.accelerator) for batch in found.batches] == [(55, None, None)] * 2
        assert "base : accelerator of SEAL-B2 not known" in found.products[0].faults[0]

    def test_seam_that_cannot_be_reckoned_plans_nothing_and_says_why(self, day, lots, steps, shown):
        Seam.objects.filter(step=steps.left).update(grams_each=None)

        found = shown(day)
        assert found.batches == ()
        assert "F3-04, seam KEEL: grams_each: a seam counted by the piece needs it" in found.products[0].faults
        assert "what TERN-1 is short of isn't known" in found.faults[0]

    def test_what_is_on_its_way_is_planned_without_a_place(self, day, bench, b2, shown):
        crate = factories.CrateFactory(bench=bench, code="CRATE-7", due_on=SATURDAY - timedelta(days=3))
        factories.PackingLineFactory(crate=crate, item=b2, quantity=Decimal(150), lot_code="S-9", expires_on=date(2027, 12, 1))

        (first, _) = shown(day).batches
        assert (first.lots[0].lot_id, first.lots[0].places) == (None, ())
        assert first.lots[0].label.startswith("S-9, on its way in crate CRATE-7")

    def test_what_is_in_a_crate_that_is_here_is_planned_as_such(self, day, bench, b2, shown):
        crate = factories.CrateFactory(bench=bench, code="CRATE-7", due_on=SATURDAY + timedelta(days=9), arrived_on=DAY)
        factories.PackingLineFactory(crate=crate, item=b2, quantity=Decimal(150), lot_code="S-9", expires_on=date(2027, 12, 1))

        assert shown(day).batches[0].lots[0].label == f"S-9, in crate CRATE-7 (arrived {DAY}, still to count)"

    def test_life_of_a_sixth_of_an_hour_loses_nothing_to_binary_fractions(self, day, lots, b2, owner, shown):
        services.set_product(day=day, item=b2, life_hours=Fraction(1, 6), cure_hours=Fraction(1), by=owner)
        services.change_seal_day(day=day, temperature_f=Fraction(75), pace=Fraction(330), division=None, note="", by=owner)

        assert shown(day).products[0].most == 110  # 2 people x 330 g/h x 1/6 h

    def test_work_life_longer_than_anybody_is_there_makes_batches_by_the_hours_present(self, day, lots, b2, owner, shown):
        services.set_product(day=day, item=b2, life_hours=Fraction(24), cure_hours=Fraction(1), by=owner)

        (product,) = shown(day).products
        assert product.most == 320  # 2 people x 20 g/h x 8 h, and not x 24 h
        assert "its work life is 24.000 h, and somebody is there for 8.000 h: the shorter counts [the people's hours" in texts(product.why)
        assert "8.000 h: 320 g at most in one batch" in texts(product.why)

    def test_warm_metal_makes_smaller_batches(self, day, lots, owner, shown):
        """2 h at 77 F are 1.000 h at 87 F by the shorter of two rules (REFERENCE section 6, computed): 40 g a batch, three batches."""
        services.change_seal_day(day=day, temperature_f=Fraction(87), pace=Fraction(20), division=Fraction("0.1"), note="", by=owner)

        found = shown(day)
        assert (found.products[0].work_life_hours, found.products[0].most) == (1, 40)
        assert [batch.grams for batch in found.batches] == [Decimal("36.667"), Decimal("36.667"), Decimal("36.666")]

    @pytest.mark.parametrize("warm", [60, 100])
    def test_metal_outside_the_limits_stops_the_day_and_says_why(self, day, lots, owner, shown, warm):
        services.change_seal_day(day=day, temperature_f=Fraction(warm), pace=Fraction(20), division=Fraction("0.1"), note="", by=owner)

        (product,) = shown(day).products
        assert (product.stopped, product.batches) == (True, ())
        assert f"stop: {warm} F is outside 70 F to below 100 F [as set for the product; else NAVEDTRA 14315" in texts(product.why)

    @settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
    @given(st.integers(1, 120_000), st.integers(1, 120_000), st.integers(5, 60))
    def test_shares_add_up_to_steps_and_batches(self, day, lots, steps, owner, shown, left, right, pace):
        for step, thousandths in ((steps.left, left), (steps.right, right)):
            Seam.objects.filter(step=step).update(grams_each=Fraction(thousandths, 1000))
        services.change_seal_day(day=day, temperature_f=Fraction(75), pace=Fraction(pace), division=None, note="", by=owner)

        found = shown(day)

        (product,) = found.products
        for batch in found.batches:
            assert batch.grams == batch.base + batch.accelerator == sum(lot.grams for lot in batch.lots)
            assert batch.grams == sum(share.grams for share in batch.shares) <= product.most
        by_step = {"F3-04": Decimal(0), "F3-05": Decimal(0)}
        for batch in found.batches:
            for share in batch.shares:
                by_step[share.code] += share.grams
        assert sum(by_step.values()) + product.short == product.needed == Decimal(left + right).scaleb(-3)
        assert by_step["F3-04"] == min(Decimal(left).scaleb(-3), product.needed - product.short)

    @settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
    @given(st.lists(st.tuples(st.integers(-9, 9).filter(bool), st.integers(1, 90)), max_size=3), st.integers(1, 400))
    def test_day_is_short_by_what_the_order_sheet_says(self, day, lots, steps, b2, project, shown, others, wanted):
        """Whatever other steps take before and after it."""
        Seam.objects.filter(step=steps.right).update(grams_each=Fraction(wanted))
        made = [factories.StepFactory(project=project, planned_on=SATURDAY + timedelta(days=days)) for days, _ in others]
        for step, (_, grams) in zip(made, others, strict=True):
            seam(step, b2, grams)

        found = shown(day)
        missing = [quantity for one in found.missing for need, quantity in one.line.missing if need.step in {steps.left.pk, steps.right.pk}]
        assert found.products[0].short == sum(missing)
        for step in made:
            step.seams.all().delete()
            step.delete()


class TestPeople:
    def test_hands_are_the_fewest_at_once_and_a_gap_is_said(self, day, lots, owner, shown):
        crew = [PersonData("Ida", time(9), time(12)), PersonData("Jon", time(9), time(11)), PersonData("Ann", time(13), time(17))]
        services.set_people(day=day, people=crew, by=owner)

        found = shown(day)
        assert (found.hands, found.hours, [person.hours for person in found.people]) == (1, 7, [3, 2, 4])
        assert "nobody is there from 12:00 to 13:00: what is mixed before must be placed by 12:00" in found.faults

    def test_day_without_people_plans_no_batch_and_says_so(self, bench, steps, lots, b2, owner, shown):
        day = services.plan_seal_day(bench=bench, on=SATURDAY, steps=[steps.left], by=owner, today=DAY)

        found = shown(day)
        assert found.batches == ()
        assert "nobody is there: say who comes and when" in found.faults
        assert found.products[0].cured_at is None

    def test_more_work_than_hours_is_said(self, day, lots, owner, shown):
        services.set_people(day=day, people=[PersonData("Ida", time(9), time(11))], by=owner)

        found = shown(day)
        assert "the steps take 8 h of work by the plan, and the people are there for 2 h in all" in found.faults
        assert "placing 110 g takes 5.5 h, and somebody is there for 2 h only" in found.faults


class TestOrder:
    def test_cure_holds_up_what_comes_after(self, day, lots, shown):
        """The day's last hour, 17:00, and 72 h of cure: Tuesday 17:00. F3-06 is planned for Sunday, F3-08 two weeks later."""
        found = shown(day)

        assert timezone.localtime(found.products[0].cured_at) == datetime(2027, 3, 16, 17, tzinfo=timezone.get_current_timezone())
        (one,) = found.blocked
        assert (one.code, one.planned_on, one.free_from) == ("F3-06", SUNDAY, date(2027, 3, 16))
        assert one.text == "planned for 2027-03-14; SEAL-B2 of F3-04 is cured on 2027-03-16 at 17:00"
        assert "cured 2027-03-16 17:00 = the day's last hour 2027-03-13 17:00 + 72 h" in texts(found.products[0].why)

    def test_cure_of_the_day_before_is_said_on_the_next(self, day, lots, bench, steps, b2, owner, shown):
        sunday = planned(bench, SUNDAY, [steps.fillet], b2, owner)

        assert "F3-06 waits for SEAL-B2 of F3-04, which is cured on 2027-03-16 at 17:00" in shown(sunday).faults
        assert [one.code for one in shown(day).blocked] == ["F3-06"]  # and on the day that it waits for

    def test_steps_wait_for_what_is_before_them(self, day, lots, steps, shown):
        found = shown(day)
        assert [step.waits_for for step in found.steps] == [("F3-03",), ("F3-03",)]
        assert [line.text for line in found.checks if line.key.startswith("step:")] == ["Done before: F3-03 Rivet the skin"]

        steps.mask.planned_on = SUNDAY
        steps.mask.save()
        assert "F3-03 must be done before F3-04 and F3-05, and is planned for 2027-03-14, after this day" in shown(day).faults

    def test_later_step_planned_before_the_day_is_said(self, day, lots, steps, shown):
        steps.fillet.planned_on = SATURDAY - timedelta(days=2)
        steps.fillet.save()

        text = "F3-06 comes after F3-04 and F3-05, and is planned for 2027-03-11, before this day: by then the order sheet wants all of it"
        assert text in shown(day).faults

    def test_step_planned_elsewhere_meanwhile_is_said(self, day, lots, steps, shown):
        steps.left.planned_on = SUNDAY
        steps.left.save()

        assert "F3-04 is planned for 2027-03-14, and not for this day: move one of the two" in shown(day).faults

    def test_clecos_stay_until_the_step_that_frees_them(self, day, steps, workshop, shown):
        cleco = factories.ItemFactory(workshop=workshop, code="CLECO-3", kind="cleco", diameter=Fraction(3, 32))
        for step, code, until in ((steps.left, "FR-1", steps.fillet), (steps.right, "KEEL", None)):
            factories.RivetRowFactory(step=step, code=code, holes=34, cleco=cleco, cleco_every=1, clecos_until=until)

        first, second = shown(day).clecos
        assert (first.item, first.count, first.row, first.until, first.until_day) == ("CLECO-3", 34, "FR-1", "F3-06", SUNDAY)
        assert (second.until, second.until_day) == ("F3-05", SATURDAY)

    def test_missing_clecos_of_the_day_are_named(self, day, steps, workshop, lots, shown):
        cleco = factories.ItemFactory(workshop=workshop, code="CLECO-3", kind="cleco", diameter=Fraction(3, 32))
        rivet = factories.ItemFactory(workshop=workshop, code="MS20426AD3-3", kind="rivet", diameter=Fraction(3, 32))
        factories.RivetRowFactory(step=steps.left, rivet=rivet, holes=34, cleco=cleco, cleco_every=1)
        factories.CallOutFactory(step=steps.mask, item=factories.ItemFactory(workshop=workshop, code="PROMOTER"))
        factories.CallOutFactory(step=steps.water, item=factories.ItemFactory(workshop=workshop, code="PLUG"))

        found = {one.line.item.code: (one.line.short, one.own) for one in shown(day).missing}
        assert found == {"CLECO-3": (34, True), "MS20426AD3-3": (34, True), "PROMOTER": (1, False)}


class TestPlaces:
    def test_lot_in_two_places_is_taken_where_it_stayed_cool(self, day, lots, b2, workshop, drawer, owner, shown):
        """Both rests may be used, since their excursion allows five weeks; the page says where to take it from, and why."""
        cold = factories.PlaceFactory(workshop=workshop, path="Zero/Fridge")
        stock.move(lot=lots.new, quantity=Decimal(120), source=drawer, target=cold, on=DAY, by=owner)
        StorageRule.objects.create(workshop=workshop, item=b2, source="the sheet", high=Decimal(27), use_within_days=35)
        for hours in (2, 6, 10):
            Temperature.objects.create(workshop=workshop, place=drawer, at=NOW - timedelta(hours=hours), celsius=Decimal(31))

        found = shown(day)
        assert [path for _, path, _ in found.batches[1].lots[0].places] == ["Zero/Fridge", drawer.path]
        assert (
            "S-2 lies in 2 places: take it from Zero/Fridge, since in Hangar/Rack 1/Drawer 3 it lay at 31 C from 2027-02-20 02:00 "
            "[the temperature log, against the product's storage rule]"
        ) in texts(found.products[0].why)


class TestChecks:
    def test_list_names_lots_scale_people_and_cautions_in_order(self, day, lots, workshop, shown):
        factories.SealingSupplyFactory(workshop=workshop, name="Mixing cup")

        lines = shown(day).checks
        assert [line.key.partition(":")[0] for line in lines] == [
            *("step", "lot", "lot", "scale", "supply", "people", "temperature"),
            *["caution"] * 4,
        ]
        by_key = {line.key: line for line in lines}
        assert by_key[f"lot:{lots.old.pk}"].text == "Take out SEAL-B2 S-1 from Hangar/Rack 1/Drawer 3"
        assert by_key["scale"].text == "A scale of 0.1 g division stands ready and shows 0 when empty."
        assert by_key["people"].text == "Everyone knows when: Ida 09:00-17:00, Jon 09:00-17:00"
        assert "2 ea Mixing cup, for 2 batches." in [line.text for line in lines]
        assert "chromium(VI)" in by_key["caution:accelerators"].text

    def test_tick_counts_as_long_as_the_text_is_what_was_ticked(self, day, lots, owner, shown):
        line = next(line for line in shown(day).checks if line.key == "people")
        services.tick(day=day, key=line.key, text=line.text, done=True, by=owner, now=NOW)
        assert next(line for line in shown(day).checks if line.key == "people").ticked_by == owner.name

        services.set_people(day=day, people=CREW[:1], by=owner)
        assert next(line for line in shown(day).checks if line.key == "people").ticked_at is None

    def test_own_lines_stand_last(self, day, lots, owner, shown):
        services.add_check(day=day, text="Bring the heater", by=owner)

        assert shown(day).checks[-1].text == "Bring the heater"
        assert shown(day).checks[-1].key == ""


def test_view_takes_the_same_queries_at_one_step_and_at_thirty(
    bench, project, b2, lots, owner, drawer, workshop, django_assert_max_num_queries
):
    def make(number):
        step = factories.StepFactory(project=project, code=f"A{number:02}", planned_on=SATURDAY, after=[before])
        seam(step, b2, 2)
        cleco = factories.ItemFactory(workshop=workshop, kind="cleco", diameter=Fraction(3, 32))
        factories.RivetRowFactory(step=step, cleco=cleco, cleco_every=2, clecos_until=after)
        return step

    before, after = (factories.StepFactory(project=project, code=code, planned_on=SUNDAY) for code in ("BEFORE", "AFTER"))
    day = planned(bench, SATURDAY, [make(0)], b2, owner)
    services.add_check(day=day, text="Bring the heater", by=owner)

    def count():
        with django_assert_max_num_queries(60) as found:
            queries.view(day, today=DAY, now=NOW)
        return len(found)

    few = count()
    steps = [make(number) for number in range(1, 30)]
    services.set_steps(day=day, steps=[*steps, *(row.step for row in day.steps.select_related("step"))], by=owner, today=DAY)
    factories.stock(factories.LotFactory(bench=bench, item=b2, code="S-3", expires_on=date(2027, 9, 1)), 30, drawer)
    assert count() == few
    assert few <= 52


def test_list_shows_the_open_days_first_then_what_is_over(day, bench, steps, b2, owner, lots, django_assert_num_queries):
    sunday = planned(bench, SUNDAY, [steps.fillet], b2, owner)
    services.call_off(day=sunday, reason="rain", by=owner, now=NOW)

    with django_assert_num_queries(2):
        first, second = queries.days(today=SATURDAY + timedelta(days=1))
    assert (first.id, first.steps, first.people, first.mixed, first.state, first.past) == (day.pk, ("F3-04", "F3-05"), 2, 0, "open", True)
    assert (second.state, second.past, second.note) == ("called off", False, "Called off: rain")
    assert [row.id for row in queries.days(today=DAY, open_only=True)] == [day.pk]


def test_choices_are_the_undone_steps_of_the_bench_with_what_seals_marked(day, bench, steps, outsider):
    found = {one.code: (one.seals, one.day_id) for one in queries.choices(bench=bench.pk)}

    assert found == {
        "F3-03": (False, None),
        "F3-04": (True, day.pk),
        "F3-05": (True, day.pk),
        "F3-06": (False, None),
        "F3-08": (False, None),
    }
