"""Batches that were mixed: stock, set-asides and record change together or not at all."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from uuid import uuid4

import pytest
from django_scopes import scopes_disabled

from buildplan.hardware.services import StepDone
from buildplan.models import Mix, MixShare, Step
from buildplan.plan.calc import step_ref
from buildplan.sealing import queries, services
from buildplan.sealing.services import MixTakenBack, MixUsed, Take
from inventory.common.problems import FieldProblem
from inventory.models import Lot, Movement, Place, SetAside
from inventory.stock import services as stock
from inventory.stock.queries import ledger_errors, on_hand, openings
from inventory.stock.services import NotEnough, NotUsable, SetAsideForOthers
from inventory.workshop.policy import NotAllowed
from tests import factories
from tests.buildplan.sealing.conftest import MIXED_AT, SEALED

NOW = datetime(2027, 3, 6, 18, 0, tzinfo=UTC)


def nothing_happened():
    assert not Mix.objects.exists()
    assert not MixShare.objects.exists()
    assert not Movement.objects.filter(target__end="used").exists()
    assert not Lot.objects.exclude(opened_on=None).exists()


class TestRecordMix:
    def test_mix_takes_the_lot_and_keeps_what_was_said(self, mix, lot_of, steps, builder, drawer):
        lot = lot_of()
        made = mix(lot, note="thick")

        assert on_hand(lot) == 156
        moved = Movement.objects.filter(ref=made.ref).order_by("pk")
        assert [(row.lot, row.source, row.target.end, row.quantity, row.on, row.by) for row in moved] == [
            (lot, drawer, "used", 30, SEALED, builder),
            (lot, drawer, "used", 14, SEALED, builder),
        ]
        assert (made.base, made.accelerator, made.mixed_by, made.note, made.by) == (40, 4, "Ada", "thick", builder)
        assert made.work_until is None
        assert dict(made.shares.values_list("step__code", "grams")) == {"F3-05": 30, "F3-06": 14}
        assert ledger_errors() == []

    def test_mix_opens_a_closed_lot_on_that_day_and_leaves_an_open_one(self, mix, lot_of):
        closed, opened = lot_of(code="A"), lot_of(code="B", opened_on=SEALED - timedelta(days=2))
        mix(closed)
        mix(opened)

        assert list(Lot.objects.order_by("code").values_list("opened_on", flat=True)) == [SEALED, SEALED - timedelta(days=2)]
        assert closed.history.first().history_user is not None

    def test_mix_says_until_when_it_can_be_worked(self, mix, lot_of):
        lot = lot_of()
        at_77 = mix(lot, temperature_f=Fraction(77), life_hours=Fraction(2))
        at_87 = mix(lot, temperature_f=Fraction(87), life_hours=Fraction(2))
        too_cold = mix(lot, temperature_f=Fraction(50), life_hours=Fraction(2))

        assert at_77.work_until == MIXED_AT + timedelta(hours=2)
        assert at_87.work_until == MIXED_AT + timedelta(hours=1)  # each 10 F halves it: the shorter of the two rules
        assert too_cold.work_until is None

    @pytest.mark.parametrize(("fahrenheit", "words"), [(50, "too cold to seal: 50 F is outside 70 F"), (194, "too hot to seal: 194 F")])
    def test_mix_at_a_forbidden_temperature_is_kept_and_says_why(self, mix, lot_of, steps, fahrenheit, words):
        for life in (Fraction(2), None):
            mix(lot_of(code=f"L{life}"), temperature_f=Fraction(fahrenheit), life_hours=life)

        for found in queries.mixed_for(steps[0].pk):
            assert found.stop.text.startswith(words)
            assert "NAVEDTRA 14315" in found.stop.source
            assert (found.warnings, found.work_until) == ((found.stop,), None)

    def test_mix_tells_a_ratio_that_is_not_the_products(self, mix, lot_of, steps, sealant):
        sealant.base, sealant.accelerator = Decimal(100), Decimal(10)
        sealant.save()
        mix(lot_of(code="A"), temperature_f=Fraction(77))
        mix(lot_of(code="B"), base=Decimal(30), accelerator=Decimal(14))
        good, off = queries.mixed_for(steps[0].pk)

        assert (good.off, good.warnings) == ((), ())
        assert [reason.text for reason in off.warnings] == ["as mixed 100 : 46.7; the product's is 100 : 10, by weight"]

    def test_same_key_again_gives_the_first_and_takes_nothing(self, mix, lot_of):
        lot, key = lot_of(), uuid4()

        assert mix(lot, key=key) == mix(lot, key=key, base=Decimal(43), accelerator=Decimal(1))
        assert (Mix.objects.get().base, on_hand(lot)) == (40, 156)

    def test_mix_takes_several_lots_and_rounds_what_each_loses_once(self, mix, workshop, bench, drawer, project):
        oz = factories.ItemFactory(workshop=workshop, code="SEAL-OZ", kind="sealant", unit="oz")
        lot = factories.LotFactory(bench=bench, item=oz, expires_on=SEALED)
        factories.stock(lot, 10, place=drawer)
        thirds = [factories.StepFactory(project=project) for _ in range(3)]
        shares = [(step, Decimal(10)) for step in thirds]
        mix(item=oz, takes=[Take(lot, drawer, Decimal(30))], shares=shares, base=Decimal(25), accelerator=Decimal(5))

        # 30 g are 1.05821... oz; three parts of 10 g rounded by themselves would be 1.059
        assert on_hand(lot) == Decimal(10) - Decimal("1.058")

    @pytest.mark.parametrize(
        ("said", "field", "words"),
        [
            ({"base": Decimal(41)}, "takes", "45 g, and 44 g were taken of lots"),
            ({"shares": 20}, "shares", "44 g, and the steps get 20 g of it"),
            ({"shares": 0}, "shares", "the quantity is 0"),
            ({"takes": ()}, "takes", "0 g were taken of lots"),
            ({"base": Decimal(0), "accelerator": Decimal(44)}, "base", "the quantity is 0"),
            ({"accelerator": Decimal(-4)}, "accelerator", "can't be negative"),
            ({"base": Decimal("40.0001")}, "base", "finer than a thousandth"),
            ({"temperature_f": Fraction(77), "life_hours": Fraction(0)}, "life_hours", "must be over 0"),
            ({"temperature_f": Fraction(-500), "life_hours": Fraction(2)}, "temperature_f", "absolute zero"),
            ({"temperature_f": Fraction(1652)}, "temperature_f", "in Fahrenheit, from -130 to 194: past that it is a slip"),
            ({"temperature_f": Fraction(-131)}, "temperature_f", "past that it is a slip"),
        ],
    )
    def test_mix_refuses_by_field_what_does_not_add_up(self, mix, lot_of, steps, said, field, words):
        if isinstance(said.get("shares"), int):
            said = {"shares": [(steps[0], Decimal(said["shares"]))]}
        with pytest.raises(FieldProblem, match=words) as refused:
            mix(lot_of(), **said)

        assert refused.value.field == field
        nothing_happened()

    def test_mix_refuses_what_is_no_sealant_no_mass_or_another_product(self, mix, lot_of, workshop, item, bench, drawer):
        lot = lot_of()
        for wrong, words in [
            (item, "is of kind part: name a sealant"),
            (factories.ItemFactory(workshop=workshop, kind="sealant", unit="ea"), "counted in ea"),
            (factories.ItemFactory(workshop=workshop, code="PR-X", kind="sealant", unit="g"), "lot R7 of SEAL-B2 is none of PR-X"),
        ]:
            with pytest.raises(FieldProblem, match=words):
                mix(lot, item=wrong)
        nothing_happened()

    def test_mix_refuses_another_bench_s_lot_and_takes_a_shared_one(self, mix, lot_of, other_bench, shared_bench):
        with pytest.raises(FieldProblem, match=r"is of Bench PLOVER, and F3-0. of Bench TERN"):
            mix(lot_of(bench=other_bench))
        nothing_happened()

        assert mix(lot_of(bench=shared_bench, code="S")).pk

    def test_mix_refuses_a_step_that_is_done(self, mix, lot_of, steps):
        Step.objects.filter(pk=steps[1].pk).update(done=True)
        with pytest.raises(StepDone, match="F3-06 is done: take it back before"):
            mix(lot_of())
        nothing_happened()

    @pytest.mark.parametrize(
        "said",
        [{"state": "failed"}, {"state": "quarantined"}, {"last": SEALED - timedelta(days=1)}, {"last": None}, {"grams": 43}],
        ids=["failed", "quarantined", "expired", "unknown life", "too little"],
    )
    def test_mix_refuses_a_lot_that_may_not_be_used_and_opens_none(self, mix, lot_of, said):
        with pytest.raises((NotUsable, NotEnough)):
            mix(lot_of(**said))
        nothing_happened()

    def test_mix_refuses_a_lot_that_is_dead_once_it_is_open(self, mix, lot_of, sealant):
        sealant.open_life_days, sealant.min_life_days = 3, 5
        sealant.save()
        with pytest.raises(NotUsable, match="less than the 5 days it must have left"):
            mix(lot_of())
        nothing_happened()

    def test_reader_and_outsider_may_not_mix(self, mix, lot_of, reader, outsider):
        with pytest.raises(NotAllowed):
            mix(lot_of(), by=reader)
        with scopes_disabled():
            theirs = Step.objects.get(workshop=outsider)
        with pytest.raises(NotAllowed):
            mix(lot_of(), shares=[(theirs, Decimal(44))])
        with scopes_disabled():
            theirs = Place.objects.filter(workshop=outsider, end="storage").first()
        lot = lot_of()
        with pytest.raises(NotAllowed):
            mix(takes=[Take(lot, theirs, Decimal(44))])
        nothing_happened()


class TestSetAsides:
    def hold(self, lot, step, grams, by):
        stock.set_aside(lot=lot, ref=step_ref(step.pk), quantity=Decimal(grams), by=by)

    def test_mix_draws_down_what_is_set_aside_for_its_steps(self, mix, lot_of, steps, builder):
        lot = lot_of(grams=50)
        self.hold(lot, steps[0], 35, builder)
        self.hold(lot, steps[1], 14, builder)
        mix(lot)

        assert list(SetAside.objects.values_list("ref", "quantity")) == [(step_ref(steps[0].pk), 5)]

    def test_mix_takes_of_each_lot_first_what_its_steps_hold_there(self, mix, lot_of, steps, builder, drawer):
        one, two = lot_of(grams=30, code="A"), lot_of(grams=14, code="B")
        self.hold(one, steps[0], 16, builder)
        self.hold(one, steps[1], 14, builder)
        self.hold(two, steps[0], 14, builder)
        mix(takes=[Take(one, drawer, Decimal(30)), Take(two, drawer, Decimal(14))])

        assert not SetAside.objects.exists()
        assert (on_hand(one), on_hand(two)) == (0, 0)

    def test_mix_refuses_what_is_set_aside_for_a_step_that_gets_none(self, mix, lot_of, project, builder):
        lot = lot_of(grams=50)
        self.hold(lot, factories.StepFactory(project=project), 10, builder)
        with pytest.raises(SetAsideForOthers, match="10 g are set aside for other steps"):
            mix(lot)
        assert SetAside.objects.get().quantity == 10
        nothing_happened()


class TestEndMix:
    def test_end_keeps_what_was_left_and_can_be_corrected(self, mix, lot_of, builder):
        made = mix(lot_of())
        services.end_mix(mix=made, left=Decimal(12), at=NOW, by=builder)
        services.end_mix(mix=made, left=Decimal(0), at=NOW + timedelta(minutes=5), by=builder)

        made.refresh_from_db()
        assert (made.left, made.ended_at) == (0, NOW + timedelta(minutes=5))
        assert [row.left for row in made.history.order_by("history_id")] == [None, 12, 0]

    @pytest.mark.parametrize(
        ("left", "at", "field", "words"),
        [
            (Decimal("44.001"), NOW, "left", "44.001 g left of 44 g"),
            (Decimal(-1), NOW, "left", "can't be negative"),
            (Decimal(1), MIXED_AT - timedelta(minutes=1), "at", "before it was mixed"),
        ],
    )
    def test_end_refuses_more_than_was_mixed_and_a_time_before(self, mix, lot_of, builder, left, at, field, words):
        made = mix(lot_of())
        with pytest.raises(FieldProblem, match=words) as refused:
            services.end_mix(mix=made, left=left, at=at, by=builder)
        assert refused.value.field == field
        assert Mix.objects.get().ended_at is None

    def test_reader_may_not_end_or_take_back(self, mix, lot_of, reader):
        made = mix(lot_of())
        with pytest.raises(NotAllowed):
            services.end_mix(mix=made, left=Decimal(1), at=NOW, by=reader)
        with pytest.raises(NotAllowed):
            services.take_back_mix(mix=made, on=SEALED, now=NOW, by=reader)


class TestTakeBackMix:
    def test_take_back_reverses_what_it_took_and_stays_on_record(self, mix, lot_of, builder):
        lot = lot_of()
        made = services.take_back_mix(mix=mix(lot), on=SEALED, now=NOW, by=builder)

        assert on_hand(lot) == 200
        assert (made.taken_back_at, made.taken_back_by) == (NOW, builder)
        assert Lot.objects.get(pk=lot.pk).opened_on is None  # this batch alone had opened it
        assert queries.mixed_grams() == {}
        assert ledger_errors() == []

    def test_take_back_keeps_why_the_lot_is_closed_again(self, mix, lot_of, builder):
        lot = lot_of()
        made = mix(lot)
        services.take_back_mix(mix=made, on=SEALED, now=NOW, by=builder)

        assert [(one.opened, one.why) for one in openings(lot)] == [
            (None, "the batch that it was opened for was taken back"),
            (SEALED, f"opened for batch {made.pk}"),
        ]

    def test_take_back_leaves_a_lot_open_that_another_opened_or_used_since(self, mix, lot_of, drawer, builder):
        before, since, twice = lot_of(code="A", opened_on=SEALED - timedelta(days=3)), lot_of(code="B"), lot_of(code="C")
        made = [mix(lot) for lot in (before, since, twice)]
        stock.use(lot=since, quantity=Decimal(1), place=drawer, on=SEALED, by=builder)
        second = mix(twice)
        for one in made:
            services.take_back_mix(mix=one, on=SEALED, now=NOW, by=builder)
        assert list(Lot.objects.order_by("code").values_list("opened_on", flat=True)) == [SEALED - timedelta(days=3), SEALED, SEALED]

        services.take_back_mix(mix=second, on=SEALED, now=NOW, by=builder)
        assert Lot.objects.get(code="C").opened_on is None  # the first had opened it, and both are taken back

    def test_take_back_leaves_a_lot_whose_opening_was_put_right_since(self, mix, lot_of, builder, storekeeper):
        lot = lot_of(made_on=SEALED - timedelta(days=90))
        made = mix(lot)
        stock.correct_opened(lot=lot, opened=SEALED - timedelta(days=1), note="an evening before", today=SEALED, by=storekeeper)
        services.take_back_mix(mix=made, on=SEALED, now=NOW, by=builder)

        assert Lot.objects.get(pk=lot.pk).opened_on == SEALED - timedelta(days=1)

    def test_take_back_is_done_once_and_nothing_is_said_of_it_after(self, mix, lot_of, builder):
        made = services.take_back_mix(mix=mix(lot_of()), on=SEALED, now=NOW, by=builder)
        with pytest.raises(MixTakenBack, match="taken back on 2027-03-06"):
            services.take_back_mix(mix=made, on=SEALED, now=NOW, by=builder)
        with pytest.raises(MixTakenBack):
            services.end_mix(mix=made, left=Decimal(1), at=NOW, by=builder)

    def test_take_back_is_refused_once_a_step_is_done_with_it(self, mix, lot_of, steps, builder):
        lot = lot_of()
        made = mix(lot)
        Step.objects.filter(pk=steps[1].pk).update(done=True)
        with pytest.raises(MixUsed, match="F3-06 is done"):
            services.take_back_mix(mix=made, on=SEALED, now=NOW, by=builder)
        assert on_hand(lot) == 156


class TestQueries:
    def test_mixed_adds_batches_by_step_and_leaves_out_those_taken_back(self, mix, lot_of, steps, sealant, builder):
        lot = lot_of()
        mix(lot)
        mix(lot, shares=[(steps[0], Decimal(44))])
        services.take_back_mix(mix=mix(lot), on=SEALED, now=NOW, by=builder)

        assert queries.mixed_grams(step__in=steps) == {(steps[0].pk, sealant.pk): 74, (steps[1].pk, sealant.pk): 14}
        assert queries.mixed_grams(step=steps[1]) == {(steps[1].pk, sealant.pk): 14}
        assert queries.mixed(step=steps[1]) == {(steps[1].pk, sealant.pk): (14, "g")}

    def test_mixed_for_a_step_tells_lots_shares_and_times(self, mix, lot_of, steps, builder, drawer):
        one, two = lot_of(code="A"), lot_of(code="")
        made = mix(takes=[Take(one, drawer, Decimal(20)), Take(two, drawer, Decimal(24))])
        services.end_mix(mix=made, left=Decimal(2), at=NOW, by=builder)
        (found,) = queries.mixed_for(steps[1].pk)

        assert (found.id, found.item, found.grams, found.of(steps[1].pk)) == (made.pk, "SEAL-B2", 44, 14)
        assert found.lots == ("A", "no lot code")
        assert [(share.project, share.code, share.grams) for share in found.shares] == [("TERN-1", "F3-05", 30), ("TERN-1", "F3-06", 14)]
        assert (found.mixed_at, found.mixed_by, found.left, found.ended_at, found.by) == (MIXED_AT, "Ada", 2, NOW, builder.name)

    @pytest.mark.parametrize("many", [1, 6])
    def test_reads_take_one_and_three_queries(self, mix, lot_of, steps, many, django_assert_num_queries):
        lot = lot_of(grams=44 * many)
        for _ in range(many):
            mix(lot)
        with django_assert_num_queries(1):
            queries.mixed_grams(step__in=steps)
        with django_assert_num_queries(3):
            assert len(queries.mixed_for(steps[0].pk)) == many
