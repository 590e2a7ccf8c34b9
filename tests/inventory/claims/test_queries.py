"""Claim clocks, lists of claims, letters, and what came of a promise."""

from collections import Counter
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.claims import queries, services
from inventory.claims.queries import clocks
from inventory.models import Bag, Claim, Crate, Photo, Tally
from inventory.receiving import services as receiving
from inventory.tallying import services as tallying
from tests import factories
from tests.factories import DAY

LATER = date(2027, 2, 25)
DUE = date(2027, 3, 15)


def told(found):
    return [(clock.crate, clock.fault and clock.fault.value, clock.days_left, clock.open, clock.drafts) for clock in found]


class TestClocks:
    def test_clock_runs_from_the_day_of_arrival(self, crate, clock):
        clock("shortage", 10, against="carrier", source="terms, 7")

        (found,) = clocks(LATER)
        assert (found.crate_id, found.fault, found.last_day, found.days_left, found.open) == (crate.pk, "shortage", date(2027, 3, 2), 5, 0)
        assert (found.against, found.source, found.lapsed) == ("Marsh Freight", "terms, 7", False)

    def test_soonest_stands_first_and_unknown_ones_last(self, crate, bench, workshop, sender, clock):
        clock("shortage", 10)
        clock("concealed", 3)
        factories.CrateFactory(bench=bench, code="EARLIER", sender=sender, arrived_on=DAY - timedelta(days=5))
        factories.CrateFactory(bench=bench, code="NOBODY", arrived_on=DAY)

        assert told(clocks(DAY)) == [
            ("CRATE-7", "concealed", 3, 0, 0),
            ("EARLIER", "shortage", 5, 0, 0),
            ("CRATE-7", "shortage", 10, 0, 0),
            ("NOBODY", None, None, 0, 0),
        ]

    def test_crate_that_has_not_arrived_has_none(self, bench, sender, clock):
        clock()
        factories.CrateFactory(bench=bench, sender=sender)

        assert clocks(DAY) == []

    def test_difference_without_a_clock_says_so(self, crate, short, clock):
        clock("shortage", 10)

        assert told(clocks(DAY)) == [("CRATE-7", "shortage", 10, 1, 0), ("CRATE-7", "concealed", None, 1, 0)]

    def test_draft_stops_no_clock_and_a_sent_claim_does(self, crate, drafts, clock, storekeeper):
        clock("shortage", 10)
        assert ("CRATE-7", "shortage", 10, 1, 1) in told(clocks(DAY))

        services.send_claim(claim=drafts["shortage"], on=DAY, by=storekeeper)
        tallying.close(crate=crate, on=DAY, by=storekeeper)
        assert told(clocks(DAY)) == [("CRATE-7", "concealed", None, 1, 1)]

    def test_refused_claim_lets_the_clock_run_on(self, crate, sent, clock, storekeeper):
        clock("shortage", 10)
        services.answer_claim(claim=sent, state="refused", on=DAY, by=storekeeper)

        assert ("CRATE-7", "shortage", 10, 1, 0) in told(clocks(DAY))

    def test_lapsed_clock_of_a_crate_that_lacks_nothing_is_gone(self, crate, line, clock):
        clock("shortage", 10)

        assert clocks(DAY + timedelta(days=10))
        assert clocks(DAY + timedelta(days=11)) == []

    def test_lapsed_clock_is_shown_while_the_crate_is_open_and_lacks_something(self, crate, short, clock, storekeeper):
        clock("shortage", 10)
        clock("concealed", 10)
        after = DAY + timedelta(days=11)
        assert [one.lapsed for one in clocks(after)] == [True, True]

        tallying.close(crate=crate, on=DAY, by=storekeeper)
        assert clocks(after) == []
        assert [one.lapsed for one in clocks(after, crate=crate)] == [True, True]

    def test_clock_that_was_never_set_is_not_guessed(self, crate, sender):
        (found,) = clocks(DAY)

        assert (found.deadline, found.sender_id) == (None, sender.pk)

    def test_what_was_taken_in_as_listed_counts_as_found(self, crate, line, drawer, clock, storekeeper):
        clock("shortage", 10)
        receiving.arrive(line=line, quantity=Decimal(238), place=drawer, on=DAY, by=storekeeper, close_rest=True)
        tallying.close(crate=crate, on=DAY, by=storekeeper)

        assert told(clocks(DAY)) == [("CRATE-7", "shortage", 10, 1, 0)]
        crate.refresh_from_db()
        assert [(one.quantity, one.left) for one in queries.claimable(crate)] == [(2, 2)]

    def test_clocks_take_the_same_queries_at_one_crate_and_at_many(self, crate, short, clock, bench, sender, workshop, storekeeper):
        clock()
        with CaptureQueriesContext(connection) as few:
            clocks(DAY)
        for number in range(8):
            more = factories.CrateFactory(bench=bench, sender=sender, arrived_on=DAY)
            bag = Bag.objects.create(workshop=workshop, crate=more, name="A", path="A", counted_on=DAY)
            for _ in range(5):
                factories.PackingLineFactory(crate=more, bag=bag)
            if number % 2:
                services.draft_claims(crate=more, on=DAY, by=storekeeper)

        with CaptureQueriesContext(connection) as many:
            assert len(clocks(DAY)) == 10
        assert len(many) == len(few) == 5

    def test_outsider_s_crates_have_no_clock_here(self, crate, outsider):
        assert {one.crate for one in clocks(DAY)} == {"CRATE-7"}


COUNTS = st.lists(st.tuples(st.integers(0, 2), st.sampled_from(["good", "damaged", "wrong"]), st.integers(1, 12)), max_size=8)


@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(COUNTS, st.booleans(), st.booleans())
def test_clocks_count_the_differences_that_tallying_finds(crate, bag, count, storekeeper, counts, finished, closed):
    Tally.objects.all().delete()
    Bag.objects.update(counted_on=DAY if finished else None)
    Crate.objects.filter(pk=crate.pk).update(closed_on=None)
    if not crate.lines.exists():
        for _ in range(2):
            factories.PackingLineFactory(crate=crate, bag=bag)
        crate.loose = factories.ItemFactory(workshop=crate.workshop)
    lines = [*crate.lines.order_by("pk"), None]
    for which, finding, quantity in counts:
        line = lines[which]
        count(line, quantity, finding, **({} if line else {"item": crate.loose}))
    Crate.objects.filter(pk=crate.pk).update(closed_on=DAY if closed else None)
    crate.refresh_from_db()

    waiting = Counter(one.fault for one in queries.claimable(crate))
    assert {one.fault: one.open for one in clocks(DAY, crate=crate) if one.open} == dict(waiting)


class TestCame:
    @pytest.fixture
    def replaced(self, sent, storekeeper):
        services.answer_claim(claim=sent, state="replaced", on=DAY, by=storekeeper, replacement_due=DUE)
        return Claim.objects.get(pk=sent.pk)

    @pytest.fixture
    def coming(self, replaced):
        return Crate.objects.get(code="CRATE-7/R1")

    def row(self):
        return next(row for row in queries.claims(LATER) if row.claim.state == "replaced")

    def test_promise_says_when_it_is_due(self, replaced):
        assert self.row().told == "due 2027-03-15"

    def test_promise_that_was_kept_says_so(self, coming, drawer, storekeeper):
        receiving.arrive_all(lines=list(coming.lines.all()), place=drawer, on=DUE, by=storekeeper)

        assert self.row().told == "came on 2027-03-15: 37 of 37 ea"

    def test_promise_kept_in_part_says_how_much(self, coming, drawer, storekeeper):
        line = coming.lines.get()
        first = receiving.arrive(line=line, quantity=Decimal(30), place=drawer, on=LATER, by=storekeeper)
        assert self.row().told == "came on 2027-02-25: 30 of 37 ea"

        receiving.reverse(movement=first, on=LATER, by=storekeeper)
        assert self.row().told == "due 2027-03-15"

    def test_what_was_counted_has_come_on_the_day_that_its_crate_arrived(self, coming, storekeeper):
        services.set_sender(crate=coming, arrived_on=LATER, by=storekeeper)
        at = datetime(2027, 2, 26, 9, 0, tzinfo=UTC)
        tallying.tally(crate=coming, bag=None, line=coming.lines.get(), quantity=Decimal(35), at=at, by=storekeeper)

        assert self.row().told == "came on 2027-02-25: 35 of 37 ea"

    def test_damaged_piece_of_a_replacement_has_not_come(self, coming, storekeeper):
        at = datetime(2027, 2, 26, 9, 0, tzinfo=UTC)
        tallying.tally(crate=coming, bag=None, line=coming.lines.get(), quantity=Decimal(35), finding="damaged", at=at, by=storekeeper)

        assert self.row().told == "due 2027-03-15"

    def test_several_lines_are_counted_whole(self, crate, bag, short, drawer, storekeeper):
        factories.PackingLineFactory(crate=crate, bag=bag, number="13", quantity=Decimal(2))
        claims = services.draft_claims(crate=crate, on=DAY, by=storekeeper)
        claim = next(one for one in claims if one.fault == "shortage")
        services.send_claim(claim=claim, on=DAY, by=storekeeper)
        services.answer_claim(claim=claim, state="replaced", on=DAY, by=storekeeper, replacement_due=DUE)
        line = Crate.objects.get(code="CRATE-7/R1").lines.get(quantity=2)
        receiving.arrive(line=line, quantity=Decimal(2), place=drawer, on=DUE, by=storekeeper)

        assert self.row().told == "came on 2027-03-15: 1 of 2 lines whole"


class TestLists:
    def test_drafts_stand_first_then_what_waits_then_what_is_answered(self, drafts, crate, bag, clock, storekeeper):
        services.send_claim(claim=drafts["concealed"], on=DAY, by=storekeeper)
        factories.PackingLineFactory(crate=crate, bag=bag, number="13")
        (later,) = services.draft_claims(crate=crate, on=DAY, by=storekeeper)
        services.send_claim(claim=later, on=DAY, by=storekeeper)
        services.answer_claim(claim=later, state="credited", on=DAY, by=storekeeper)

        assert [(row.claim.state, row.crate, row.lines) for row in queries.claims(LATER)] == [
            ("draft", "CRATE-7", 1),
            ("sent", "CRATE-7", 1),
            ("credited", "CRATE-7", 1),
        ]

    def test_draft_s_day_follows_the_clock_and_a_sent_claim_s_stays(self, drafts, clock, storekeeper):
        clock("shortage", 10)
        services.send_claim(claim=drafts["shortage"], on=DAY, by=storekeeper)
        clock("shortage", 20)
        clock("concealed", 20)

        days = {row.claim.fault: row.deadline.last_day for row in queries.claims(LATER)}
        assert days == {"shortage": date(2027, 3, 2), "concealed": date(2027, 3, 12)}

    def test_lists_take_the_same_queries_at_one_and_at_many(self, sent, crate, clock, bench, sender, workshop, storekeeper):
        clock()
        services.answer_claim(claim=sent, state="replaced", on=DAY, by=storekeeper)
        with CaptureQueriesContext(connection) as few:
            queries.claims(LATER)
        for _ in range(4):
            more = factories.CrateFactory(bench=bench, sender=sender, arrived_on=DAY, closed_on=DAY)
            factories.PackingLineFactory(crate=more)
            (claim,) = services.draft_claims(crate=more, on=DAY, by=storekeeper)
            services.send_claim(claim=claim, on=DAY, by=storekeeper)
            services.answer_claim(claim=claim, state="replaced", on=DAY, by=storekeeper)

        with CaptureQueriesContext(connection) as many:
            assert len(queries.claims(LATER)) == 6
        assert len(many) == len(few)

    def test_senders_stand_by_name_with_their_clocks(self, sender, crate, clock, storekeeper):
        services.save_sender(name="Aero", by=storekeeper)
        clock("shortage", 10)
        clock("concealed", 3)

        assert [(row.sender.name, [rule.days for rule in row.rules], row.crates) for row in queries.senders()] == [
            ("Aero", [], 0),
            ("Kit Works", [3, 10], 1),
        ]


class TestLetters:
    def test_letter_states_facts(self, drafts, clock, storekeeper):
        clock("shortage", 10, source="terms of sale, 7")
        shown = queries.detail(drafts["shortage"], DAY, by=storekeeper)

        for text in (
            "Kit Works\n1 Hangar Lane\nMarsh\nclaims@kit.example",
            "Shortage in crate CRATE-7, order 4711",
            "Carrier: Marsh Freight",
            "Arrived on: 2027-02-20",
            "To be claimed by: 2027-03-02, 10 days after arrival (terms of sale, 7)",
            "  1. MS20470AD4-6  rivet, universal head\n     bag 7A, line 12\n     listed 240 ea, found good 200 ea, found damaged 3 ea, ",
            "found damaged 3 ea, claimed 37 ea",
            storekeeper.name,
        ):
            assert text in shown.text

    def test_letter_of_a_line_with_wrong_things_adds_up(self, crate, bag, line, count, storekeeper):
        for quantity, finding in ((200, "good"), (3, "damaged"), (5, "wrong")):
            count(line, quantity, finding)
        tallying.finish_bag(bag=bag, on=DAY, by=storekeeper)
        made = {claim.fault: claim for claim in services.draft_claims(crate=crate, on=DAY, by=storekeeper)}

        row = "listed 240 ea, found good 200 ea, found damaged 3 ea, found wrong 5 ea"
        assert f"{row}, claimed 32 ea" in queries.detail(made["shortage"], DAY).text
        assert f"{row}, claimed 5 ea" in queries.detail(made["wrong"], DAY).text
        shown = queries.letter(made["shortage"])
        assert shown.heads == ("Listed", "Found good", "Found damaged", "Found wrong", "Claimed")
        listed, *parts = (int(figure.removesuffix(" ea")) for figure in shown.rows[0].figures)
        assert listed == sum(parts)

    def test_letter_to_a_carrier_among_the_senders_has_its_address(self, drafts, storekeeper):
        services.save_sender(name="Marsh Freight", address="Dock 3", by=storekeeper)
        services.change_claim(claim=drafts["concealed"], against="marsh freight", by=storekeeper)

        assert queries.letter(Claim.objects.get(fault="concealed")).to == ("Marsh Freight", "Dock 3")

    def test_letter_names_the_photos_of_what_it_claims(self, drafts, crate, short, workshop, storekeeper):
        other = factories.PackingLineFactory(crate=crate)
        tally = Tally.objects.filter(line=short, finding="damaged").get()
        at = datetime(2027, 2, 20, 12, 0, tzinfo=UTC)
        stray = tallying.tally(crate=crate, bag=None, line=other, quantity=Decimal(1), at=at, by=storekeeper)
        for number, (of, caption) in enumerate([(tally, "bent"), (stray, "another line"), (None, "the lid")]):
            ref = f"tally:{of.pk}" if of else f"crate:{crate.pk}"
            row = {"ref": ref, "file": f"x/{number}.jpg", "digest": "0", "width": 1, "height": 1, "caption": caption}
            Photo.objects.create(workshop=workshop, by=storekeeper, at=at, **row)

        letters = {fault: [photo.caption for photo in queries.letter(claim).photos] for fault, claim in drafts.items()}
        assert letters == {
            "shortage": ["MS20470AD4-6, bent, taken 2027-02-20"],
            "concealed": ["MS20470AD4-6, bent, taken 2027-02-20", "the lid, taken 2027-02-20"],
        }

    def test_draft_that_claims_what_was_found_since_says_so(self, drafts, short, count):
        count(short, 30)

        shown = queries.detail(drafts["shortage"], DAY)
        assert shown.gone == ("37 ea of MS20470AD4-6 are claimed, and 7 ea are left to claim: discard this draft and draft anew.",)

    def test_detail_takes_the_same_queries_at_one_line_and_at_many(self, crate, bag, drafts, short, storekeeper):
        with CaptureQueriesContext(connection) as few:
            queries.detail(Claim.objects.get(fault="shortage"), DAY)
        services.discard_claim(claim=drafts["shortage"], by=storekeeper)
        for number in range(30):
            factories.PackingLineFactory(crate=crate, bag=bag, number=f"x{number}")
        services.draft_claims(crate=crate, on=DAY, by=storekeeper)

        with CaptureQueriesContext(connection) as many:
            assert len(queries.detail(Claim.objects.get(fault="shortage"), DAY).lines) == 31
        assert len(many) == len(few)
