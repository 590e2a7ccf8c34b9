"""The pool for programs."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.test import Client
from django_scopes import scopes_disabled

from inventory.models import Bench, BenchHolder, Booking, Loan, LoanEnd, Lot, Member, Place, PoolRules, Thing, Transfer
from inventory.pool import services
from inventory.stock import services as stock
from inventory.stock.queries import ledger_errors
from tests import factories
from tests.callers import Api
from tests.factories import DAY
from tests.pool import foreign_thing, lend, squeezer, tub
from tests.scans import NOW

WEEK = str(DAY + timedelta(days=7))
PROBLEM = "application/problem+json"


@pytest.fixture(autouse=True)
def _now(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def api(as_device, storekeeper):
    return Api(as_device(storekeeper))


def signed_in(member):
    """What a signed-in person's browser asks."""
    client = Client()
    client.force_login(member.user, backend="django.contrib.auth.backends.ModelBackend")
    return Api(client)


@pytest.fixture
def clecos(shared_bench, drawer, storekeeper):
    """200 in the drawer."""
    return tub(shared_bench, drawer, storekeeper)


@pytest.fixture
def thing(shared_bench, drawer, storekeeper):
    return squeezer(shared_bench, drawer, storekeeper)


@pytest.fixture
def foreign(outsider):
    """The ids of what the outsider has."""
    with scopes_disabled():
        thing = foreign_thing(outsider)
        found = {"thing": thing.pk, "lot": thing.lot_id, "bench": thing.lot.bench.code, "item": thing.lot.item.code}
        place = Place.objects.filter(workshop=outsider, end="storage").first()
        return {**found, "place": place.path, "member": Member.objects.filter(workshop=outsider).first().pk}


class TestPool:
    def test_pool_says_what_is_free_today(self, api, clecos, drawer, builder):
        lend(clecos, drawer, builder)

        assert api.get("pool").json() == {
            "today": "2027-02-20",
            "rows": [
                {
                    "item": "CLECO-3/32",
                    "item_id": clecos.item_id,
                    "name": "Cleco, 3/32",
                    "unit": "ea",
                    "there": "200",
                    "lent": "40",
                    "booked": "0",
                    "free": "160",
                    "waiting": 0,
                }
            ],
        }

    def test_days_say_what_is_free_and_why(self, api, clecos, drawer, builder):
        lend(clecos, drawer, builder, due_on=DAY)
        days = api.get("pool/free", {"item": "CLECO-3/32", "first": str(DAY), "last": "2027-02-21"}).json()

        assert [(day["day"], day["free"], day["lent"]) for day in days] == [("2027-02-20", "160", "40"), ("2027-02-21", "200", "0")]
        assert days[0]["trace"][-1]["text"] == "200 there - 40 lent - 0 booked = 160"

    def test_days_that_do_not_do_are_refused(self, api, clecos):
        for asked, status in [
            ({"first": "2027-02-20", "last": "2027-02-19"}, 400),
            ({"first": "2027-02-20", "last": "2027-05-23"}, 400),
            ({"first": "soon", "last": "2027-02-20"}, 400),
            ({"item": "NOPE", "first": "2027-02-20", "last": "2027-02-20"}, 404),
        ]:
            answer = api.get("pool/free", {"item": "CLECO-3/32", **asked})

            assert (answer.status_code, answer["Content-Type"]) == (status, PROBLEM), asked


class TestLoans:
    @pytest.fixture
    def body(self, clecos, drawer, builder):
        return {"lot": clecos.pk, "place": drawer.path, "quantity": "40", "member": builder.pk}

    def test_loan_is_lent_renewed_and_ended_in_parts(self, api, body, clecos, builder, drawer):
        made = api.post("loans", {**body, "due_on": "2027-02-22", "condition": "clean", "note": "left float"})
        loan = made.json()
        assert (made.status_code, made["Location"]) == (201, f"/api/v1/loans/{loan['id']}")
        assert loan == {
            "id": Loan.objects.get().pk,
            "lot": clecos.pk,
            "code": "TUB-3",
            "item": "CLECO-3/32",
            "item_id": clecos.item_id,
            "name": "Cleco, 3/32",
            "unit": "ea",
            "quantity": "40",
            "open": "40",
            "member": builder.name,
            "member_id": builder.pk,
            "bench": None,
            "booking": None,
            "taken_from": drawer.path,
            "out_on": "2027-02-20",
            "due_on": "2027-02-22",
            "renewals": 0,
            "condition": "clean",
            "note": "left float",
            "ref": "",
            "ends": [],
        }
        assert api.get(made["Location"])["ETag"] == made["ETag"]

        renewed = api.post(f"loans/{loan['id']}/renew", {"due_on": WEEK})
        assert (renewed.status_code, renewed.json()["due_on"], renewed.json()["renewals"]) == (200, WEEK, 1)

        back = api.post(f"loans/{loan['id']}/ends", {"kind": "returned", "quantity": "25"})
        lost = api.post(f"loans/{loan['id']}/ends", {"kind": "lost", "quantity": 15, "note": "over the fen"})
        assert (back.status_code, back.json()["open"], lost.json()["open"]) == (201, "15", "0")
        assert [(end["kind"], end["quantity"], end["place"]) for end in lost.json()["ends"]] == [
            ("returned", "25", drawer.path),
            ("lost", "15", None),
        ]
        assert not ledger_errors()

    def test_one_key_lends_once_and_takes_in_once(self, api, body):
        first, again = (api.post("loans", body, key="k") for _ in range(2))
        assert (again.status_code, again.json(), again["Idempotent-Replay"]) == (201, first.json(), "true")
        ends = [api.post(f"loans/{first.json()['id']}/ends", {"kind": "returned", "quantity": "25"}, key="e") for _ in range(2)]

        assert (Loan.objects.count(), LoanEnd.objects.count(), Loan.objects.get().open) == (1, 1, 15)
        assert ends[0].json() == ends[1].json()

    def test_loan_of_before_today_is_due_after_the_longest_loan_of_that_day(self, api, body, workshop, owner):
        services.set_rules(workshop=workshop, longest_days=7, by=owner)

        made = api.post("loans", {**body, "on": "2027-02-18"})

        assert (made.status_code, made.json()["due_on"]) == (201, "2027-02-25")

    def test_loan_that_makes_no_sense_is_refused(self, api, body):
        for change, status in [
            ({"quantity": "201"}, 409),
            ({"quantity": "0"}, 400),
            ({"quantity": "0.5"}, 400),
            ({"due_on": "2027-02-19"}, 400),
            ({"on": "2027-02-21"}, 400),
            ({"place": "No such shelf"}, 404),
            ({"lot": 0}, 404),
            ({"member": 0}, 404),
            ({"bench": "NOPE"}, 404),
        ]:
            answer = api.post("loans", {**body, **change})

            assert (answer.status_code, answer["Content-Type"]) == (status, PROBLEM), change
            assert not Loan.objects.exists()

    def test_loan_names_nothing_of_another_workshop(self, api, body, foreign):
        for name in ("lot", "place", "member", "bench"):
            assert api.post("loans", {**body, name: foreign[name]}).status_code == 404
        assert not Loan.objects.exists()

    def test_return_of_more_than_is_out_and_renewal_to_no_later_day_are_refused(self, api, clecos, drawer, builder):
        loan = lend(clecos, drawer, builder, due_on=DAY + timedelta(days=2))

        assert api.post(f"loans/{loan.pk}/ends", {"kind": "returned", "quantity": "41"}).status_code == 409
        assert api.post(f"loans/{loan.pk}/ends", {"kind": "eaten", "quantity": "1"}).status_code == 400
        assert api.post(f"loans/{loan.pk}/renew", {"due_on": "2027-02-22"}).status_code == 400
        assert Loan.objects.get().open == 40

    def test_builder_lends_to_themselves_alone_and_a_reader_not_at_all(self, builder, reader, body):
        mine = {name: body[name] for name in ("lot", "place", "quantity")}

        assert signed_in(builder).post("loans", {**mine, "member": reader.pk}).status_code == 403
        assert signed_in(reader).post("loans", mine).status_code == 403
        assert signed_in(builder).post("loans", mine).status_code == 201
        assert Loan.objects.get().member == builder

    def test_scanner_lends_and_takes_in(self, as_device, storekeeper, body):
        api = Api(as_device(storekeeper, "scan"))

        loan = api.post("loans", body).json()["id"]
        assert api.post(f"loans/{loan}/ends", {"kind": "returned", "quantity": "40"}).status_code == 201

    def test_loans_are_filtered_and_take_the_same_queries(self, api, clecos, thing, drawer, builder, storekeeper):
        lend(clecos, drawer, builder, due_on=DAY)
        one = api.queries("loans")
        over = lend(thing.lot, drawer, storekeeper, quantity=1)
        services.take_in(loan=over, kind="returned", quantity=1, key=uuid4(), on=DAY, by=storekeeper, now=NOW)
        for _ in range(5):
            lend(clecos, drawer, storekeeper, quantity=1)

        assert api.queries("loans") == one
        assert [row["item"] for row in api.rows("loans", open=False)] == ["SQUEEZER"]
        assert [row["quantity"] for row in api.rows("loans", member=builder.pk)] == ["40"]
        assert [row["quantity"] for row in api.rows("loans", due_before=WEEK)] == ["40"]
        assert len(api.rows("loans", item="squeezer")) == len(api.rows("loans", lot=thing.lot_id)) == 1


class TestBookings:
    def test_booking_is_made_read_and_cancelled(self, api, thing, builder):
        body = {"thing": thing.pk, "first_day": WEEK, "last_day": WEEK, "member": builder.pk, "note": "left float"}
        made = api.post("bookings", body)
        found = made.json()

        assert made.status_code == 201
        assert (found["item"], found["serial"], found["quantity"], found["member"]) == ("SQUEEZER", "SQ-1", "1", builder.name)
        assert (found["waiting"], found["ended_as"], found["asked_at"]) == (False, "", "2027-02-20T12:00:00Z")
        assert api.get(made["Location"])["ETag"] == made["ETag"]

        assert api.delete(made["Location"]).status_code == 204
        assert api.get(made["Location"]).json()["ended_as"] == "cancelled"

    def test_taken_is_a_409_that_says_who_and_waiting_is_asked_for(self, api, thing, builder, storekeeper):
        body = {"thing": thing.pk, "first_day": WEEK, "last_day": WEEK}
        first = api.post("bookings", {**body, "member": builder.pk})
        taken, waiting = api.post("bookings", body), api.post("bookings", {**body, "wait": True})

        assert (taken.status_code, taken["Content-Type"]) == (409, PROBLEM)
        assert f"{builder.name} booked 1 from 2027-02-27 until 2027-02-27" in taken.json()["detail"]
        assert (waiting.status_code, waiting.json()["waiting"], waiting.json()["member"]) == (201, True, storekeeper.name)
        assert [row["id"] for row in api.rows("bookings", waiting=True)] == [waiting.json()["id"]]

        api.delete(first["Location"])
        assert api.get(waiting["Location"]).json()["waiting"] is False

    def test_one_key_books_once_and_cancelling_says_which_version(self, api, clecos):
        body = {"item": "CLECO-3/32", "quantity": "80", "first_day": WEEK, "last_day": WEEK}
        first, again = (api.post("bookings", body, key="k") for _ in range(2))

        assert (first.json(), Booking.objects.count()) == (again.json(), 1)
        assert api.client.delete(first["Location"]).status_code == 428
        assert api.delete(first["Location"], match='"old"').status_code == 412

    def test_booking_that_makes_no_sense_is_refused(self, api, clecos):
        for change, status in [
            ({"first_day": "2027-02-19"}, 400),
            ({"last_day": "2027-02-26"}, 400),
            ({"quantity": "201"}, 409),
            ({"quantity": "0"}, 400),
            ({"item": "NOPE"}, 404),
            ({"item": None}, 400),
            ({"thing": 0}, 404),
            ({"member": 0}, 404),
        ]:
            answer = api.post("bookings", {"item": "CLECO-3/32", "quantity": "80", "first_day": WEEK, "last_day": WEEK, **change})

            assert (answer.status_code, answer["Content-Type"]) == (status, PROBLEM), change
            assert not Booking.objects.exists()

    def test_booking_names_nothing_of_another_workshop(self, api, clecos, foreign):
        body = {"item": "CLECO-3/32", "first_day": WEEK, "last_day": WEEK}
        for name in ("item", "thing", "member", "bench"):
            assert api.post("bookings", {**body, name: foreign[name]}).status_code == 404
        assert not Booking.objects.exists()

    def test_another_s_booking_is_not_cancelled_and_days_are_filtered(self, api, clecos, builder):
        body = {"item": "CLECO-3/32", "first_day": WEEK, "last_day": WEEK}
        made = api.post("bookings", body)

        assert signed_in(builder).delete(made["Location"]).status_code == 403
        assert len(api.rows("bookings", first=WEEK, last=WEEK, item="cleco-3/32", ended=False)) == 1
        assert api.rows("bookings", last="2027-02-26") == []
        one = api.queries("bookings")
        for _ in range(4):
            api.post("bookings", body)
        assert api.queries("bookings") == one


class TestThings:
    @pytest.fixture
    def single(self, shared_bench, drawer, storekeeper, workshop):
        item = factories.ItemFactory(workshop=workshop, code="SQUEEZER", kind="tool")
        lot = factories.LotFactory(bench=shared_bench, item=item, code="SQ-9")
        stock.receive(lot=lot, quantity=1, place=drawer, on=DAY, by=storekeeper)
        return lot

    def test_thing_is_made_changed_and_retired(self, api, single):
        made = api.post("things", {"lot": single.pk, "serial": "SQ-9", "calibrated_on": "2027-01-01", "calibrated_until": "2027-12-31"})
        assert made.status_code == 201
        assert api.get(made["Location"])["ETag"] == made["ETag"]

        changed = api.patch(made["Location"], {"condition": "worn jaw"})
        assert changed.json() == {**made.json(), "condition": "worn jaw"}
        assert api.patch(made["Location"], {"condition": "x"}, match=made["ETag"]).status_code == 412
        assert [row["serial"] for row in api.rows("things", item="squeezer", retired=False, serial="sq")] == ["SQ-9"]

        assert api.delete(made["Location"]).status_code == 204
        assert Thing.objects.get().retired_at == NOW
        assert api.rows("things", retired=False) == []

    def test_thing_that_makes_no_sense_is_refused(self, api, single):
        for change, status in [
            ({"lot": 0}, 404),
            ({"calibrated_until": "2026-01-01", "calibrated_on": "2026-02-01"}, 400),
            ({"serial": "x" * 81}, 400),
        ]:
            assert api.post("things", {"lot": single.pk, **change}).status_code == status
            assert not Thing.objects.exists()

    def test_lot_of_many_and_another_workshop_s_are_no_thing(self, api, clecos, foreign):
        assert api.post("things", {"lot": clecos.pk}).status_code == 400
        assert api.post("things", {"lot": foreign["lot"]}).status_code == 404

    def test_builder_reads_and_changes_nothing(self, builder, thing):
        api = signed_in(builder)

        assert api.rows("things")[0]["serial"] == "SQ-1"
        assert api.patch(f"things/{thing.pk}", {"serial": "X"}).status_code == 403
        assert api.delete(f"things/{thing.pk}").status_code == 403


class TestRules:
    def test_rules_are_read_and_changed_by_version(self, as_device, owner):
        api = Api(as_device(owner))
        before = api.get("pool-rules")
        assert before.json()["longest_days"] is None

        assert api.client.patch("/api/v1/pool-rules", {"longest_days": 14}, content_type="application/json").status_code == 428
        changed = api.patch("pool-rules", {"longest_days": 14, "currency": "EUR"})
        assert changed.json() == {**before.json(), "longest_days": 14, "currency": "EUR"}
        assert api.patch("pool-rules", {"renewals": 1}, match=before["ETag"]).status_code == 412
        assert (PoolRules.objects.get().longest_days, PoolRules.objects.get().renewals) == (14, None)

    def test_only_an_owner_sets_them_and_nonsense_is_refused(self, api, as_device, owner):
        assert api.patch("pool-rules", {"longest_days": 14}).status_code == 403
        assert Api(as_device(owner)).patch("pool-rules", {"longest_days": 0}).status_code == 400


class TestTransfers:
    @pytest.fixture
    def rivets(self, bench, drawer, item, storekeeper):
        lot = factories.LotFactory(bench=bench, item=item, code="R7")
        stock.receive(lot=lot, quantity=100, place=drawer, on=DAY, by=storekeeper)
        return lot

    @pytest.fixture
    def hold(self, workshop):
        """A builder who holds a bench."""

        def hold(bench):
            member = factories.MemberFactory(workshop=workshop, role="builder")
            BenchHolder.objects.create(workshop=workshop, bench=bench, member=member)
            return signed_in(member)

        return hold

    def test_offer_passes_once_the_other_side_accepts(self, hold, bench, other_bench, rivets):
        ada, cleo = hold(bench), hold(other_bench)
        made = ada.post("transfers", {"kind": "offer", "lot": rivets.pk, "quantity": "60", "taker": "PLOVER", "note": "left over"})
        found = made.json()
        assert (made.status_code, found["kind"], found["giver"], found["taker"], found["made"]) == (201, "offer", "TERN", "PLOVER", None)
        accept = f"transfers/{found['id']}/accept"
        assert ada.post(accept).status_code == 403

        done, again = cleo.post(accept), cleo.post(accept)
        assert (done.status_code, done.json()["ended_as"]) == (200, "done")
        assert Lot.objects.get(pk=done.json()["made"]).bench == other_bench
        assert (again.status_code, again["Content-Type"]) == (409, PROBLEM)
        assert not ledger_errors()

    def test_wish_is_given_declined_or_withdrawn(self, hold, bench, other_bench, rivets, item):
        ada, cleo = hold(bench), hold(other_bench)
        body = {"kind": "ask", "item": item.code, "quantity": "12", "taker": "PLOVER", "giver": "TERN"}
        given, declined, withdrawn = (cleo.post("transfers", body).json()["id"] for _ in range(3))

        assert ada.post(f"transfers/{given}/accept", {"lot": rivets.pk}).json()["ended_as"] == "done"
        assert ada.post(f"transfers/{declined}/decline").json()["ended_as"] == "declined"
        assert ada.post(f"transfers/{withdrawn}/withdraw").status_code == 403
        assert cleo.post(f"transfers/{withdrawn}/withdraw").json()["ended_as"] == "withdrawn"
        assert len(ada.rows("transfers", open=False, item=item.code, bench="tern")) == 3

    def test_transfer_that_makes_no_sense_is_refused(self, api, rivets):
        for body, status in [
            ({"kind": "offer", "quantity": "1"}, 400),
            ({"kind": "ask", "quantity": "1"}, 400),
            ({"kind": "gift", "quantity": "1"}, 400),
            ({"kind": "offer", "lot": 0, "quantity": "1"}, 404),
            ({"kind": "ask", "item": "NOPE", "taker": "TERN", "quantity": "1"}, 404),
        ]:
            answer = api.post("transfers", body)

            assert (answer.status_code, answer["Content-Type"]) == (status, PROBLEM), body

    def test_transfer_names_nothing_of_another_workshop(self, api, rivets, foreign):
        offer = {"kind": "offer", "lot": rivets.pk, "quantity": "1"}
        assert {api.post("transfers", {**offer, name: foreign[of]}).status_code for name, of in (("lot", "lot"), ("taker", "bench"))} == {
            404
        }
        assert not Transfer.objects.exists()

    def test_one_key_offers_once_and_lists_take_the_same_queries(self, api, rivets):
        offer = {"kind": "offer", "lot": rivets.pk, "quantity": "1"}
        first, again = (api.post("transfers", offer, key="k") for _ in range(2))
        assert (first.json(), Transfer.objects.count()) == (again.json(), 1)

        one = api.queries("transfers")
        for _ in range(4):
            api.post("transfers", offer)
        assert api.queries("transfers") == one


def test_outsider_s_benches_are_theirs(outsider, foreign):
    with scopes_disabled():
        assert Bench.objects.get(code=foreign["bench"]).workshop == outsider
