"""Senders, claim clocks and claims for programs."""

from io import BytesIO

import pypdfium2
import pytest
import time_machine
from django_scopes import scopes_disabled

from inventory.claims import services
from inventory.models import Claim, ClaimLine, ClaimRule, Crate, Sender
from tests import factories
from tests.callers import Api
from tests.factories import DAY


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel(DAY, tick=False):
        yield


@pytest.fixture
def api(as_device, storekeeper):
    return Api(as_device(storekeeper))


@pytest.fixture
def foreign(outsider):
    """What the outsider has of it."""
    with scopes_disabled():
        sender = Sender.objects.create(workshop=outsider, name="OUTSIDE sender")
        crate = Crate.objects.get(workshop=outsider)
        rule = ClaimRule.objects.create(workshop=outsider, sender=sender, fault="shortage", days=5)
        claim = Claim.objects.create(workshop=outsider, crate=crate, fault="shortage", against="OUTSIDE", made_on=DAY)
        return {"senders": sender, "claim-rules": rule, "claims": claim}


class TestSenders:
    def test_sender_is_made_read_changed_and_removed(self, api, workshop):
        made = api.post("senders", {"name": "Kit Works", "address": "1 Lane\nMarsh"})
        assert (made.status_code, made["Location"]) == (201, f"/api/v1/senders/{made.json()['id']}")
        assert api.get(made["Location"])["ETag"] == made["ETag"]

        changed = api.patch(made["Location"], {"email": "a@b.example"})
        assert changed.json() == {**made.json(), "email": "a@b.example"}
        assert api.delete(made["Location"]).status_code == 204
        assert not Sender.objects.exists()

    def test_one_key_makes_one_sender(self, api, workshop):
        first, again = (api.post("senders", {"name": "Kit Works"}, key="k") for _ in range(2))

        assert (again.status_code, again.json(), again["Idempotent-Replay"]) == (201, first.json(), "true")

    def test_edit_says_which_version_it_changes(self, api, sender):
        seen = api.get(f"senders/{sender.pk}")["ETag"]
        assert api.client.patch(f"/api/v1/senders/{sender.pk}", {"name": "X"}, content_type="application/json").status_code == 428
        api.patch(f"senders/{sender.pk}", {"name": "Meanwhile"})

        assert api.patch(f"senders/{sender.pk}", {"name": "X"}, match=seen).status_code == 412

    def test_sender_with_crates_and_a_name_that_is_taken_are_refused(self, api, crate, sender):
        assert api.delete(f"senders/{sender.pk}").status_code == 409
        taken = api.post("senders", {"name": "KIT WORKS"})
        assert (taken.status_code, taken["Content-Type"]) == (400, "application/problem+json")
        assert "is among the senders already" in taken.json()["detail"]

    @pytest.mark.parametrize("body", [{}, {"name": ""}, {"name": "x" * 121}, {"name": "a\u0000b"}, {"name": "X", "email": "no address"}])
    def test_sender_that_does_not_read_is_refused(self, api, workshop, body):
        assert api.post("senders", body).status_code == 400
        assert not Sender.objects.exists()

    def test_senders_are_searched(self, api, sender):
        assert [row["name"] for row in api.rows("senders", search="kit")] == ["Kit Works"]
        assert api.rows("senders", search="none") == []


class TestRules:
    def test_rule_is_set_changed_and_removed(self, api, sender):
        body = {"sender": "kit works", "fault": "concealed", "days": 7, "against": "carrier", "source": "terms, 12"}
        made = api.post("claim-rules", body)
        again = api.post("claim-rules", {**body, "days": 8})
        assert (made.status_code, again.status_code) == (201, 200)
        assert again.json() == {**body, "sender": "Kit Works", "id": made.json()["id"], "sender_id": sender.pk, "days": 8}

        assert api.patch(made["Location"], {"days": 9}).json()["days"] == 9
        assert [row["days"] for row in api.rows("claim-rules", sender="Kit Works", fault="concealed")] == [9]
        assert api.delete(made["Location"]).status_code == 204

    @pytest.mark.parametrize(
        ("change", "status"),
        [({"days": -1}, 400), ({"days": 3651}, 400), ({"days": "ten"}, 400), ({"fault": "delay"}, 400), ({"sender": "Nobody"}, 404)],
    )
    def test_rule_that_makes_no_sense_is_refused(self, api, sender, change, status):
        answer = api.post("claim-rules", {"sender": "Kit Works", "fault": "shortage", "days": 7, **change})

        assert (answer.status_code, answer["Content-Type"]) == (status, "application/problem+json")
        assert not ClaimRule.objects.exists()

    def test_clocks_say_what_is_left(self, api, crate, short, clock):
        clock("shortage", 10, source="terms, 7")
        found = api.get("claim-clocks").json()

        assert found["today"] == "2027-02-20"
        assert found["clocks"][0] == {
            "crate": "CRATE-7",
            "crate_id": crate.pk,
            "fault": "shortage",
            "against": "Kit Works",
            "source": "terms, 7",
            "last_day": "2027-03-02",
            "days_left": 10,
            "open": 1,
            "drafts": 0,
        }
        assert (found["clocks"][1]["fault"], found["clocks"][1]["last_day"]) == ("concealed", None)


class TestClaims:
    def test_claims_are_drafted_from_what_differs(self, api, crate, short, clock):
        clock("shortage", 10)
        found = api.get(f"crates/{crate.pk}/claimable").json()
        assert [(row["fault"], row["left"], row["unit"]) for row in found] == [("shortage", "37", "ea"), ("concealed", "3", "ea")]

        answer = api.post("claims", {"crate": "crate-7"})
        assert answer.status_code == 201
        claims = {claim["fault"]: claim for claim in answer.json()["claims"]}
        assert claims["shortage"]["due_on"] == "2027-03-02"
        assert claims["shortage"]["lines"] == [
            {
                "id": claims["shortage"]["lines"][0]["id"],
                "line": short.pk,
                "item": "MS20470AD4-6",
                "quantity": "37",
                "unit": "ea",
                "note": "",
                "replacement": None,
            }
        ]
        assert [row["left"] for row in api.get(f"crates/{crate.pk}/claimable").json()] == ["0", "0"]

    def test_one_key_drafts_once_and_a_second_draft_finds_nothing(self, api, crate, short):
        first, again = (api.post("claims", {"crate": "CRATE-7"}, key="k") for _ in range(2))

        assert (again.json(), again["Idempotent-Replay"]) == (first.json(), "true")
        assert api.post("claims", {"crate": "CRATE-7"}).status_code == 409
        assert ClaimLine.objects.count() == 2

    @pytest.mark.parametrize(
        ("change", "status"),
        [
            ({"fault": "shortage", "quantity": "38"}, 422),
            ({"fault": "wrong", "quantity": "1"}, 422),
            ({"fault": "shortage", "quantity": "0"}, 400),
            ({"fault": "shortage", "quantity": "-1"}, 400),
            ({"fault": "shortage", "quantity": "much"}, 400),
            ({"fault": "delay", "quantity": "1"}, 400),
            ({"line": None, "fault": "shortage", "quantity": "1"}, 400),
            ({"line": 10**30, "fault": "shortage", "quantity": "1"}, 400),
            ({"line": "x", "fault": "shortage", "quantity": "1"}, 400),
        ],
    )
    def test_line_that_does_not_do_is_refused(self, api, crate, short, change, status):
        answer = api.post("claims", {"crate": "CRATE-7", "lines": [{"line": short.pk, **change}]})

        assert (answer.status_code, answer["Content-Type"]) == (status, "application/problem+json")
        assert not Claim.objects.exists()

    def test_line_of_the_outsider_is_none_of_the_differences(self, api, crate, short, outsider):
        with scopes_disabled():
            foreign = Crate.objects.get(workshop=outsider).lines.get()
        body = {"crate": "CRATE-7", "lines": [{"line": foreign.pk, "fault": "shortage", "quantity": "1"}]}

        assert api.post("claims", body).status_code == 422

    def test_draft_is_changed_and_discarded(self, api, drafts):
        address = f"claims/{drafts['shortage'].pk}"
        line = drafts["shortage"].lines.get()

        changed = api.patch(address, {"against": "Other Ltd", "lines": [{"id": line.pk, "quantity": "5"}]})
        assert (changed.json()["against"], changed.json()["lines"][0]["quantity"]) == ("Other Ltd", "5")
        assert api.patch(address, {"lines": [{"id": line.pk, "quantity": "38"}]}).status_code == 422
        assert api.delete(address).status_code == 204
        assert api.get(address).status_code == 404

    def test_claim_is_sent_and_answered(self, api, drafts):
        address = f"claims/{drafts['shortage'].pk}"
        assert api.post(f"{address}/answer", {"state": "refused"}).status_code == 409

        sent = api.post(f"{address}/send", key="s")
        assert (sent.status_code, sent.json()["state"], sent.json()["sent_on"]) == (200, "sent", "2027-02-20")
        assert api.post(f"{address}/send", key="s")["Idempotent-Replay"] == "true"
        assert api.post(f"{address}/send").status_code == 409
        assert api.patch(address, {"against": "X"}).status_code == 409
        assert api.delete(address).status_code == 409

        body = {"state": "replaced", "answer": "next crate", "replacement_due": "2027-03-15"}
        answered = api.post(f"{address}/answer", body, key="a")
        assert (answered.json()["state"], answered.json()["answer"]) == ("replaced", "next crate")
        assert Crate.objects.get(code="CRATE-7/R1").lines.get().pk == answered.json()["lines"][0]["replacement"]
        assert api.post(f"{address}/answer", body, key="a")["Idempotent-Replay"] == "true"
        assert api.post(f"{address}/answer", body).status_code == 409

    @pytest.mark.parametrize(
        ("what", "body"),
        [
            ("send", {"on": "2027-02-21"}),
            ("send", {"on": "2027-02-19"}),
            ("send", {"on": "soon"}),
            ("answer", {"state": "sent"}),
            ("answer", {}),
            ("answer", {"state": "replaced", "replacement_due": "2027-02-19"}),
            ("answer", {"state": "credited", "replacement_due": "2027-03-19"}),
            ("answer", {"state": "refused", "on": "2027-02-19"}),
        ],
    )
    def test_body_that_does_not_do_is_refused(self, api, drafts, what, body):
        if what == "answer":
            api.post(f"claims/{drafts['shortage'].pk}/send")
        answer = api.post(f"claims/{drafts['shortage'].pk}/{what}", body)

        assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json")
        assert Claim.objects.get(fault="shortage").state == ("sent" if what == "answer" else "draft")

    def test_claims_are_filtered(self, api, drafts):
        assert [row["fault"] for row in api.rows("claims", fault="concealed")] == ["concealed"]
        assert len(api.rows("claims", crate="crate-7", state="draft", against="kit")) == 2
        assert api.rows("claims", state="sent") == []
        assert api.get("claims", {"state": "lost"}).status_code == 400

    def test_list_takes_the_same_queries_at_two_and_at_many(self, api, drafts, bench, sender, storekeeper):
        few = api.queries("claims")
        for _ in range(5):
            crate = factories.CrateFactory(bench=bench, sender=sender, arrived_on=DAY, closed_on=DAY)
            factories.PackingLineFactory(crate=crate)
            services.draft_claims(crate=crate, on=DAY, by=storekeeper)

        assert api.queries("claims") == few


class TestLetter:
    def test_letter_is_text_or_a_pdf(self, api, drafts, storekeeper):
        address = f"claims/{drafts['shortage'].pk}/letter"
        text, paper = api.get(address), api.get(address, accept="application/pdf")

        assert text["Content-Type"] == "text/plain; charset=utf-8"
        assert "claimed 37 ea" in text.content.decode()
        assert paper["Content-Type"] == "application/pdf"
        assert api.get(address, {"format": "pdf"}).content == paper.content
        found = pypdfium2.PdfDocument(BytesIO(paper.content))
        assert "37 ea" in found[0].get_textpage().get_text_range()
        found.close()

    def test_letter_that_is_not_there_is_a_problem_document_whatever_was_asked(self, api, foreign):
        for accept in ("text/plain", "application/pdf"):
            answer = api.get(f"claims/{foreign['claims'].pk}/letter", accept=accept)
            assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json")
            assert answer.json()["status"] == 404

    def test_letter_in_another_type_is_refused(self, api, drafts):
        answer = api.get(f"claims/{drafts['shortage'].pk}/letter", accept="image/png")

        assert (answer.status_code, answer.json()["status"]) == (406, 406)


class TestRights:
    @pytest.mark.parametrize("name", ["senders", "claim-rules", "claims"])
    def test_outsider_s_rows_are_not_found(self, api, foreign, name):
        address = f"{name}/{foreign[name].pk}"

        assert {api.get(address).status_code, api.patch(address, {}, "x").status_code, api.delete(address, "x").status_code} == {404}
        assert api.rows(name) == []
        if name == "claims":
            assert {api.post(f"{address}/{what}", {"state": "refused"}).status_code for what in ("send", "answer")} == {404}

    def test_crate_of_the_outsider_is_neither_read_nor_claimed(self, api, outsider):
        with scopes_disabled():
            crate = Crate.objects.get(workshop=outsider)

        assert api.get(f"crates/{crate.pk}/claimable").status_code == 404
        assert api.post("claims", {"crate": crate.code}).status_code == 404

    def test_token_that_only_reads_or_scans_writes_nothing(self, as_device, storekeeper, drafts, sender):
        for scope in ("read", "scan"):
            api = Api(as_device(storekeeper, scope))
            tried = [api.post(name, {}) for name in ("senders", "claim-rules", "claims", f"claims/{drafts['shortage'].pk}/send")]
            assert {answer.status_code for answer in tried} == {403}
        assert Api(as_device(storekeeper, "read")).get("claims").status_code == 200

    def test_builder_reads_and_writes_nothing(self, as_member, builder, drafts, sender):
        api = Api(as_member(builder))
        rule = {"sender": "Kit Works", "fault": "shortage", "days": 7}

        assert api.get("claims").status_code == 200
        tried = [api.post("senders", {"name": "X"}), api.post("claim-rules", rule), api.post("claims", {"crate": "CRATE-7"})]
        tried += [api.post(f"claims/{drafts['shortage'].pk}/send"), api.patch(f"claims/{drafts['shortage'].pk}", {"against": "X"})]
        assert {answer.status_code for answer in tried} == {403}

    def test_nobody_reads_nothing(self, client, drafts):
        for name in ("senders", "claim-rules", "claim-clocks", "claims", f"claims/{drafts['shortage'].pk}/letter"):
            assert client.get(f"/api/v1/{name}").status_code == 401
