"""Eight at once claim the same missing pieces, send one claim, or answer it: it happens once."""

from collections import Counter
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from inventory.claims import services
from inventory.models import Bag, Claim, ClaimLine, ClaimRule, Crate, Sender
from inventory.tallying import services as tallying
from tests import factories
from tests.factories import DAY

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def crate(bench, workshop):
    """Ten are missing."""
    sender = Sender.objects.create(workshop=workshop, name="Kit Works")
    crate = factories.CrateFactory(bench=bench, code="CRATE-7", sender=sender, arrived_on=DAY)
    bag = Bag.objects.create(workshop=workshop, crate=crate, name="7A", path="7A", counted_on=DAY)
    factories.PackingLineFactory(crate=crate, bag=bag)
    return crate


@pytest.fixture
def draft(crate, storekeeper):
    return services.draft_claims(crate=crate, on=DAY, by=storekeeper)[0]


def kinds(results):
    return Counter(type(result).__name__ for result in results)


def test_eight_claim_what_is_missing_and_one_does(at_once, crate, storekeeper):
    assert kinds(at_once(lambda _: services.draft_claims(crate=crate, on=DAY, by=storekeeper))) == {"list": 1, "NothingToClaim": 7}
    assert ClaimLine.objects.get().quantity == 10


def test_eight_claim_parts_and_together_no_more_than_is_missing(at_once, crate, storekeeper):
    line = crate.lines.get()
    chosen = [services.Chosen(line.pk, line.item_id, "shortage", Decimal(3))]

    results = at_once(lambda _: services.draft_claims(crate=crate, on=DAY, by=storekeeper, chosen=chosen))
    assert kinds(results) == {"list": 3, "TooMuch": 5}


def test_eight_send_one_claim_and_it_is_sent_once(at_once, draft, storekeeper):
    assert kinds(at_once(lambda _: services.send_claim(claim=draft, on=DAY, by=storekeeper))) == {"Claim": 1, "WrongMoment": 7}


def test_eight_answer_one_claim_and_one_crate_comes(at_once, draft, storekeeper):
    services.send_claim(claim=draft, on=DAY, by=storekeeper)
    given = {"claim": draft, "state": "replaced", "on": DAY, "replacement_due": date(2027, 3, 15), "by": storekeeper}

    assert kinds(at_once(lambda _: services.answer_claim(**given))) == {"Claim": 1, "WrongMoment": 7}
    assert Crate.objects.filter(code__startswith="CRATE-7/R").count() == 1


def test_sending_while_the_pieces_are_found_claims_no_more_than_is_missing(at_once, draft, crate, storekeeper):
    line = crate.lines.get()
    at = datetime(2027, 2, 20, 12, 0, tzinfo=UTC)

    def act(number):
        if number:
            return tallying.tally(crate=crate, bag=line.bag, line=line, quantity=Decimal(1), at=at, by=storekeeper)
        return services.send_claim(claim=draft, on=DAY, by=storekeeper)

    results = at_once(act)
    assert kinds(results) in ({"Tally": 7, "Claim": 1}, {"Tally": 7, "TooMuch": 1})
    if (sent := Claim.objects.get()).state == "sent":
        assert "found good 0 ea, found damaged 0 ea, claimed 10 ea" in sent.letter


def test_eight_set_one_clock_and_there_is_one(at_once, crate, storekeeper):
    results = at_once(lambda number: services.save_rule(sender=crate.sender, fault="shortage", days=number, by=storekeeper))

    assert kinds(results) == {"ClaimRule": 8}
    assert ClaimRule.objects.count() == 1
