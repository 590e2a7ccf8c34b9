"""Lending and taking back by scan."""

from datetime import timedelta

import pytest

from inventory.models import Holding, Label, Loan, LoanEnd, Scan
from inventory.pool import services as pool
from inventory.scanning import problems, services
from inventory.scanning.calc import make_token
from inventory.stock import services as stock
from inventory.stock.queries import ledger_errors
from tests import factories, scans
from tests.pool import lend, squeezer, tub
from tests.scans import NOW, act, one, scan


@pytest.fixture(autouse=True)
def _now(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def clecos(shared_bench, drawer, storekeeper):
    """200 in the drawer."""
    return tub(shared_bench, drawer, storekeeper)


@pytest.fixture
def ben(workshop):
    return factories.MemberFactory(workshop=workshop, role="builder", name="Ben")


def there(lot, place):
    return Holding.objects.get(lot=lot, place=place).quantity


def kind(answer):
    return answer.body.get("type", "").removeprefix("urn:rivetloft:problem:")


# lend


def test_lend_hands_the_pieces_to_who_scans(clecos, drawer, builder):
    answer = one(builder, "CLECO-3/32", "lend", quantity=40)

    loan = Loan.objects.get()
    assert (answer.status, answer.outcome) == (200, "done")
    assert answer.body == {
        "action": "lend",
        "text": f"40 ea of lot TUB-3 of CLECO-3/32 lent to {builder.name}",
        "item": "CLECO-3/32",
        "name": "Cleco, 3/32",
        "quantity": "40",
        "unit": "ea",
        "lot": clecos.pk,
        "lot_code": "TUB-3",
        "place": drawer.path,
        "holds": "160",
        "loan": loan.pk,
        "due_on": None,
        "movements": [loan.movement_id],
        "tally": None,
    }
    assert (loan.member, loan.quantity, loan.open) == (builder, 40, 40)
    assert there(clecos, drawer) == 160
    assert not ledger_errors()


def test_lend_by_a_label_says_until_when(workshop, owner, clecos, builder):
    pool.set_rules(workshop=workshop, longest_days=7, by=owner)
    token = Label.objects.create(workshop=workshop, token=make_token(7), lot=clecos).token

    answer = one(builder, token, "lend")

    assert (answer.body["quantity"], answer.body["due_on"]) == ("1", "2027-02-27")
    assert answer.body["text"].endswith(", back by 2027-02-27")


def test_lend_takes_from_the_shelf_although_some_lie_in_hands(clecos, drawer, builder, ben):
    first, second = one(ben, "CLECO-3/32", "lend", quantity=150), one(builder, "CLECO-3/32", "lend", quantity=50)
    none = one(builder, "CLECO-3/32", "lend")

    assert (first.outcome, second.outcome, none.outcome) == ("done", "done", "refused")
    assert there(clecos, drawer) == 0
    assert (none.status, kind(none)) == (409, "nothing-there")
    assert "all of lot TUB-3 of CLECO-3/32 is lent" in none.body["detail"]


def test_same_uuid_lends_once_and_a_bad_scan_spoils_nothing(clecos, drawer, builder):
    good, bad = scan("CLECO-3/32", "lend", quantity=40), scan("CLECO-3/32", "lend", quantity=500)

    first = act(builder, bad, good)
    again = act(builder, good, bad)

    assert [answer.outcome for answer in first] == ["refused", "done"]
    assert again == first[::-1]
    assert Loan.objects.count() == 1
    assert there(clecos, drawer) == 160


def test_lend_in_a_batch_sees_what_was_taken_before_it(clecos, drawer, builder):
    answers = act(builder, *(scan("CLECO-3/32", "lend", quantity=90) for _ in range(3)))

    assert [answer.outcome for answer in answers] == ["done", "done", "refused"]
    assert there(clecos, drawer) == 20


@pytest.mark.parametrize("quantity", ["0", "0.5"])
def test_lend_of_no_whole_piece_is_refused(clecos, builder, quantity):
    assert one(builder, "CLECO-3/32", "lend", quantity=quantity).outcome == "refused"
    assert not Loan.objects.exists()


def test_lend_of_a_rivet_is_refused(lot, item, drawer, builder, storekeeper):
    stock.receive(lot=lot, quantity=10, place=drawer, on=NOW.date(), by=storekeeper)

    answer = one(builder, item.code, "lend")

    assert answer.outcome == "refused"
    assert not Loan.objects.exists()


def test_reader_lends_nothing(clecos, reader):
    assert one(reader, "CLECO-3/32", "lend").status == 403


def test_lend_from_before_a_count_waits_for_a_person(clecos, drawer, builder, storekeeper):
    one(storekeeper, "CLECO-3/32", "count", quantity=150, place=drawer.path)
    older = scan("CLECO-3/32", "lend", quantity=40, at=NOW - timedelta(hours=1))

    (answer,) = act(builder, older)
    assert (answer.outcome, answer.status) == ("conflict", 409)
    assert not Loan.objects.exists()

    services.apply(scan=Scan.objects.get(uuid=older.uuid), by=storekeeper, now=NOW)
    assert there(clecos, drawer) == 110


# take in


def test_return_takes_in_the_oldest_loan_of_the_member(clecos, drawer, builder, ben):
    _, mine, later = (
        lend(clecos, drawer, ben, quantity=10),
        lend(clecos, drawer, builder, quantity=20),
        lend(clecos, drawer, builder, quantity=30),
    )

    answer = one(builder, "CLECO-3/32", "return")

    end = LoanEnd.objects.get()
    assert (end.loan_id, end.quantity) == (mine.pk, 20)
    assert answer.body["text"] == f"20 ea of lot TUB-3 of CLECO-3/32 back in {drawer.path} from {builder.name}; 30 ea still out"
    assert (answer.body["loan"], answer.body["movements"], answer.body["holds"]) == (mine.pk, [end.movement_id], "160")
    later.refresh_from_db()
    assert later.open == 30
    assert not ledger_errors()


def test_return_of_a_part_leaves_the_rest_out(clecos, drawer, builder):
    loan = lend(clecos, drawer, builder, quantity=40)

    answer = one(builder, "CLECO-3/32", "return", quantity=25)

    loan.refresh_from_db()
    assert loan.open == 15
    assert answer.body["text"].endswith("; 15 ea still out")


def test_return_of_more_than_one_loan_spreads_over_the_member_s(clecos, drawer, builder):
    first, second = lend(clecos, drawer, builder, quantity=20), lend(clecos, drawer, builder, quantity=30)

    answer = one(builder, "CLECO-3/32", "return", quantity=35)

    assert answer.outcome == "done"
    assert [Loan.objects.get(pk=loan.pk).open for loan in (first, second)] == [0, 15]
    assert len(answer.body["movements"]) == 2


def test_return_of_more_than_is_lent_is_refused_as_a_whole(clecos, drawer, builder):
    lend(clecos, drawer, builder, quantity=40)

    answer = one(builder, "CLECO-3/32", "return", quantity=41)

    assert (answer.outcome, answer.status) == ("refused", 409)
    assert not LoanEnd.objects.exists()


def test_return_puts_it_where_the_scan_says(clecos, drawer, builder, workshop):
    shelf = factories.PlaceFactory(workshop=workshop, path="Shelf")
    lend(clecos, drawer, builder, quantity=40)

    answer = one(builder, "CLECO-3/32", "return", place="shelf")

    assert (answer.body["place"], answer.body["holds"]) == ("Shelf", "40")
    assert there(clecos, shelf) == 40


def test_storekeeper_returns_what_others_have_and_a_builder_does_not(clecos, drawer, builder, ben, storekeeper):
    loan = lend(clecos, drawer, ben, quantity=10)

    refused = one(builder, "CLECO-3/32", "return")
    done = one(storekeeper, "CLECO-3/32", "return")

    assert refused.status == 403
    assert (done.outcome, done.body["loan"]) == ("done", loan.pk)


def test_return_of_a_single_thing_by_its_label(workshop, shared_bench, drawer, builder, storekeeper):
    thing = squeezer(shared_bench, drawer, storekeeper)
    token = Label.objects.create(workshop=workshop, token=make_token(8), lot=thing.lot).token

    lent, back, nothing = act(builder, *(scan(token, action) for action in ("lend", "return", "return")))

    assert (lent.outcome, back.outcome, nothing.outcome) == ("done", "done", "refused")
    assert (nothing.status, kind(nothing)) == (409, "nothing-there")
    assert "nothing of it is lent" in nothing.body["detail"]


def test_return_twice_by_the_same_uuid_takes_in_once(clecos, drawer, builder):
    lend(clecos, drawer, builder, quantity=40)
    sent = scan("CLECO-3/32", "return", quantity=10)

    assert act(builder, sent) == act(builder, sent)
    assert LoanEnd.objects.count() == 1


def test_label_of_a_place_is_neither_lent_nor_returned(workshop, drawer, builder):
    token = Label.objects.create(workshop=workshop, token=make_token(9), place=drawer).token

    assert {kind(one(builder, token, action)) for action in ("lend", "return")} == {"wrong-thing"}


# undo


def test_undo_of_lending_takes_all_back(clecos, drawer, builder):
    sent = scan("CLECO-3/32", "lend", quantity=40)
    act(builder, sent)
    found = Scan.objects.get(uuid=sent.uuid)

    services.undo(scan=found, by=builder, now=NOW)

    assert there(clecos, drawer) == 200
    assert Loan.objects.get().open == 0
    with pytest.raises(problems.AlreadyUndone):
        services.undo(scan=found, by=builder, now=NOW)
    assert not ledger_errors()


def test_undo_of_lending_is_refused_once_some_came_back(clecos, drawer, builder):
    sent = scan("CLECO-3/32", "lend", quantity=40)
    act(builder, sent, scan("CLECO-3/32", "return", quantity=10))

    with pytest.raises(problems.NotUndone, match="take in the rest"):
        services.undo(scan=Scan.objects.get(uuid=sent.uuid), by=builder, now=NOW)


def test_undo_of_a_return_says_to_lend_it_again(clecos, drawer, builder):
    lend(clecos, drawer, builder, quantity=40)
    sent = scan("CLECO-3/32", "return")
    act(builder, sent)

    with pytest.raises(problems.NotUndone, match="lend it again"):
        services.undo(scan=Scan.objects.get(uuid=sent.uuid), by=builder, now=NOW)


def test_stranger_s_clecos_are_an_unknown_code(builder, outsider):
    assert one(builder, "OUTSIDE-ITEM", "lend").outcome == "unknown"
    assert one(builder, "OUTSIDE-ITEM", "return").outcome == "unknown"


def test_scans_by_the_api_are_a_207_with_a_result_each(as_device, clecos, builder):
    body = scans.as_json([scan("CLECO-3/32", "lend", quantity=40), scan("CLECO-3/32", "return", quantity=15), scan("nothing", "return")])
    answer = as_device(builder.workshop.members.filter(role="storekeeper").first(), "scan").post(
        "/api/v1/scans", body, content_type="application/json"
    )

    assert answer.status_code == 207
    assert [(row["outcome"], row["status"]) for row in answer.json()["results"]] == [("done", 200), ("done", 200), ("unknown", 422)]
    assert answer.json()["results"][1]["loan"] == Loan.objects.get().pk
    assert {row["uuid"] for row in answer.json()["results"]} == {row["uuid"] for row in body["scans"]}
