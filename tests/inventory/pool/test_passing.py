"""Passing things from bench to bench: both sides agree, and lot, ledger and history go along."""

from datetime import date, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import transaction
from django_scopes import scopes_disabled
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test

from buildplan.shortfall.queries import shortfall
from inventory.common.problems import FieldProblem
from inventory.models import Acceptance, Bench, BenchHolder, Holding, Lot, Member, Movement, Transfer
from inventory.pool import passing, passing_queries
from inventory.pool import services as pool
from inventory.shelflife import services as shelflife
from inventory.shelflife.storage import Reading
from inventory.stock import services as stock
from inventory.stock.batch import Batch, Meant, Told
from inventory.stock.queries import LedgerLine, ledger_errors, life_of, movements, on_hand
from inventory.stock.services import NotEnough, NotUsable, OtherDates, PassedOn, SetAsideForOthers
from inventory.workshop.policy import NotAllowed
from tests import factories
from tests.inventory.pool.conftest import DAY, NOW


@pytest.fixture
def rivets(workshop):
    return factories.ItemFactory(workshop=workshop, code="AN470AD4-6", kind="rivet")


@pytest.fixture
def bag(bench, rivets, drawer):
    """A hundred of Tern's rivets in the drawer."""
    lot = factories.LotFactory(bench=bench, item=rivets, code="R7")
    factories.stock(lot, 100, place=drawer)
    return lot


@pytest.fixture
def tern(workshop, bench):
    """Who holds bench Tern."""
    return _holder(workshop, bench, "Tess")


@pytest.fixture
def plover(workshop, other_bench):
    """Who holds bench Plover."""
    return _holder(workshop, other_bench, "Paul")


def _holder(workshop, bench, name):
    member = factories.MemberFactory(workshop=workshop, role="builder", name=name)
    BenchHolder.objects.create(workshop=workshop, bench=bench, member=member)
    return member


@pytest.fixture
def offer(bag, tern, other_bench):
    def offer(**said):
        asked = {
            "lot": bag,
            "quantity": Decimal(60),
            "taker": other_bench,
            "until": None,
            "note": "",
            "key": uuid4(),
            "by": tern,
            "now": NOW,
        }
        return passing.offer(**{**asked, **said})

    return offer


@pytest.fixture
def ask(rivets, plover, other_bench, bench):
    def ask(**said):
        asked = {
            "item": rivets,
            "quantity": Decimal(60),
            "taker": other_bench,
            "giver": bench,
            "until": None,
            "note": "till the order comes",
        }
        return passing.ask(**{**asked, "key": uuid4(), "by": plover, "now": NOW, **said})

    return ask


def accept(transfer, by, **said):
    return passing.accept(**{"transfer": transfer, "lot": None, "place": None, "bench": None, "by": by, "today": DAY, "now": NOW, **said})


def nothing_passed():
    assert not Movement.objects.filter(source__end="passed").exists()
    assert not Movement.objects.filter(target__end="passed").exists()
    assert ledger_errors() == []


class TestOffer:
    def test_offered_pieces_are_the_giver_s_until_the_other_side_agrees(self, offer, bag, other_bench, plover):
        made = offer()
        assert on_hand(bag) == 100
        nothing_passed()

        done = accept(made, plover)
        assert (on_hand(bag), on_hand(done.made)) == (40, 60)
        assert (done.made.bench, done.made.code, done.ended_as, done.ended_by) == (other_bench, "R7", "done", plover)
        assert ledger_errors() == []

    def test_passing_is_two_lines_of_the_ledger_where_the_pieces_lie(self, offer, bag, plover, drawer):
        done = accept(offer(), plover)

        moved = Movement.objects.filter(ref=done.ref).order_by("pk")
        assert [(row.lot, row.source.path, row.target.path, row.quantity, row.on, row.at, row.by) for row in moved] == [
            (bag, drawer.path, "passed", 60, DAY, NOW, plover),
            (done.made, "passed", drawer.path, 60, DAY, NOW, plover),
        ]
        assert not Holding.objects.filter(place__end="passed").exists()

    def test_offer_to_all_passes_to_the_bench_that_is_named(self, offer, plover, other_bench):
        made = offer(taker=None)
        with pytest.raises(FieldProblem, match="say which bench takes it"):
            accept(made, plover)
        done = accept(made, plover, bench=other_bench)
        assert (done.taker, done.made.bench) == (other_bench, other_bench)

    def test_second_answer_of_any_kind_is_refused(self, offer, plover, tern, bag):
        made = offer()
        accept(made, plover)
        for again in (
            lambda: accept(made, plover),
            lambda: passing.decline(transfer=made, by=plover, now=NOW),
            lambda: passing.withdraw(transfer=made, by=tern, now=NOW),
        ):
            with pytest.raises(passing.Answered, match="accepted on 2027-02-20 by Paul"):
                again()
        assert on_hand(bag) == 40

    def test_same_key_again_makes_one_offer(self, offer):
        key = uuid4()
        assert offer(key=key) == offer(key=key, quantity=Decimal(1))
        assert Transfer.objects.get().quantity == 60

    def test_declined_and_withdrawn_offers_pass_nothing(self, offer, plover, tern):
        assert passing.decline(transfer=offer(), by=plover, now=NOW).ended_as == "declined"
        assert passing.withdraw(transfer=offer(), by=tern, now=NOW).ended_as == "withdrawn"
        with pytest.raises(passing.OpenToAll):
            passing.decline(transfer=offer(taker=None), by=plover, now=NOW)
        nothing_passed()

    def test_offer_is_open_through_its_last_day(self, offer, plover):
        made = offer(until=DAY + timedelta(days=3))
        with pytest.raises(passing.Lapsed, match="open until 2027-02-23"):
            accept(made, plover, today=DAY + timedelta(days=4))
        nothing_passed()
        assert accept(made, plover, today=DAY + timedelta(days=3)).ended_as == "done"

    def test_each_side_speaks_for_itself_alone(self, offer, tern, plover, storekeeper, reader, workshop):
        stranger = factories.MemberFactory(workshop=workshop, role="builder", name="Sue")
        for wrong in (plover, stranger, reader):
            with pytest.raises(NotAllowed):
                offer(by=wrong)
        made = offer()
        for wrong in (tern, stranger, reader):
            with pytest.raises(NotAllowed):
                accept(made, wrong)
            with pytest.raises(NotAllowed):
                passing.decline(transfer=made, by=wrong, now=NOW)
        with pytest.raises(NotAllowed):
            passing.withdraw(transfer=made, by=plover, now=NOW)
        nothing_passed()
        assert accept(made, storekeeper).ended_as == "done"

    @pytest.mark.parametrize(
        ("said", "error"),
        [
            ({"quantity": Decimal(0)}, "the quantity is 0"),
            ({"quantity": Decimal(101)}, "100 ea are here, 0 ea of them set aside"),
            ({"until": DAY - timedelta(days=1)}, "is over: give a day to come"),
        ],
    )
    def test_offer_refuses_what_makes_no_sense(self, offer, said, error):
        with pytest.raises(Exception, match=error):
            offer(**said)
        assert not Transfer.objects.exists()

    def test_offer_to_its_own_bench_is_refused(self, offer, bench):
        with pytest.raises(FieldProblem, match="is of Bench TERN already"):
            offer(taker=bench)

    def test_no_foreign_lot_bench_or_transfer(self, offer, outsider, plover, owner):
        with scopes_disabled():
            theirs = Lot.objects.get(workshop=outsider)
            bench, stranger = Bench.objects.get(workshop=outsider), Member.objects.filter(workshop=outsider).first()
        for said in ({"lot": theirs, "by": owner}, {"taker": bench}):
            with pytest.raises(NotAllowed):
                offer(**said)
        made = offer()
        with pytest.raises(NotAllowed):
            accept(made, stranger)
        nothing_passed()


class TestAsk:
    def test_wish_passes_from_the_lot_that_the_giver_names(self, ask, tern, bag, other_bench):
        made = ask()
        with pytest.raises(FieldProblem, match="say which lot of AN470AD4-6"):
            accept(made, tern)
        done = accept(made, tern, lot=bag)
        assert (done.giver, done.lot, done.made.bench, on_hand(done.made)) == (bag.bench, bag, other_bench, 60)

    def test_wish_to_all_passes_from_whichever_bench_gives(self, ask, tern, bag):
        assert accept(ask(giver=None), tern, lot=bag).giver == bag.bench

    def test_wish_refuses_another_item_another_bench_s_lot_and_its_own(
        self, ask, tern, bag, bench, shared_bench, other_bench, owner, rivets
    ):
        other = factories.LotFactory(bench=bench)
        factories.stock(other, 100)
        pooled = factories.LotFactory(bench=shared_bench, item=rivets)
        factories.stock(pooled, 100)
        own = factories.LotFactory(bench=other_bench, item=rivets)
        factories.stock(own, 100)
        for wrong, words in ((other, "isn't what was asked for"), (pooled, "and Bench TERN was asked")):
            with pytest.raises(FieldProblem, match=words):
                accept(ask(), tern, lot=wrong)
        with pytest.raises(FieldProblem, match="is of Bench PLOVER already"):
            accept(ask(giver=None), owner, lot=own)
        with pytest.raises(FieldProblem, match="asks itself"):
            ask(giver=other_bench)
        nothing_passed()

    def test_taker_alone_may_ask_and_withdraw_and_not_answer(self, ask, plover, tern, bag):
        with pytest.raises(NotAllowed):
            ask(by=tern)
        with pytest.raises(NotAllowed):
            accept(ask(), plover, lot=bag)
        assert passing.withdraw(transfer=ask(), by=plover, now=NOW).ended_as == "withdrawn"
        assert passing.decline(transfer=ask(), by=tern, now=NOW).ended_as == "declined"
        nothing_passed()


class TestWhatPasses:
    def test_set_aside_pieces_stay(self, offer, bag, tern, plover):
        made = offer()
        stock.set_aside(lot=bag, ref="step:1", quantity=Decimal(50), by=tern)
        with pytest.raises(SetAsideForOthers, match="50 ea are free and not 60"):
            accept(made, plover)
        with pytest.raises(NotEnough, match="50 ea of them set aside"):
            offer()
        nothing_passed()

    def test_pieces_pass_from_one_place_or_from_all_in_the_order_of_paths(self, offer, bag, plover, workshop, drawer):
        attic = factories.PlaceFactory(workshop=workshop, path="Attic")
        factories.stock(bag, 15, place=attic)
        with pytest.raises(NotEnough, match="Attic hold 15 ea, and 60 ea are to pass"):
            accept(offer(), plover, place=attic)
        nothing_passed()

        done = accept(offer(), plover)
        lying = {row.place.path: row.quantity for row in Holding.objects.filter(lot=done.made)}
        assert lying == {"Attic": 15, drawer.path: 45}
        assert on_hand(accept(offer(quantity=Decimal(10)), plover, place=drawer).made) == 70  # more of the same lot

    @pytest.mark.parametrize("state", ["failed", "quarantined", "disputed"])
    def test_lot_that_is_not_good_stays(self, offer, bag, plover, state):
        made = offer()
        Lot.objects.filter(pk=bag.pk).update(state=state)
        with pytest.raises(NotUsable, match=f"is {state}: only a good lot passes"):
            accept(made, plover)
        nothing_passed()

    def test_lent_pieces_single_things_and_what_is_promised_stay(self, clecos, squeezer, tub, people, plover, storekeeper, other_bench):
        def offered(lot, quantity):
            return passing.offer(
                lot=lot, quantity=Decimal(quantity), taker=other_bench, until=None, note="", key=uuid4(), by=storekeeper, now=NOW
            )

        with pytest.raises(passing.SingleThing):
            offered(squeezer.lot, 1)
        said = {"key": uuid4(), "by": people[0], "member": people[0]}
        pool.lend(lot=clecos, place=tub, quantity=Decimal(10), on=DAY, due_on=DAY + timedelta(days=5), now=NOW, **said)
        pool.book(
            item=clecos.item,
            quantity=Decimal(20),
            first_day=DAY + timedelta(days=2),
            last_day=DAY + timedelta(days=2),
            today=DAY,
            now=NOW,
            **{**said, "key": uuid4()},
        )
        with pytest.raises(NotEnough, match="30 ea are here"):
            offered(clecos, 31)
        with pytest.raises(passing.Promised, match="too little of CLECO-1/8 is left for Ann on 2027-02-22"):
            accept(offered(clecos, 11), plover)
        nothing_passed()
        assert on_hand(accept(offered(clecos, 10), plover).made) == 10

    def test_one_side_of_a_passing_is_not_undone_and_has_no_button(self, offer, plover, bag, storekeeper):
        done = accept(offer(), plover)
        for moved in Movement.objects.filter(ref=done.ref):
            with pytest.raises(PassedOn, match="Pass it back"):
                stock.reverse(movement=moved, on=DAY, by=storekeeper)
        lines = [LedgerLine(*row) for row in movements(ref=done.ref)]
        assert [line.reversible for line in lines] == [False, False]
        assert on_hand(bag) == 40

    def test_count_of_before_that_is_sent_after_it_passed_knows_of_it(self, offer, plover, bag, drawer, storekeeper):
        done = accept(offer(), plover)
        with transaction.atomic():
            said = {"meant": Meant(lots=[bag.pk, done.made.pk], of={bag.item_id: bag.item}), "by": storekeeper, "locked": True}
            batch = Batch(since=NOW - timedelta(hours=2), **said)
            told = Told(at=NOW - timedelta(hours=1), on=DAY)
            assert batch.count(lot=bag, place=drawer, counted=Decimal(100), told=told) is None  # 100 then, 60 of them passed since
            assert batch.count(lot=done.made, place=drawer, counted=Decimal(2), told=told).quantity == 2  # there were two more of Plover's
            batch.write()
        assert (on_hand(bag), on_hand(done.made)) == (40, 62)
        assert ledger_errors() == []

    def test_both_shortfalls_change_at_once(self, offer, plover, bench, other_bench, rivets):
        projects = [factories.ProjectFactory(bench=one) for one in (bench, other_bench)]
        for project in projects:
            step = factories.StepFactory(project=project, planned_on=DAY)
            factories.CallOutFactory(step=step, item=rivets, quantity=Decimal(80))

        def short():
            return [shortfall([project], before=None, as_of=DAY).lines[0].short for project in projects]

        made = offer()
        assert short() == [0, 80]  # an offer alone changes nothing
        accept(made, plover)
        assert short() == [40, 20]


class TestHistory:
    @pytest.fixture
    def sealant(self, workshop):
        return factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g", life_months=9, open_life_days=30)

    @pytest.fixture
    def tin(self, bench, sealant, drawer):
        lot = factories.LotFactory(bench=bench, item=sealant, code="S1", made_on=date(2026, 9, 30), made_as="month", opened_on=DAY)
        factories.stock(lot, 100, place=drawer)
        return lot

    def test_lot_keeps_dates_opening_tests_and_storage(self, offer, tin, plover):
        Lot.objects.filter(pk=tin.pk).update(
            passes=1, storage_until=DAY + timedelta(days=9), storage_why="28 C in Shed", expires_as="quarter"
        )
        done = accept(offer(lot=tin), plover)

        kept, made = Lot.objects.get(pk=tin.pk), Lot.objects.select_related("item").get(pk=done.made_id)
        for name in ("made_on", "made_as", "expires_on", "expires_as", "opened_on", "passes", "storage_until", "storage_why", "state"):
            assert getattr(made, name) == getattr(kept, name), name
        assert life_of(made) == life_of(kept)

    def test_acceptance_goes_along_and_is_withdrawn_by_itself(self, offer, tin, plover, workshop):
        inspector = factories.MemberFactory(workshop=workshop, role="inspector")
        until = DAY + timedelta(days=400)
        accepted = shelflife.accept(lot=tin, until=until, reason="cured hard", on=DAY, by=inspector)
        made = accept(offer(lot=tin), plover).made
        made.refresh_from_db()
        copy = Acceptance.objects.get(lot=made)
        assert (made.accepted_until, copy.reason, copy.by, copy.on) == (until, "cured hard", inspector, DAY)

        shelflife.withdraw(acceptance=accepted, on=DAY, by=inspector)
        made.refresh_from_db()
        assert made.accepted_until == until
        shelflife.withdraw(acceptance=copy, on=DAY, by=inspector)
        made.refresh_from_db()
        assert made.accepted_until is None

    def test_dead_lot_passes_as_dead(self, offer, tin, plover, drawer):
        Lot.objects.filter(pk=tin.pk).update(opened_on=None, made_on=date(2025, 1, 1))
        made = accept(offer(lot=tin), plover).made
        with pytest.raises(NotUsable, match="as its last usable day"):
            stock.use(lot=made, quantity=Decimal(1), place=drawer, on=DAY, by=plover)

    def test_failed_test_fails_what_passed_too(self, offer, tin, plover, workshop):
        inspector = factories.MemberFactory(workshop=workshop, role="inspector")
        made = accept(offer(lot=tin), plover).made
        shelflife.record_test(lot=tin, on=DAY, method="sample", passed=False, by=inspector)
        assert Lot.objects.get(pk=made.pk).state == "failed"

    def test_more_of_the_same_joins_the_lot_and_other_dates_are_refused(self, offer, tin, plover, other_bench, sealant):
        first = accept(offer(lot=tin, quantity=Decimal(10)), plover).made
        assert accept(offer(lot=tin, quantity=Decimal(5)), plover).made == first
        Lot.objects.filter(pk=tin.pk).update(storage_until=DAY)
        apart = accept(offer(lot=tin, quantity=Decimal(5)), plover).made
        assert apart not in {first, tin}

        Lot.objects.filter(bench=other_bench).update(made_on=date(2026, 10, 31))
        with pytest.raises(OtherDates, match="one code has one set of dates"):
            accept(offer(lot=tin, quantity=Decimal(5)), plover)

    def test_heat_before_it_passed_counts_however_often_it_passed_on(self, offer, tin, tern, plover, storekeeper, shared_bench, drawer):
        shelflife.save_rule(
            item=tin.item, high=Decimal("26.67"), use_within_days=35, source="data sheet", by=storekeeper, now=NOW - timedelta(days=1)
        )
        first = accept(offer(lot=tin), plover).made
        again = accept(offer(lot=first, taker=shared_bench, by=plover), tern, now=NOW + timedelta(hours=1)).made
        back = accept(offer(lot=again, quantity=Decimal(10), taker=tin.bench, by=tern), tern, now=NOW + timedelta(hours=2)).made
        assert back == tin

        hot = [Reading(NOW - timedelta(hours=hours), degrees) for hours, degrees in ((3, 20), (2, 29), (1, 20))]
        shelflife.log_temperatures(place=drawer, readings=hot, by=storekeeper, now=NOW + timedelta(hours=3))
        until = dict(Lot.objects.filter(item=tin.item).values_list("pk", "storage_until"))
        assert until == {tin.pk: DAY + timedelta(days=35), first.pk: None, again.pk: DAY + timedelta(days=35)}  # of `first` nothing is left

    def test_heat_after_it_passed_is_the_taker_s_alone(self, offer, tin, plover, storekeeper, workshop, drawer):
        shelflife.save_rule(
            item=tin.item, high=Decimal("26.67"), use_within_days=35, source="data sheet", by=storekeeper, now=NOW - timedelta(days=1)
        )
        shed = factories.PlaceFactory(workshop=workshop, path="Shed")
        made = accept(offer(lot=tin), plover).made
        stock.move(lot=made, quantity=Decimal(60), source=drawer, target=shed, on=DAY, by=plover)
        hot = [Reading(NOW + timedelta(days=2, hours=hours), degrees) for hours, degrees in ((1, 20), (2, 29), (3, 20))]
        shelflife.log_temperatures(place=shed, readings=hot, by=storekeeper, now=NOW + timedelta(days=3))

        assert Lot.objects.get(pk=tin.pk).storage_until is None
        assert Lot.objects.get(pk=made.pk).storage_until is not None


class TestReads:
    def test_open_ones_say_who_may_do_what(self, offer, ask, tern, plover, reader, other_bench, shared_bench):
        given = offer(until=DAY + timedelta(days=3))
        wished, to_all = ask(), offer(taker=None)
        passing.withdraw(transfer=offer(), by=tern, now=NOW)

        def told(member, **said):
            return [(row.id, row.answers, row.owns) for row in passing_queries.open_transfers(today=DAY, member=member, **said)]

        assert told(tern) == [(given.pk, False, True), (wished.pk, True, False), (to_all.pk, True, True)]
        assert told(plover) == [(given.pk, True, False), (wished.pk, False, True), (to_all.pk, True, False)]
        assert told(reader) == [(given.pk, False, False), (wished.pk, False, False), (to_all.pk, False, False)]
        assert [pk for pk, *_ in told(tern, bench=shared_bench)] == [to_all.pk]
        assert [row.id for row in passing_queries.open_transfers(today=DAY + timedelta(days=4))] == [wished.pk, to_all.pk]
        (gone,) = passing_queries.ended_transfers(since=DAY)
        assert (gone.ended_as, gone.ended_by, gone.lot, gone.giver, gone.taker) == ("withdrawn", tern.name, "R7", "TERN", "PLOVER")

    @pytest.mark.parametrize("many", [1, 12])
    def test_reads_take_the_same_queries_at_one_and_at_many(self, offer, ask, tern, many, django_assert_num_queries):
        for _ in range(many):
            offer(quantity=Decimal(1))
        ask()
        member = Member.objects.get(pk=tern.pk)  # as a request has it: the benches that others hold are not known yet
        with django_assert_num_queries(2):
            assert len(passing_queries.open_transfers(today=DAY, member=member)) == many + 1


class Passing(RuleBasedStateMachine):
    """Three benches pass one lot's pieces around; each run of it is rolled back."""

    benches = ()
    by = lot = None
    start = Decimal(50)

    def __init__(self):
        super().__init__()
        self.model = [self.start, Decimal(0), Decimal(0)]
        self.open = []  # (transfer, giver, taker, quantity)
        self.atomic = transaction.atomic()
        self.atomic.__enter__()

    def teardown(self):
        transaction.set_rollback(True)
        self.atomic.__exit__(None, None, None)

    def lots(self, at):
        return list(Lot.objects.filter(bench=self.benches[at], item=self.lot.item))

    @rule(giver=st.integers(0, 2), turn=st.integers(1, 2), quantity=st.integers(1, 40).map(Decimal), wish=st.booleans())
    def begin(self, giver, turn, quantity, wish):
        taker = (giver + turn) % 3
        said = {"quantity": quantity, "taker": self.benches[taker], "until": None, "note": "", "key": uuid4(), "by": self.by, "now": NOW}
        if wish:
            made = passing.ask(item=self.lot.item, giver=self.benches[giver], **said)
        else:
            if not self.lots(giver) or quantity > self.model[giver]:
                return
            made = passing.offer(lot=self.lots(giver)[0], **said)
        self.open.append((made, giver, taker, quantity))

    @precondition(lambda self: self.open)
    @rule(data=st.data(), how=st.sampled_from(["accept", "accept", "decline", "withdraw"]))
    def end(self, data, how):
        made, giver, taker, quantity = self.open.pop(data.draw(st.integers(0, len(self.open) - 1)))
        if how != "accept":
            getattr(passing, how)(transfer=made, by=self.by, now=NOW)
            return
        lots = self.lots(giver)
        if not lots:
            return
        said = {"lot": lots[0] if made.asked_by_taker else None}
        if quantity > self.model[giver]:
            with pytest.raises(NotEnough):
                accept(made, self.by, **said)
            return
        accept(made, self.by, **said)
        self.model[giver] -= quantity
        self.model[taker] += quantity

    @invariant()
    def each_bench_has_what_the_model_says_and_nothing_is_lost(self):
        assert [sum((on_hand(lot) for lot in self.lots(at)), Decimal(0)) for at in range(3)] == self.model
        assert sum(self.model) == self.start
        assert ledger_errors(self.by.workshop) == []


def test_passing_is_the_model_whatever_happens(bag, bench, other_bench, shared_bench, storekeeper):
    class Ours(Passing):
        benches = (bench, other_bench, shared_bench)
        by, lot = storekeeper, bag
        start = Decimal(100)

    run_state_machine_as_test(Ours, settings=settings(max_examples=12, stateful_step_count=12, deadline=None))
