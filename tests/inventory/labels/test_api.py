"""Labels for programs."""

from http import HTTPStatus

import pytest
import zxingcpp
from django.urls import reverse
from django_scopes import scopes_disabled

from inventory.labels import services
from inventory.models import Label, Lot
from tests import factories
from tests.inventory.labels.sheets import pictures

JSON = "application/json"


@pytest.fixture
def bag(bench):
    return factories.BagFactory(crate=factories.CrateFactory(bench=bench, code="CRATE-7"), path="7A/2")


def post(client, name, body, **headers):
    return client.post(reverse(name), body, content_type=JSON, headers=headers)


class TestMaking:
    def test_tokens_for_bags_lots_and_places(self, as_device, storekeeper, bag, lot, drawer):
        answer = post(as_device(storekeeper), "api-labels", {"bags": [bag.pk], "lots": [lot.pk], "places": [drawer.pk]})

        assert answer.status_code == HTTPStatus.OK
        labels = answer.json()["labels"]
        assert [(label["kind"], label["id"]) for label in labels] == [("bag", bag.pk), ("lot", lot.pk), ("place", drawer.pk)]
        assert [label["token"] for label in labels] == list(Label.objects.order_by("pk").values_list("token", flat=True))
        assert labels[0]["address"] == f"HTTP://TESTSERVER/T/{labels[0]['token']}"
        assert labels[0]["text"] == ["Bag 7A/2", "crate CRATE-7", "to Bench TERN", "0 lines"]

    def test_the_same_again_gives_the_same(self, as_device, storekeeper, bag):
        client = as_device(storekeeper)

        assert post(client, "api-labels", {"bags": [bag.pk]}).json() == post(client, "api-labels", {"bags": [bag.pk, bag.pk]}).json()

    def test_key_sent_twice_acts_once(self, as_device, storekeeper, bag):
        client, key = as_device(storekeeper), {"idempotency-key": "print-1"}
        first, second = (post(client, "api-labels", {"bags": [bag.pk]}, **key) for _ in range(2))

        assert first.json() == second.json()
        assert second["Idempotent-Replay"] == "true"

    @pytest.mark.parametrize("name", ["api-labels", "api-labels-pdf"])
    def test_other_workshop_s_lot_is_not_found(self, as_device, storekeeper, lot, outsider, name):
        with scopes_disabled():
            theirs = Lot.objects.get(workshop=outsider)
        answer = post(as_device(storekeeper), name, {"lots": [lot.pk, theirs.pk], "sheet": "a4"})

        assert answer.status_code == HTTPStatus.NOT_FOUND
        assert answer["Content-Type"] == "application/problem+json"
        assert not Label.objects.exists()

    @pytest.mark.parametrize("name", ["api-labels", "api-labels-pdf"])
    @pytest.mark.parametrize(
        ("body", "said"),
        [
            ({}, "name at least one"),
            ({"bags": ["x"]}, "valid integer"),
            ({"bags": [0]}, "greater than or equal to 1"),
            ({"bags": [2**70]}, "less than or equal"),
            ({"bags": 5}, "Expected a list"),
            ({"lots": list(range(1, 10_001))}, "10,000 labels: 1,000 at once are the most"),
        ],
    )
    def test_what_does_not_read_is_a_problem(self, as_device, storekeeper, name, body, said):
        answer = post(as_device(storekeeper), name, {"sheet": "a4", **body})

        assert answer.status_code == HTTPStatus.BAD_REQUEST
        assert said in answer.content.decode()
        assert not Label.objects.exists()

    @pytest.mark.parametrize("name", ["api-labels", "api-labels-pdf"])
    def test_who_may_not(self, client, as_device, as_member, storekeeper, reader, lot, name):
        body = {"lots": [lot.pk], "sheet": "a4"}

        assert post(client, name, body).status_code == HTTPStatus.UNAUTHORIZED
        assert post(as_device(storekeeper, "read", "scan"), name, body).status_code == HTTPStatus.FORBIDDEN
        assert post(as_member(reader), name, body).status_code == HTTPStatus.FORBIDDEN
        assert not Label.objects.exists()


class TestPrinting:
    @pytest.mark.parametrize("accept", ["*/*", "application/pdf", "application/json"])
    def test_pdf_with_the_tokens(self, as_device, storekeeper, lot, drawer, accept):
        body = {"lots": [lot.pk], "places": [drawer.pk], "sheet": "letter", "start": 29, "symbol": "datamatrix", "copies": 2}
        answer = post(as_device(storekeeper), "api-labels-pdf", body, accept=accept)

        assert answer["Content-Type"] == "application/pdf"
        found = [[code.text for code in zxingcpp.read_barcodes(picture)] for picture in pictures(answer.content, 203)]
        mine, its = (services.ensure_labels(rows=[row], by=storekeeper)[0].token for row in (lot, drawer))
        assert found == [[mine, mine], [its, its]]

    @pytest.mark.parametrize(
        ("change", "said"),
        [
            ({"sheet": "none"}, "there is no sheet 'none': this workshop's are a4, letter, drawers, roll"),
            ({"start": 31, "sheet": "letter"}, "labels 1 to 30"),
            ({"symbol": "x"}, "valid choice"),
            ({"sheet": "drawers"}, "too small for this code"),
            ({"copies": 0}, "greater than or equal to 1"),
        ],
    )
    def test_what_cannot_be_printed_is_a_problem(self, as_device, storekeeper, lot, change, said):
        answer = post(as_device(storekeeper), "api-labels-pdf", {"lots": [lot.pk], "sheet": "a4", **change})

        assert answer.status_code == HTTPStatus.BAD_REQUEST
        assert answer["Content-Type"] == "application/problem+json"
        assert said in answer.json().get("detail", str(answer.json()))
        assert not Label.objects.exists()


class TestReading:
    def test_one_by_its_token_in_any_case(self, as_device, storekeeper, lot):
        (label,) = services.ensure_labels(rows=[lot], by=storekeeper)
        answer = as_device(storekeeper, "read").get(reverse("api-label", args=[label.token.lower()]))

        assert answer.json() == {
            "token": label.token,
            "kind": "lot",
            "id": lot.pk,
            "address": f"HTTP://TESTSERVER/T/{label.token}",
            "text": [lot.item.code, "a thing", f"lot {lot.code}"],
        }

    def test_unknown_one_is_not_found(self, as_device, storekeeper):
        assert as_device(storekeeper, "read").get(reverse("api-label", args=["RL000000000"])).status_code == HTTPStatus.NOT_FOUND

    def test_list_by_pages(self, as_device, storekeeper, workshop):
        places = factories.PlaceFactory.create_batch(3, workshop=workshop)
        tokens = [label.token for label in services.ensure_labels(rows=places, by=storekeeper)]
        client = as_device(storekeeper, "read")
        first = client.get(reverse("api-labels"), {"page_size": 2}).json()

        assert [row["token"] for row in first["results"]] == tokens[:2]
        assert [row["token"] for row in client.get(first["next"]).json()["results"]] == tokens[2:]

    def test_queries_do_not_grow_with_the_list(self, queries_of, reader, storekeeper, workshop):
        services.ensure_labels(rows=factories.PlaceFactory.create_batch(1, workshop=workshop), by=storekeeper)
        one = queries_of(reader, reverse("api-labels"))
        services.ensure_labels(rows=factories.PlaceFactory.create_batch(30, workshop=workshop), by=storekeeper)
        assert queries_of(reader, reverse("api-labels")) == one

    def test_sheets_are_the_starting_ones_then_one_s_own(self, as_device, storekeeper, workshop):
        client = as_device(storekeeper, "read")
        assert [sheet["key"] for sheet in client.get(reverse("api-label-sheets")).json()["sheets"]] == ["a4", "letter", "drawers", "roll"]

        row = factories.LabelSheetFactory(workshop=workshop, name="Office")
        (sheet,) = client.get(reverse("api-label-sheets")).json()["sheets"]
        assert (sheet["key"], sheet["name"], sheet["label_width"]) == (str(row.pk), "Office", "63")
