"""Senders, clocks, and a claim from its draft to its answer."""

from datetime import date
from decimal import Decimal
from uuid import uuid4

import pytest
from django_scopes import scopes_disabled
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from buildplan.shortfall.queries import shortfall
from inventory.claims import queries, services
from inventory.claims.services import Chosen, NobodyToAsk, NothingToClaim, TooMuch, WrongMoment
from inventory.common.problems import FieldProblem
from inventory.models import Claim, ClaimLine, ClaimRule, Crate, PackingLine, Sender
from inventory.stock.queries import ledger_errors
from inventory.tallying import queries as tally_queries
from inventory.tallying import services as tallying
from inventory.workshop.policy import NotAllowed
from tests import factories
from tests.factories import DAY

LATER = date(2027, 2, 25)
DUE = date(2027, 3, 15)


class TestSenders:
    def test_sender_is_kept_with_its_address(self, workshop, storekeeper):
        kept = services.save_sender(name=" Kit Works ", address="1 Lane\r\n\n Marsh ", email="a@b.example", by=storekeeper)

        assert (kept.workshop, kept.name, kept.address, kept.email) == (workshop, "Kit Works", "1 Lane\nMarsh", "a@b.example")
        assert kept.history.get().history_user == storekeeper

    def test_sender_s_name_is_one_sender_s(self, sender, storekeeper):
        with pytest.raises(FieldProblem, match="KIT WORKS is among the senders already") as refused:
            services.save_sender(name="KIT WORKS", by=storekeeper)
        assert refused.value.field == "name"

    def test_outsider_s_sender_may_have_the_same_name(self, sender, outsider):
        with scopes_disabled():
            Sender.objects.create(workshop=outsider, name=sender.name)

    def test_sender_with_crates_stays(self, crate, sender, storekeeper):
        with pytest.raises(services.SenderUsed, match="Kit Works sent CRATE-7"):
            services.remove_sender(sender=sender, by=storekeeper)

    def test_sender_without_crates_goes_with_its_clocks(self, sender, clock, storekeeper):
        clock()

        services.remove_sender(sender=sender, by=storekeeper)
        assert not Sender.objects.exists()
        assert not ClaimRule.objects.exists()
        assert ClaimRule.history.filter(history_type="-").exists()

    def test_clock_of_a_fault_is_set_anew(self, sender, clock):
        clock(days=10)
        clock(days=14, against="carrier", source="terms, 7")

        rule = ClaimRule.objects.get()
        assert (rule.days, rule.against, rule.source) == (14, "carrier", "terms, 7")

    def test_no_clock_is_there_unless_somebody_sets_it(self, sender):
        assert not ClaimRule.objects.exists()

    @pytest.mark.parametrize(("given", "field"), [({"days": -1}, "days"), ({"days": 3651}, "days"), ({"fault": "delay"}, "fault")])
    def test_clock_that_makes_no_sense_is_refused(self, clock, given, field):
        with pytest.raises(FieldProblem) as refused:
            clock(**given)
        assert refused.value.field == field

    def test_clock_may_be_removed(self, clock, storekeeper):
        services.remove_rule(rule=clock(), by=storekeeper)

        assert not ClaimRule.objects.exists()


class TestJourney:
    def test_only_what_is_given_changes(self, crate, storekeeper):
        services.set_sender(crate=crate, carrier="Other Freight", by=storekeeper)

        crate.refresh_from_db()
        assert (crate.carrier, crate.order_code, crate.arrived_on) == ("Other Freight", "4711", DAY)
        assert crate.history.first().history_user == storekeeper

    @pytest.mark.parametrize(
        ("given", "field"),
        [
            ({"shipped_on": date(2027, 2, 21)}, "arrived_on"),
            ({"ordered_on": date(2027, 2, 21)}, "arrived_on"),
            ({"arrived_on": None, "shipped_on": DAY, "due_on": date(2027, 2, 19)}, "due_on"),
            ({"ordered_on": DAY, "shipped_on": date(2027, 2, 19)}, "shipped_on"),
        ],
    )
    def test_days_out_of_order_are_refused(self, crate, storekeeper, given, field):
        with pytest.raises(FieldProblem, match="is before it was") as refused:
            services.set_sender(crate=crate, by=storekeeper, **given)
        assert refused.value.field == field

    def test_sender_of_the_outsider_is_refused(self, crate, storekeeper, outsider):
        with scopes_disabled():
            foreign = Sender.objects.create(workshop=outsider, name="OUTSIDE")

        with pytest.raises(NotAllowed):
            services.set_sender(crate=crate, sender=foreign, by=storekeeper)


class TestDrafting:
    def test_one_claim_is_drafted_for_each_fault(self, crate, short, clock, storekeeper):
        clock("shortage", 10)
        clock("concealed", 3, against="carrier")

        made = services.draft_claims(crate=crate, on=DAY, by=storekeeper)

        assert {(one.fault, one.against, str(one.due_on)) for one in made} == {
            ("shortage", "Kit Works", "2027-03-02"),
            ("concealed", "Marsh Freight", "2027-02-23"),
        }
        assert {(row.claim.fault, row.line, row.item, row.quantity) for row in ClaimLine.objects.all()} == {
            ("shortage", short, short.item, Decimal(37)),
            ("concealed", short, short.item, Decimal(3)),
        }

    def test_shortage_claimed_is_what_is_listed_less_what_was_found_and_the_ledger_agrees(self, crate, short, drawer, storekeeper):
        tallying.put_away(crate=crate, place=drawer, on=DAY, by=storekeeper)
        services.draft_claims(crate=crate, on=DAY, by=storekeeper)

        receipt = tally_queries.receipt(crate)
        claimed = {row.claim.fault: row.quantity for row in ClaimLine.objects.select_related("claim")}
        assert claimed["shortage"] == short.quantity - receipt.good - receipt.damaged == 37
        assert claimed["concealed"] == receipt.damaged == 3
        assert receipt.went_in == short.quantity - claimed["shortage"]
        assert ledger_errors() == []

    def test_drafting_again_claims_nothing_twice(self, crate, drafts, storekeeper):
        with pytest.raises(NothingToClaim, match="claimed already"):
            services.draft_claims(crate=crate, on=DAY, by=storekeeper)
        assert Claim.objects.count() == 2

    def test_drafting_again_claims_what_was_found_since(self, crate, bag, drafts, rivets, count, workshop, storekeeper):
        second = factories.PackingLineFactory(crate=crate, bag=bag, number="13", quantity=Decimal(5))
        count(second, 4, "damaged")

        made = services.draft_claims(crate=crate, on=DAY, by=storekeeper)
        assert {(row.claim.fault, row.line_id, row.quantity) for row in ClaimLine.objects.filter(claim__in=made)} == {
            ("shortage", second.pk, Decimal(1)),
            ("concealed", second.pk, Decimal(4)),
        }

    def test_the_same_form_sent_twice_drafts_once(self, crate, short, storekeeper):
        key = uuid4()
        chosen = [Chosen(short.pk, short.item_id, "shortage", Decimal(7))]
        given = {"crate": crate, "on": DAY, "by": storekeeper, "chosen": chosen, "request_key": key}

        first, again = services.draft_claims(**given), services.draft_claims(**given)
        assert first == again
        assert ClaimLine.objects.get().quantity == 7

    def test_part_of_a_difference_may_be_claimed_and_the_rest_later(self, crate, short, storekeeper):
        for quantity in (30, 7):
            chosen = [Chosen(short.pk, short.item_id, "shortage", Decimal(quantity))]
            services.draft_claims(crate=crate, on=DAY, by=storekeeper, chosen=chosen)

        with pytest.raises(
            TooMuch, match="1 ea of MS20470AD4-6 are claimed, and 0 ea are left to claim: 37 differ, 37 stand in other claims"
        ):
            services.draft_claims(crate=crate, on=DAY, by=storekeeper, chosen=[Chosen(short.pk, short.item_id, "shortage", Decimal(1))])

    def test_more_than_is_missing_is_refused(self, crate, short, storekeeper):
        with pytest.raises(TooMuch, match="38 ea of MS20470AD4-6 are claimed, and 37 ea are left"):
            services.draft_claims(crate=crate, on=DAY, by=storekeeper, chosen=[Chosen(short.pk, short.item_id, "shortage", Decimal(38))])
        assert not Claim.objects.exists()

    def test_the_same_pieces_are_not_damaged_at_delivery_and_inside(self, crate, short, storekeeper):
        chosen = [Chosen(short.pk, short.item_id, fault, Decimal(2)) for fault in ("damage", "concealed")]

        with pytest.raises(TooMuch, match="4 ea"):
            services.draft_claims(crate=crate, on=DAY, by=storekeeper, chosen=chosen)

    def test_what_does_not_differ_is_refused(self, crate, short, storekeeper):
        other = factories.PackingLineFactory(crate=crate)

        with pytest.raises(TooMuch, match="not among the differences"):
            services.draft_claims(crate=crate, on=DAY, by=storekeeper, chosen=[Chosen(other.pk, other.item_id, "shortage", Decimal(1))])

    def test_a_bag_still_being_counted_lacks_nothing_yet(self, crate, line, count, storekeeper):
        count(line, 200)

        with pytest.raises(NothingToClaim, match="count its bags to the end first"):
            services.draft_claims(crate=crate, on=DAY, by=storekeeper)

    def test_wrong_thing_that_is_not_listed_is_claimed_once_over_all_bags(self, crate, bag, workshop, count, storekeeper):
        stray = factories.ItemFactory(workshop=workshop, code="BOLT")
        count(item=stray, bag=bag, quantity=2, finding="wrong")
        count(item=stray, bag=None, quantity=3, finding="wrong")

        (claim,) = services.draft_claims(crate=crate, on=DAY, by=storekeeper)
        row = claim.lines.get()
        assert (claim.fault, row.line, row.item, row.quantity) == ("wrong", None, stray, 5)

    def test_nobody_to_claim_from_is_said(self, crate, short, storekeeper):
        services.set_sender(crate=crate, sender=None, by=storekeeper)

        with pytest.raises(NobodyToAsk, match="nobody knows who sent crate CRATE-7"):
            services.draft_claims(crate=crate, on=DAY, by=storekeeper)

    def test_carrier_who_is_not_known_is_said(self, crate, short, clock, storekeeper):
        clock("concealed", 3, against="carrier")
        services.set_sender(crate=crate, carrier="", by=storekeeper)

        with pytest.raises(NobodyToAsk, match="nobody knows who carried crate CRATE-7"):
            services.draft_claims(crate=crate, on=DAY, by=storekeeper)
        assert not Claim.objects.exists()

    def test_day_before_arrival_is_refused(self, crate, short, storekeeper):
        with pytest.raises(FieldProblem, match="before the crate arrived on 2027-02-20"):
            services.draft_claims(crate=crate, on=date(2027, 2, 19), by=storekeeper)

    def test_draft_may_ask_somebody_else_or_less(self, drafts, storekeeper):
        claim = drafts["shortage"]
        row = claim.lines.get()

        services.change_claim(claim=claim, against="Other Ltd", quantities={row.pk: Decimal(5)}, by=storekeeper)
        claim.refresh_from_db()
        assert (claim.against, claim.lines.get().quantity) == ("Other Ltd", 5)

    def test_draft_may_not_grow_past_what_is_missing_nor_lose_its_last_line(self, drafts, storekeeper):
        claim = drafts["shortage"]
        row = claim.lines.get()

        with pytest.raises(TooMuch):
            services.change_claim(claim=claim, quantities={row.pk: Decimal(38)}, by=storekeeper)
        with pytest.raises(FieldProblem, match="discard the draft instead"):
            services.change_claim(claim=claim, quantities={row.pk: Decimal(0)}, by=storekeeper)
        with pytest.raises(FieldProblem, match="is not of this claim"):
            services.change_claim(claim=claim, quantities={drafts["concealed"].lines.get().pk: Decimal(1)}, by=storekeeper)
        assert claim.lines.get().quantity == 37

    def test_discarded_draft_leaves_its_quantity_to_claim(self, crate, drafts, storekeeper):
        services.discard_claim(claim=drafts["shortage"], by=storekeeper)

        (again,) = services.draft_claims(crate=crate, on=DAY, by=storekeeper)
        assert again.lines.get().quantity == 37

    @settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
    @given(st.lists(st.integers(1, 50), min_size=1, max_size=6))
    def test_claims_never_exceed_the_difference_whatever_is_asked(self, crate, short, storekeeper, quantities):
        Claim.objects.all().delete()
        for quantity in quantities:
            try:
                chosen = [Chosen(short.pk, short.item_id, "shortage", Decimal(quantity))]
                services.draft_claims(crate=crate, on=DAY, by=storekeeper, chosen=chosen)
            except TooMuch:
                continue
        assert sum(row.quantity for row in ClaimLine.objects.all()) <= 37


class TestSending:
    def test_sending_freezes_the_letter(self, sent, short, count, sender, storekeeper):
        before = queries.detail(sent, DAY)
        services.save_sender(sender=sender, name="Renamed", by=storekeeper)
        count(short, 5)

        sent.refresh_from_db()
        after = queries.detail(sent, LATER)
        assert (after.text, after.letter) == (before.text, before.letter)
        assert sent.letter == after.text
        assert "Kit Works" in sent.letter
        assert "listed 240 ea, found good 200 ea, found damaged 3 ea, claimed 37 ea" in sent.letter
        assert storekeeper.name in sent.letter

    def test_sent_before_it_was_drafted_is_refused(self, drafts, storekeeper):
        with pytest.raises(FieldProblem, match="before it was drafted on 2027-02-20"):
            services.send_claim(claim=drafts["shortage"], on=date(2027, 2, 19), by=storekeeper)

    def test_sent_twice_is_refused(self, sent, storekeeper):
        with pytest.raises(WrongMoment, match="was sent on 2027-02-20"):
            services.send_claim(claim=sent, on=LATER, by=storekeeper)

    def test_what_was_found_since_is_not_sent(self, drafts, short, count, storekeeper):
        count(short, 30)

        with pytest.raises(TooMuch, match="37 ea of MS20470AD4-6 are claimed, and 7 ea are left"):
            services.send_claim(claim=drafts["shortage"], on=DAY, by=storekeeper)

    def test_due_day_is_by_the_clock_as_it_is_when_sent(self, drafts, clock, storekeeper):
        clock("shortage", 14, source="terms of sale, 7")

        kept = services.send_claim(claim=drafts["shortage"], on=DAY, by=storekeeper)
        assert kept.due_on == date(2027, 3, 6)
        assert "To be claimed by: 2027-03-06, 14 days after arrival (terms of sale, 7)" in kept.letter

    def test_sent_claim_is_neither_changed_nor_discarded(self, sent, storekeeper):
        for refused in (
            lambda: services.change_claim(claim=sent, against="X", by=storekeeper),
            lambda: services.discard_claim(claim=sent, by=storekeeper),
        ):
            with pytest.raises(WrongMoment):
                refused()


class TestAnswers:
    def answer(self, claim, by, state="credited", on=LATER, **more):
        return services.answer_claim(claim=claim, state=state, on=on, by=by, **more)

    def test_credit_is_written_down_and_nothing_more_is_expected(self, sent, short, storekeeper):
        self.answer(sent, storekeeper, answer="on the next invoice")

        sent.refresh_from_db()
        short.refresh_from_db()
        assert (sent.state, sent.answered_on, sent.answer) == ("credited", LATER, "on the next invoice")
        assert short.open_quantity == 203
        assert not PackingLine.objects.exclude(pk=short.pk).exists()

    def test_refused_quantity_is_left_to_claim_again(self, sent, crate, short, drafts, storekeeper):
        self.answer(sent, storekeeper, "refused")

        short.refresh_from_db()
        assert short.open_quantity == 240
        (again,) = services.draft_claims(crate=crate, on=LATER, by=storekeeper)
        assert again.lines.get().quantity == 37

    def test_answer_of_a_draft_is_refused(self, drafts, storekeeper):
        with pytest.raises(WrongMoment, match="is a draft: mark it as sent first"):
            self.answer(drafts["shortage"], storekeeper)

    def test_second_answer_is_refused(self, sent, storekeeper):
        self.answer(sent, storekeeper, "replaced", replacement_due=DUE)

        with pytest.raises(WrongMoment, match="was answered on 2027-02-25: it is replaced"):
            self.answer(sent, storekeeper, "replaced", replacement_due=DUE)
        assert Crate.objects.filter(code__contains="/R").count() == 1

    @pytest.mark.parametrize(
        ("given", "field", "told"),
        [
            ({"on": date(2027, 2, 19)}, "on", "before it was sent on 2027-02-20"),
            ({"state": "sent"}, "state", "sent is no answer"),
            ({"state": "replaced", "replacement_due": date(2027, 2, 24)}, "replacement_due", "before the answer on 2027-02-25"),
            ({"state": "credited", "replacement_due": DUE}, "replacement_due", "leave the day out"),
        ],
    )
    def test_answer_that_makes_no_sense_is_refused(self, sent, storekeeper, given, field, told):
        with pytest.raises(FieldProblem, match=told) as refused:
            self.answer(sent, storekeeper, **given)
        assert refused.value.field == field
        sent.refresh_from_db()
        assert sent.state == "sent"

    def test_replacement_is_a_crate_on_its_way(self, sent, crate, short, bench, sender, storekeeper):
        self.answer(sent, storekeeper, "replaced", replacement_due=DUE)

        coming = Crate.objects.get(code="CRATE-7/R1")
        (row,) = coming.lines.all()
        assert (coming.bench, coming.sender, coming.due_on, coming.ordered_on) == (bench, sender, DUE, LATER)
        assert (row.item, row.quantity, row.open_quantity, row.back_order_of) == (short.item, 37, 37, short)
        assert sent.lines.get().replacement == row
        assert coming.history.get().history_user == row.history.get().history_user == storekeeper

    def test_replacement_counts_in_the_shortfall_once(self, sent, crate, short, project, drawer, storekeeper):
        factories.CallOutFactory(
            step=factories.StepFactory(project=project, planned_on=date(2027, 4, 1)), item=short.item, quantity=Decimal(240)
        )
        tallying.put_away(crate=crate, place=drawer, on=DAY, by=storekeeper)
        self.answer(sent, storekeeper, "replaced", replacement_due=DUE)

        (line,) = shortfall([project], before=None, as_of=LATER).lines
        assert (line.usable, line.in_transit, line.short) == (200, 37, 3)

    @pytest.mark.parametrize("reopened", [False, True])
    def test_replacement_of_a_closed_crate_counts_once_even_when_counting_goes_on(self, sent, crate, short, storekeeper, reopened):
        tallying.close(crate=crate, on=DAY, by=storekeeper)
        self.answer(sent, storekeeper, "replaced", replacement_due=DUE)
        if reopened:
            tallying.reopen(crate=crate, by=storekeeper)

        short.refresh_from_db()
        assert short.open_quantity == 203

    def test_replacement_without_a_day_waits_for_one(self, sent, storekeeper):
        self.answer(sent, storekeeper, "replaced")

        assert Crate.objects.get(code="CRATE-7/R1").due_on is None

    def test_what_is_on_no_list_can_not_be_replaced(self, crate, bag, workshop, count, storekeeper):
        count(item=factories.ItemFactory(workshop=workshop), bag=bag, quantity=2, finding="wrong")
        (claim,) = services.draft_claims(crate=crate, on=DAY, by=storekeeper)
        services.send_claim(claim=claim, on=DAY, by=storekeeper)

        with pytest.raises(FieldProblem, match="nothing of it can be replaced"):
            self.answer(claim, storekeeper, "replaced", replacement_due=DUE)
        assert Crate.objects.count() == 1

    def test_replacement_that_comes_short_is_claimed_under_its_own_crate(self, sent, storekeeper):
        self.answer(sent, storekeeper, "replaced", replacement_due=DUE)
        coming = Crate.objects.get(code="CRATE-7/R1")
        services.set_sender(crate=coming, arrived_on=DUE, by=storekeeper)
        tallying.close(crate=coming, on=DUE, by=storekeeper)

        (again,) = services.draft_claims(crate=coming, on=DUE, by=storekeeper)
        services.send_claim(claim=again, on=DUE, by=storekeeper)
        self.answer(again, storekeeper, "replaced", on=DUE)
        assert Crate.objects.filter(code="CRATE-7/R2").exists()


class TestRights:
    def test_builder_and_outsider_may_do_none_of_it(self, crate, sender, clock, drafts, builder):
        rule, claim = clock(), drafts["shortage"]
        with scopes_disabled():
            stranger = factories.MemberFactory()
        for by in (builder, stranger):
            for write in (
                lambda by: services.save_sender(sender=sender, name="X", by=by),
                lambda by: services.remove_sender(sender=sender, by=by),
                lambda by: services.save_rule(sender=sender, fault="wrong", days=1, by=by),
                lambda by: services.remove_rule(rule=rule, by=by),
                lambda by: services.set_sender(crate=crate, carrier="X", by=by),
                lambda by: services.draft_claims(crate=crate, on=DAY, by=by),
                lambda by: services.change_claim(claim=claim, against="X", by=by),
                lambda by: services.send_claim(claim=claim, on=DAY, by=by),
                lambda by: services.answer_claim(claim=claim, state="refused", on=DAY, by=by),
                lambda by: services.discard_claim(claim=claim, by=by),
            ):
                with pytest.raises(NotAllowed):
                    write(by)
        claim.refresh_from_db()
        assert (claim.state, claim.against) == ("draft", "Kit Works")
