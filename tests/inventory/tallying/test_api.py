"""Counting by programs."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone
from django_scopes import scopes_disabled

from inventory.models import Bag, Crate, PackingLine, Tally
from inventory.tallying import services
from tests.callers import Api
from tests.factories import DAY


@pytest.fixture
def api(as_device, storekeeper):
    return Api(as_device(storekeeper))


@pytest.fixture
def scanner(as_device, storekeeper):
    return Api(as_device(storekeeper, "scan"))


@pytest.fixture
def sent(bags, items):
    return {"bag": bags["7"].pk, "item": "ms20470 ad4-6", "quantity": "12"}


def test_count_is_made_once_for_one_key_and_read(api, sent, lines):
    made, again = api.post("tallies", sent, key="k"), api.post("tallies", sent, key="k")

    assert (made.status_code, again.json(), again["Idempotent-Replay"]) == (201, made.json(), "true")
    assert (made.json()["line_id"], made.json()["quantity"], made.json()["bag"]) == (lines["1"].pk, "12", "7")
    assert api.get(made["Location"]).json() == made.json()
    assert Tally.objects.count() == 1


def test_count_by_line_or_in_no_bag(api, lines, crate):
    assert api.post("tallies", {"line": lines["3"].pk, "quantity": 1}).json()["bag"] == "7/A"
    found = api.post("tallies", {"crate": crate.code, "item": "SPAR", "quantity": 1}).json()
    assert (found["bag"], found["line"]) == (None, None)


def test_count_of_a_mystery_with_its_sizes(api, bags):
    said = {"bag": bags["7"].pk, "quantity": "3", "finding": "mystery", "diameter": "1/8", "length": "0.375", "head": "universal"}
    found = api.post("tallies", said).json()

    assert (found["item"], found["diameter"], found["length"], found["head"]) == (None, "1/8", "3/8", "universal")


def test_count_in_all_counts_the_difference_and_is_204_where_it_agrees(api, sent, lines):
    api.post("tallies", sent)
    said = {"line": lines["1"].pk, "quantity": "20", "in_all": True}

    assert (api.post("tallies", said).json()["quantity"], api.post("tallies", said).status_code) == ("8", 204)
    assert "say by `line`" in api.post("tallies", {"quantity": "20", "in_all": True}).json()["detail"]


def test_count_from_before_a_correction_is_a_409(api, sent, lines):
    api.post("tallies", {"line": lines["1"].pk, "quantity": "20", "in_all": True})
    answer = api.post("tallies", {**sent, "at": "2020-01-01T00:00:00Z"})

    assert (answer.status_code, answer.json()["title"]) == (409, "Older than a correction")


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"quantity": "0"}, 400),
        ({"quantity": "many"}, 400),
        ({"item": "NOBODY"}, 404),
        ({"bag": 0}, 404),
        ({"bag": None, "item": "SPAR"}, 400),
        ({"finding": "lost"}, 400),
        ({"item": None}, 400),
        ({"made": "2027-06", "expires": "2027-05"}, 400),
        ({"diameter": "0"}, 400),
    ],
)
def test_count_that_makes_no_sense_is_refused(api, sent, change, status):
    assert api.post("tallies", {**sent, **change}).status_code == status
    assert not Tally.objects.exists()


def test_count_that_is_still_to_come_is_refused(api, sent):
    ahead = timezone.now() + timedelta(hours=1)

    assert "still to come" in api.post("tallies", {**sent, "at": ahead.isoformat()}).json()["detail"]


def test_count_is_taken_back_once(api, sent):
    made = api.post("tallies", sent).json()
    back = api.post(f"tallies/{made['id']}/undo")

    assert (back.status_code, back.json()["quantity"], back.json()["undoes"]) == (201, "-12", made["id"])
    assert api.post(f"tallies/{made['id']}/undo").status_code == 409
    assert api.get(f"tallies/{made['id']}").json()["undone_by"] == back.json()["id"]


def test_counts_are_listed_and_filtered(api, sent, bags, lines):
    first = api.post("tallies", sent).json()["id"]
    second = api.post("tallies", {"bag": bags["8"].pk, "item": "SPAR", "quantity": 1, "finding": "damaged", "note": "dented"}).json()["id"]
    api.post(f"tallies/{first}/undo")

    def ids(**asked):
        return [row["id"] for row in api.rows("tallies", **asked)]

    assert (ids()[:2], ids(bag=bags["8"].pk), ids(item="spar"), ids(line=lines["1"].pk)[0]) == ([first, second], [second], [second], first)
    assert (ids(finding="damaged"), ids(search="DENT"), ids(standing=True), ids(listed=False)) == ([second],) * 4
    assert (ids(crate="crate-7")[0], ids(put_away=True), ids(crate="other")) == (first, [], [])


def test_list_takes_a_fixed_number_of_queries(api, count):
    count("SPAR", 1)
    one = api.queries("tallies")
    for _ in range(10):
        count("SPAR", 1)

    assert api.queries("tallies") == one


def test_sheet_and_receipt_tell_what_was_counted(api, count, crate, bags):
    count("MS20470AD4-6", 12)
    count("SPAR", 1, bag="7/A", finding="damaged")
    sheet = api.get(f"crates/{crate.pk}/sheet").json()

    assert (sheet["crate"], sheet["lines"], sheet["found_lines"]) == ("CRATE-7", 4, 0)
    [line] = sheet["bags"][0]["lines"]
    assert (line["listed"], line["good"], line["left"], line["short"]) == ("20", "12", "8", "0")
    receipt = api.get(f"crates/{crate.pk}/receipt").json()
    assert (receipt["good"], receipt["damaged"], receipt["in_stock"], receipt["waiting"]) == ("12", "1", "0", "13")
    assert [each["kind"] for each in receipt["differences"]] == ["damaged"]


def test_bag_is_finished_put_away_and_the_crate_closed(api, sent, crate, bags, lines):
    api.post("tallies", sent)

    assert api.post(f"bags/{bags['7'].pk}/finish").json()["counted_on"] == timezone.localdate().isoformat()
    assert api.post(f"bags/{bags['7'].pk}/finish", {"reopen": True}).json()["counted_on"] is None
    assert api.post(f"crates/{crate.pk}/arrived", {"on": "2027-02-20"}).json() if timezone.localdate() > DAY else True
    put = api.post(f"crates/{crate.pk}/put-away", {"place": "Hangar/Shelf", "bag": bags["7"].pk}, key="p")
    assert [(each["quantity"], each["target"]) for each in put.json()["movements"]] == [("12", "Hangar/Shelf")]
    assert api.post(f"crates/{crate.pk}/put-away", {"place": "Hangar/Shelf", "bag": bags["7"].pk}, key="p").json() == put.json()
    assert api.post(f"crates/{crate.pk}/put-away", {"place": "Hangar/Shelf"}).status_code == 409
    closed = api.post(f"crates/{crate.pk}/close").json()
    assert {each["kind"] for each in closed["differences"]} == {"short"}
    assert api.post(f"crates/{crate.pk}/close").status_code == 409
    assert PackingLine.objects.get(pk=lines["1"].pk).open_quantity == 0


def test_day_that_is_still_to_come_is_refused(api, crate):
    day = timezone.localdate() + timedelta(days=1)

    assert api.post(f"crates/{crate.pk}/arrived", {"on": day.isoformat()}).status_code == 400
    assert Crate.objects.get(pk=crate.pk).arrived_on is None


def test_scanner_counts_and_takes_back_but_puts_nothing_away(scanner, sent, crate, bags):
    made = scanner.post("tallies", sent)

    assert made.status_code == 201
    assert scanner.post(f"tallies/{made.json()['id']}/undo").status_code == 201
    assert scanner.post(f"bags/{bags['7'].pk}/finish").status_code == 200
    assert scanner.post(f"crates/{crate.pk}/put-away", {"place": "Shelf"}).status_code == 403
    assert scanner.get("tallies").status_code == 403


def test_outsider_s_rows_are_a_404_everywhere(api, foreign, outsider, crate):
    with scopes_disabled():
        bag = Bag.objects.create(workshop=outsider, crate=foreign.crate, name="1", path="1")
        by = outsider.members.first()
        tally = Tally.objects.create(workshop=outsider, crate=foreign.crate, item=foreign.item, quantity=Decimal(1), by=by)
    asked = [
        api.get(f"tallies/{tally.pk}"),
        api.post(f"tallies/{tally.pk}/undo"),
        api.get(f"crates/{foreign.crate_id}/sheet"),
        api.get(f"crates/{foreign.crate_id}/receipt"),
        api.post(f"crates/{foreign.crate_id}/put-away", {"place": "Shelf"}),
        api.post(f"crates/{crate.pk}/put-away", {"place": "Shelf", "bag": bag.pk}),
        api.post(f"crates/{foreign.crate_id}/arrived"),
        api.post(f"crates/{foreign.crate_id}/close"),
        api.post(f"bags/{bag.pk}/finish"),
        api.post("tallies", {"bag": bag.pk, "item": "SPAR", "quantity": 1}),
        api.post("tallies", {"line": foreign.pk, "quantity": 1}),
        api.post("tallies", {"crate": foreign.crate.code, "item": "SPAR", "quantity": 1}),
        api.post("tallies", {"crate": crate.code, "item": foreign.item.code, "quantity": 1}),
    ]

    assert {answer.status_code for answer in asked} == {404}
    assert api.rows("tallies") == []


def test_put_away_by_program_is_taken_back_by_reverse(api, sent, crate, storekeeper, drawer):
    api.post("tallies", sent)
    [moved] = services.put_away(crate=crate, place=drawer, on=DAY, by=storekeeper)

    assert api.post(f"movements/{moved.pk}/reverse").status_code == 201
    assert Tally.objects.get().movement is None
