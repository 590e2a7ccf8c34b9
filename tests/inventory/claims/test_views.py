"""Senders, details of a crate, drafts, letters and answers, as people meet them."""

import re
from datetime import date
from http import HTTPStatus
from uuid import uuid4

import pypdfium2
import pytest
import time_machine
from django.urls import reverse

from inventory.claims import services
from inventory.claims import views as claims
from inventory.common.fields import plain
from inventory.models import Claim, ClaimLine, ClaimRule, Crate, PackingLine, Sender
from inventory.tallying import queries as tally_queries
from tests import factories
from tests.factories import DAY


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel(DAY, tick=False):
        yield


def words(page):
    return " ".join(re.sub(r"<[^>]+>", " ", page.content.decode()).split())


@pytest.fixture
def signed_in(as_member, storekeeper):
    return as_member(storekeeper)


class TestSenders:
    def test_no_senders_say_what_they_are_for(self, as_member, reader):
        page = words(as_member(reader).get(reverse("senders")))

        assert "No sender is known yet" in page
        assert "Add a sender" not in page

    def test_sender_is_added_and_changed(self, signed_in, workshop):
        signed_in.post(reverse("senders"), {"name": "Kit Works", "address": "1 Lane\nMarsh", "email": "a@b.example"})
        sender = Sender.objects.get()
        signed_in.post(reverse("sender", args=[sender.pk]), {"name": "Kit Works Ltd", "address": "2 Lane"})

        sender.refresh_from_db()
        assert (sender.name, sender.address, sender.email) == ("Kit Works Ltd", "2 Lane", "")

    def test_name_that_is_taken_is_said_and_what_was_typed_stays(self, signed_in, sender):
        page = signed_in.post(reverse("senders"), {"name": "kit works", "address": "TYPED"})

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "kit works is among the senders already" in words(page)
        assert "TYPED" in page.content.decode()

    def test_page_of_a_sender_guesses_no_clock(self, signed_in, sender):
        page = words(signed_in.get(reverse("sender", args=[sender.pk])))

        assert page.count("no clock known") == 4
        assert "None is assumed" in page
        assert 'name="days"' in signed_in.get(reverse("sender", args=[sender.pk])).content.decode()

    def test_clock_is_set_and_removed(self, signed_in, sender):
        given = {"fault": "concealed", "days": "7", "against": "carrier", "source": "terms of carriage, 12"}
        signed_in.post(reverse("set-claim-rule", args=[sender.pk]), given)
        page = words(signed_in.get(reverse("sender", args=[sender.pk])))
        assert "damage found inside : 7 days after arrival, from carrier terms of carriage, 12" in page

        signed_in.post(reverse("remove-claim-rule", args=[ClaimRule.objects.get().pk]))
        assert not ClaimRule.objects.exists()

    @pytest.mark.parametrize(
        ("days", "told"), [("", "This field is required"), ("ten", "Enter a whole number"), ("-1", "greater than or equal to 0")]
    )
    def test_clock_that_does_not_read_is_said(self, signed_in, sender, days, told):
        page = signed_in.post(reverse("set-claim-rule", args=[sender.pk]), {"fault": "shortage", "days": days, "source": "TYPED"})

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert told in words(page)
        assert "TYPED" in page.content.decode()

    def test_builder_sees_and_changes_nothing(self, as_member, builder, sender):
        client = as_member(builder)

        assert "Set this clock" not in words(client.get(reverse("sender", args=[sender.pk])))
        assert client.post(reverse("sender", args=[sender.pk]), {"name": "X"}).status_code == HTTPStatus.FORBIDDEN
        assert client.post(reverse("senders"), {"name": "X"}).status_code == HTTPStatus.FORBIDDEN


class TestDetails:
    def test_details_are_saved_and_a_new_name_is_a_new_sender(self, signed_in, bench):
        crate = factories.CrateFactory(bench=bench, code="CRATE-9")
        given = {"sender": "New Works", "order_code": "9", "carrier": "Freight", "shipped_on": "2027-02-10", "arrived_on": "2027-02-20"}
        page = signed_in.post(reverse("crate-details", args=[crate.pk]), given, follow=True)

        crate.refresh_from_db()
        assert (crate.sender.name, crate.order_code, crate.arrived_on) == ("New Works", "9", DAY)
        assert "New Works is new among the senders, and no claim clock of it is known: set it." in words(page)
        assert "Until when it can be claimed CRATE-9 : no clock known" in words(page)

    def test_known_sender_is_taken_whatever_its_case(self, signed_in, crate, sender):
        signed_in.post(reverse("crate-details", args=[crate.pk]), {"sender": "KIT WORKS"})

        assert Sender.objects.get() == sender

    @pytest.mark.parametrize(
        ("given", "told"),
        [
            ({"arrived_on": "2027-02-21"}, "2027-02-21 is still to come"),
            ({"shipped_on": "2027-02-20", "arrived_on": "2027-02-19"}, "arrived on 2027-02-19 is before it was shipped on 2027-02-20"),
            ({"due_on": "soon"}, "Write the day as 2027-03-14"),
        ],
    )
    def test_days_that_do_not_do_are_said(self, signed_in, crate, given, told):
        page = signed_in.post(reverse("crate-details", args=[crate.pk]), {"sender": "Unmade", **given})

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert told in words(page)
        assert not Sender.objects.filter(name="Unmade").exists()

    def test_crate_page_shows_its_clocks(self, as_member, reader, crate, short, clock):
        clock("shortage", 10)
        page = words(as_member(reader).get(reverse("crate", args=[crate.pk])))

        assert "From Kit Works , order 4711, carried by Marsh Freight, arrived Sat 2027-02-20" in page
        assert "CRATE-7, shortage : 10 days left , last day Tue 2027-03-02; 1 difference still to be claimed; from Kit Works" in page
        assert "CRATE-7, damage found inside : no clock known : set it" in page

    def test_crate_that_has_not_arrived_shows_no_clock(self, as_member, reader, bench):
        page = words(as_member(reader).get(reverse("crate", args=[factories.CrateFactory(bench=bench).pk])))

        assert "Until when" not in page
        assert "Nobody said who sent it" in page


class TestDrafting:
    def given(self, line, **more):
        start = f"line-{line.pk}"
        return {"request_key": str(uuid4()), f"{start}-short-quantity": "37", f"{start}-damaged-quantity": "0", **more}

    def test_page_lists_what_differs(self, signed_in, crate, short):
        page = words(signed_in.get(reverse("crate-claims", args=[crate.pk])))

        assert "37 ea short of MS20470AD4-6 rivet, universal head bag 7A, line 12: listed 240, good 200" in page
        assert "3 ea damaged of MS20470AD4-6" in page

    def test_claims_are_drafted_from_it(self, signed_in, crate, short):
        more = {
            f"line-{short.pk}-damaged-quantity": "2",
            f"line-{short.pk}-damaged-fault": "damage",
            f"line-{short.pk}-short-note": "bag torn",
        }
        page = signed_in.post(reverse("crate-claims", args=[crate.pk]), self.given(short, **more), follow=True)

        assert "2 claims are drafted" in words(page)
        rows = {(row.claim.fault, row.quantity, row.note) for row in ClaimLine.objects.all()}
        assert rows == {("shortage", 37, "bag torn"), ("damage", 2, "")}
        assert "37 claimed already" in words(page)

    def test_the_form_sent_twice_drafts_once(self, signed_in, crate, short):
        given = self.given(short, **{f"line-{short.pk}-short-quantity": "7"})
        for _ in range(2):
            assert signed_in.post(reverse("crate-claims", args=[crate.pk]), given).status_code == HTTPStatus.FOUND

        assert [row.quantity for row in ClaimLine.objects.all()] == [7]

    @pytest.mark.parametrize(
        ("quantity", "told"),
        [
            ("38", "38 ea of MS20470AD4-6 are claimed, and 37 ea are left to claim"),
            ("much", "Write the quantity in digits"),
            ("0", "every quantity is 0"),
        ],
    )
    def test_quantity_that_does_not_do_is_said(self, signed_in, crate, short, quantity, told):
        page = signed_in.post(
            reverse("crate-claims", args=[crate.pk]),
            self.given(short, **{f"line-{short.pk}-short-quantity": quantity, f"line-{short.pk}-short-note": "TYPED"}),
        )

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert told in words(page)
        assert 'value="TYPED"' in page.content.decode()
        assert not Claim.objects.exists()

    def test_crate_that_lacks_more_than_a_page_takes_is_claimed_at_once(self, signed_in, crate, bag, short):
        for number in range(claims.MOST_CHOICES + 5):
            factories.PackingLineFactory(crate=crate, bag=bag, number=f"x{number}", item=short.item)
        address = reverse("crate-claims", args=[crate.pk])
        page = signed_in.get(address)
        assert page.content.decode().count("-quantity") < 3 * claims.MOST_CHOICES + 5
        assert "7 more are left" in words(page)

        given = {"request_key": str(uuid4()), "all": "1"}
        for _ in range(2):
            assert signed_in.post(address, given).status_code == HTTPStatus.FOUND
        assert (Claim.objects.count(), ClaimLine.objects.count()) == (2, claims.MOST_CHOICES + 7)

    def test_nothing_found_says_what_to_do(self, signed_in, crate, line):
        page = words(signed_in.get(reverse("crate-claims", args=[crate.pk])))

        assert "A bag's missing lines show here once it is counted to the end" in page.replace("&#x27;", "'")

    def test_builder_sees_and_drafts_nothing(self, as_member, builder, crate, short):
        client = as_member(builder)

        assert "Draft the claims" not in words(client.get(reverse("crate-claims", args=[crate.pk])))
        assert client.post(reverse("crate-claims", args=[crate.pk]), self.given(short)).status_code == HTTPStatus.FORBIDDEN

    def test_page_takes_the_same_queries_at_one_line_and_at_many(self, queries_of, owner, crate, bag, short):
        few = queries_of(owner, reverse("crate-claims", args=[crate.pk]))
        for number in range(20):
            factories.PackingLineFactory(crate=crate, bag=bag, number=f"x{number}")

        assert queries_of(owner, reverse("crate-claims", args=[crate.pk])) == few


class TestClaim:
    def test_claim_page_shows_the_letter(self, as_member, reader, drafts, clock):
        clock("shortage", 10, source="terms of sale, 7")
        page = as_member(reader).get(reverse("claim", args=[drafts["shortage"].pk]))

        assert "Last day to claim Tue 2027-03-02, 10 days left" in words(page)
        assert "listed 240 ea, found good 200 ea, found damaged 3 ea, claimed 37 ea" in words(page)
        assert "Mark as sent" not in words(page)

    def test_sent_then_answered(self, signed_in, drafts):
        claim = drafts["shortage"]
        page = signed_in.post(reverse("send-claim", args=[claim.pk]), {"on": "2027-02-20"}, follow=True)
        assert "The letter as it was sent" in words(page)

        given = {"state": "replaced", "on": "2027-02-20", "replacement_due": "2027-03-15", "answer": "with the next crate"}
        page = words(signed_in.post(reverse("answer-claim", args=[claim.pk]), given, follow=True))
        assert "with the next crate" in page
        assert "CRATE-7/R1 : due 2027-03-15" in page
        assert Crate.objects.get(code="CRATE-7/R1").due_on == date(2027, 3, 15)

    @pytest.mark.parametrize(
        ("given", "told"),
        [
            ({"on": "2027-02-21"}, "2027-02-21 is still to come"),
            ({"on": "2027-02-19"}, "sent on 2027-02-19 is before it was drafted on 2027-02-20"),
            ({"on": ""}, "This field is required"),
        ],
    )
    def test_day_of_sending_that_does_not_do_is_said(self, signed_in, drafts, given, told):
        page = signed_in.post(reverse("send-claim", args=[drafts["shortage"].pk]), given)

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert told in words(page)
        assert Claim.objects.get(fault="shortage").state == "draft"

    @pytest.mark.parametrize(
        ("given", "told"),
        [
            ({"state": ""}, "This field is required"),
            ({"state": "replaced", "replacement_due": "2027-02-19"}, "due on 2027-02-19 is before the answer on 2027-02-20"),
            ({"state": "refused", "replacement_due": "2027-03-01"}, "nothing comes of a claim that is refused"),
            ({"state": "credited", "on": "2027-02-19"}, "answered on 2027-02-19 is before it was sent on 2027-02-20"),
        ],
    )
    def test_answer_that_does_not_do_is_said(self, signed_in, sent, given, told):
        page = signed_in.post(reverse("answer-claim", args=[sent.pk]), {"on": "2027-02-20", "answer": "TYPED", **given})

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert told in words(page)
        assert "TYPED" in page.content.decode()
        assert Claim.objects.get(pk=sent.pk).state == "sent"

    def test_answer_of_a_draft_is_refused(self, signed_in, drafts):
        page = signed_in.post(reverse("answer-claim", args=[drafts["shortage"].pk]), {"state": "refused", "on": "2027-02-20"})

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "is a draft: mark it as sent first" in words(page)

    def test_answer_sent_twice_makes_one_crate(self, signed_in, sent):
        given = {"state": "replaced", "on": "2027-02-20", "replacement_due": "2027-03-15"}
        statuses = [signed_in.post(reverse("answer-claim", args=[sent.pk]), given).status_code for _ in range(2)]

        assert statuses == [HTTPStatus.FOUND, HTTPStatus.UNPROCESSABLE_ENTITY]
        assert PackingLine.objects.filter(back_order_of__isnull=False).count() == 1

    def test_discarding_leaves_what_it_claimed(self, signed_in, crate, drafts):
        page = signed_in.post(reverse("discard-claim", args=[drafts["shortage"].pk]), follow=True)

        assert "The draft is discarded" in words(page)
        assert Claim.objects.get().fault == "concealed"

    def test_builder_may_not_send_answer_or_discard(self, as_member, builder, drafts):
        for name, given in (
            ("send-claim", {"on": str(DAY)}),
            ("answer-claim", {"state": "refused", "on": str(DAY)}),
            ("discard-claim", {}),
        ):
            assert as_member(builder).post(reverse(name, args=[drafts["shortage"].pk]), given).status_code == HTTPStatus.FORBIDDEN

    def test_pdf_receipt_and_ledger_agree(self, signed_in, crate, short, sent):
        answer = signed_in.get(reverse("claim-letter", args=[sent.pk]))
        paper = pypdfium2.PdfDocument(answer.content)
        text = " ".join(" ".join(page.get_textpage().get_text_range().split()) for page in paper)
        paper.close()

        receipt = tally_queries.receipt(crate)
        missing = short.quantity - receipt.good - receipt.damaged
        assert answer["Content-Type"] == "application/pdf"
        assert answer["Content-Disposition"] == 'inline; filename="claim-CRATE-7-shortage.pdf"'
        assert " ".join(f"{plain(figure)} ea" for figure in (short.quantity, receipt.good, receipt.damaged, missing)) in text

    def test_letter_that_can_not_be_printed_whole_says_so(self, signed_in, drafts, storekeeper):
        services.change_claim(claim=drafts["shortage"], against="東京", by=storekeeper)
        page = words(signed_in.get(reverse("claim", args=[drafts["shortage"].pk])))

        assert "The PDF has no type for some letters" in page
        assert "東京" in page

    def test_claims_are_listed_with_state_and_clock(self, as_member, reader, drafts, clock, storekeeper):
        clock("shortage", 10)
        services.send_claim(claim=drafts["concealed"], on=DAY, by=storekeeper)
        page = words(as_member(reader).get(reverse("claims")))

        assert "CRATE-7, shortage from Kit Works: draft , 10 days left, last day Tue 2027-03-02" in page
        assert "CRATE-7, damage found inside from Kit Works: sent on Sat 2027-02-20" in page

    def test_no_claims_say_what_to_do(self, as_member, reader):
        assert "Nothing is claimed yet" in words(as_member(reader).get(reverse("claims")))


class TestProjects:
    def test_projects_show_the_claims_that_lapse(self, as_member, reader, crate, short, clock):
        clock("shortage", 10)
        page = words(as_member(reader).get(reverse("projects")))

        assert "Claims that lapse CRATE-7, shortage : 10 days left , last day Tue 2027-03-02; 1 difference still to be claimed" in page

    def test_projects_without_claims_say_nothing_of_them(self, as_member, reader):
        assert "Claims" not in words(as_member(reader).get(reverse("projects")))

    def test_projects_take_the_same_queries_at_one_crate_and_at_many(self, queries_of, owner, crate, short, clock, bench, sender):
        clock()
        few = queries_of(owner, reverse("projects"))
        for _ in range(5):
            factories.PackingLineFactory(crate=factories.CrateFactory(bench=bench, sender=sender, arrived_on=DAY))

        assert queries_of(owner, reverse("projects")) == few
