"""Seal days for programs: planned, looked at, moved, mixed through and closed, with the figures of the page."""

import json
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from http import HTTPStatus
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from buildplan.sealday import answer, queries, services
from buildplan.sealday.models import DayMix, SealDay
from inventory.models import Lot, Movement
from tests import factories
from tests.buildplan.sealday.conftest import NOW, SATURDAY, SUNDAY, WEEK, planned
from tests.factories import DAY

JSON = "application/json"
ADA = {"name": "Ada", "comes": "09:00", "goes": "17:00"}
TEN = datetime(2027, 3, 13, 10, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def clock(time_machine):
    time_machine.move_to(NOW, tick=False)
    return time_machine


class Api:
    """A member's own requests; PATCH and PUT send the day's ETag, as it was read just before, unless one is given."""

    def __init__(self, client):
        self.client = client

    def get(self, where):
        return self.client.get(f"/api/v1/{where}")

    def post(self, where, body, **headers):
        return self.client.post(f"/api/v1/{where}", json.dumps(body), content_type=JSON, headers=headers)

    def edit(self, method, where, body, match=None):
        match = match or self.get("/".join(where.split("/")[:2]))["ETag"]
        return getattr(self.client, method)(f"/api/v1/{where}", json.dumps(body), content_type=JSON, headers={"if-match": match})


@pytest.fixture
def api(as_member, owner):
    return Api(as_member(owner))


@pytest.fixture
def at(clock, as_member, owner):
    """Move to a moment; who was signed in before it signs in again."""

    def at(moment):
        clock.move_to(moment, tick=False)
        as_member(owner)

    return at


def named(*steps):
    return [{"project": step.project.code, "step": step.code} for step in steps]


def batch_of(step, lot, place, grams=60, **more):
    """A batch of sealant for one step, 10 : 1."""
    part = Decimal(grams) / 11
    accelerator = part.quantize(Decimal("0.001"))
    return {
        "item": "SEAL-B2",
        "base": str(grams - accelerator),
        "accelerator": str(accelerator),
        "takes": [{"lot": lot.pk, "place": place.path, "grams": str(grams)}],
        "shares": [{**named(step)[0], "grams": str(grams)}],
        "mixed_at": TEN.isoformat(),
        "mixed_by": "Ada",
        "temperature_f": "75",
        **more,
    }


def test_day_is_planned_once_for_a_key_with_its_people_and_said_in_full(api, bench, steps, lots, b2):
    body = {"bench": "TERN", "on": str(SATURDAY), "steps": named(steps.left), "people": [ADA], "temperature_f": "75", "pace": 40}
    first = api.post("seal-days", body, **{"idempotency-key": "one"})
    again = api.post("seal-days", body, **{"idempotency-key": "one"})

    assert (first.status_code, again.status_code, SealDay.objects.count()) == (201, 201, 1)
    assert again["Idempotent-Replay"] == "true"
    found = api.get(first["Location"].removeprefix("/api/v1/"))
    assert found["ETag"] == first["ETag"]
    day = found.json()
    assert day == first.json()
    assert (day["bench"], day["on"], day["state"], day["temperature_f"], day["pace"]) == ("TERN", "2027-03-13", "open", "75", "40")
    assert day["people"] == [{**ADA, "member": None, "hours": "8"}]
    assert [step["step"] for step in day["steps"]] == ["F3-04"]
    assert [(one["item"], one["needed"], one["short"]) for one in day["products"]] == [("SEAL-B2", "60", "0")]
    assert day["products"][0]["faults"]  # the work life isn't known yet, so nothing is planned
    sheet = {"item": "SEAL-B2", "life_hours": "2", "cure_hours": "72"}
    (batch,) = api.edit("put", f"seal-days/{day['id']}/products", {"products": [sheet]}).json()["batches"]
    assert (batch["grams"], batch["base"], batch["accelerator"]) == ("60", "54.545", "5.455")
    assert [(lot["lot"], lot["label"], lot["grams"]) for lot in batch["lots"]] == [(lots.old.pk, "S-1", "60")]


def test_page_and_api_show_the_same_figures(api, day, lots):
    shown = queries.view(day, today=DAY, now=NOW)
    found, page = api.get(f"seal-days/{day.pk}").json(), api.client.get(reverse("seal-day", args=[day.pk])).content.decode()

    assert found == json.loads(json.dumps(answer.as_object(shown), default=lambda value: value.isoformat().replace("+00:00", "Z")))
    figures = [(one["number"], Decimal(one["grams"]), Decimal(one["base"]), Decimal(one["accelerator"])) for one in found["batches"]]
    assert figures == [(one.number, one.grams, one.base, one.accelerator) for one in shown.batches]
    for batch in found["batches"]:
        for figure in (batch["base"], batch["accelerator"], *(lot["label"] for lot in batch["lots"])):
            assert figure in page
    assert len(figures) == 2
    assert {one["item"] for one in found["missing"]} == {one.line.item.code for one in shown.missing}


def test_day_is_changed_by_its_version_alone(api, day, steps):
    where, seen = f"seal-days/{day.pk}", api.get(f"seal-days/{day.pk}")["ETag"]
    assert api.client.patch(f"/api/v1/{where}", "{}", content_type=JSON).status_code == 428
    changed = api.edit("patch", where, {"temperature_f": "68.5", "note": "heater on"}, match=seen)

    assert changed.status_code == 200
    assert (changed.json()["temperature_f"], changed.json()["note"], changed.json()["pace"]) == ("68.5", "heater on", "20")
    assert changed["ETag"] == api.get(where)["ETag"]
    assert api.edit("patch", where, {"note": "off"}, match=seen).status_code == 412
    assert api.edit("put", f"{where}/people", {"people": [ADA]}, match=seen).status_code == 412
    fewer = api.edit("patch", where, {"steps": named(steps.left)})
    assert [step["step"] for step in fewer.json()["steps"]] == ["F3-04"]


def test_people_and_data_sheets_are_put(api, day, builder):
    people = [ADA, {"name": builder.name, "comes": "10:30", "goes": "12:00", "member": builder.pk}]
    found = api.edit("put", f"seal-days/{day.pk}/people", {"people": people}).json()
    assert [(one["name"], one["member"], one["hours"]) for one in found["people"]] == [
        ("Ada", None, "8"),
        (builder.name, builder.pk, "1.5"),
    ]
    sheet = {"item": "SEAL-B2", "life_hours": "0.5", "cure_hours": None}
    (product,) = api.edit("put", f"seal-days/{day.pk}/products", {"products": [sheet]}).json()["products"]
    assert (product["life_hours"], product["cure_hours"], product["cured_at"]) == ("0.5", None, None)


def test_lots_are_held_and_given_back(api, day, lots):
    held = api.edit("patch", f"seal-days/{day.pk}", {"held": True}).json()
    assert held["held"]
    assert lots.old.set_asides.exists()
    assert not api.edit("patch", f"seal-days/{day.pk}", {"held": False}).json()["held"]
    assert not lots.old.set_asides.exists()


def test_look_at_a_move_changes_nothing_and_the_move_does_what_the_look_said(api, day, steps, lots):
    to = str(SATURDAY + WEEK)
    look = api.post(f"seal-days/{day.pk}/move", {"to": to, "look": True, "later": True}).json()
    day.refresh_from_db()
    assert (day.on, look["moved"]) == (SATURDAY, False)

    moved = api.post(f"seal-days/{day.pk}/move", {"to": to, "later": True}).json()
    day.refresh_from_db()
    assert (day.on, moved["moved"]) == (SATURDAY + WEEK, True)
    assert {**moved, "moved": False} == look
    assert [one["on"] for one in look["before"] + look["after"]] == [str(SATURDAY), to]
    changed = {one["what"]: (one["before"], one["after"]) for one in look["changes"]}
    assert changed["seal day of F3-04, F3-05"] == (str(SATURDAY), to)
    assert "S-1" in changed["lots for F3-04, F3-05"][0]
    assert "S-1" not in changed["lots for F3-04, F3-05"][1]  # dead by then
    assert api.get(f"seal-days/{day.pk}").json() == moved["after"][0]


def test_other_days_move_along(api, day, bench, steps, b2, owner):
    second = planned(bench, SUNDAY, [steps.fillet], b2, owner)
    api.post(f"seal-days/{day.pk}/move", {"to": str(SATURDAY + WEEK), "along": [second.pk]})

    assert SealDay.objects.get(pk=second.pk).on == SUNDAY + WEEK


def test_day_is_mixed_through_and_closed(api, day, steps, lots, drawer, at):
    at(TEN + timedelta(hours=1))
    key, body = str(uuid4()), batch_of(steps.left, lots.old, drawer)
    made = api.post(f"seal-days/{day.pk}/mixes", {**body, "key": key})
    again = api.post(f"seal-days/{day.pk}/mixes", {**body, "key": key})  # the phone lost the answer
    assert (made.status_code, again.json(), DayMix.objects.count()) == (201, made.json(), 1)
    mix = made.json()
    assert (mix["seal_day"], mix["number"], mix["grams"], mix["lots"]) == (day.pk, 1, "60", ["S-1"])
    assert mix["work_until"] > mix["mixed_at"]
    shown = api.get(f"seal-days/{day.pk}").json()
    assert [(one["mixed"], one["open"]) for one in shown["products"]] == [("60", "50")]
    assert shown["mixed"] == [{name: value for name, value in mix.items() if name != "seal_day"}]

    outcomes = [
        {**named(steps.left)[0], "done": True},
        {**named(steps.right)[0], "done": False, "carry_to": "2027-03-20", "reason": "late"},
    ]
    early = api.post(f"seal-days/{day.pk}/close", {"outcomes": outcomes})
    assert (early.status_code, "say what was left" in early.json()["detail"]) == (409, True)
    ended = api.edit("patch", f"mixes/{mix['id']}", {"left": "1.5"})
    assert (ended.json()["left"], ended.json()["ended_at"]) == ("1.5", "2027-03-13T11:00:00Z")
    closed = api.post(f"seal-days/{day.pk}/close", {"outcomes": outcomes}).json()
    assert closed["state"] == "closed"
    assert [(step["step"], step["done"], step["carried_to"]) for step in closed["steps"]] == [
        ("F3-04", True, None),
        ("F3-05", False, "2027-03-20"),
    ]
    for where, body in (("move", {"to": "2027-04-03"}), ("close", {}), ("call-off", {"reason": "rain"})):
        assert api.post(f"seal-days/{day.pk}/{where}", body).status_code == 409
    assert api.edit("patch", f"seal-days/{day.pk}", {"note": "x"}).status_code == 409


def test_batch_is_taken_back_once(api, day, steps, lots, drawer, at):
    at(TEN)
    mix = api.post(f"seal-days/{day.pk}/mixes", batch_of(steps.left, lots.old, drawer)).json()["id"]

    assert api.post(f"mixes/{mix}/take-back", {}).json()["taken_back_at"] == "2027-03-13T10:00:00Z"
    assert api.post(f"mixes/{mix}/take-back", {}).status_code == 409
    assert api.edit("patch", f"mixes/{mix}", {"left": "1"}).status_code == 409
    assert api.get(f"seal-days/{day.pk}").json()["products"][0]["mixed"] == "0"


def test_lot_past_its_life_is_not_mixed_and_an_acceptance_lifts_it(api, day, steps, lots, drawer, at):
    at(TEN)
    for ended in ({"expires_on": DAY}, {"state": "quarantined"}, {"expires_on": None, "made_on": None}):
        lots.old.item.__class__.objects.filter(pk=lots.old.item_id).update(life_months=9)
        Lot.objects.filter(pk=lots.old.pk).update(**{"state": "good", "expires_on": SUNDAY, **ended})
        refused = api.post(f"seal-days/{day.pk}/mixes", batch_of(steps.left, lots.old, drawer))
        assert refused.status_code == 409, ended
        assert refused["Content-Type"] == "application/problem+json"
    assert not Movement.objects.filter(target__end="used").exists()
    Lot.objects.filter(pk=lots.old.pk).update(accepted_until=SATURDAY)
    assert api.post(f"seal-days/{day.pk}/mixes", batch_of(steps.left, lots.old, drawer)).status_code == 201


def test_what_does_not_add_up_or_is_still_to_come_is_refused_with_its_field(api, day, steps, lots, drawer, at):
    at(TEN)
    body = batch_of(steps.left, lots.old, drawer)
    for wrong, said in (
        ({"base": "50"}, "make them the same"),
        ({"shares": [{**named(steps.left)[0], "grams": "59"}]}, "share all of it"),
        ({"shares": [{**named(steps.fillet)[0], "grams": "60"}]}, "no step of this day"),
        ({"mixed_at": "2027-03-13T12:00:00Z"}, "still to come"),
        ({"base": "-1"}, "base"),
        ({"mixed_at": "noon"}, "mixed_at"),
    ):
        refused = api.post(f"seal-days/{day.pk}/mixes", {**body, **wrong})
        assert refused.status_code == HTTPStatus.BAD_REQUEST, wrong
        assert said in refused.content.decode()
    assert not DayMix.objects.exists()


def test_batch_tells_a_program_what_is_wrong_with_it(api, day, steps, lots, drawer, at):
    at(TEN)
    where, body = f"seal-days/{day.pk}/mixes", batch_of(steps.left, lots.old, drawer, temperature_f="50")
    off = {"base": "40", "accelerator": "20"}
    for wrong, field in (
        ({"temperature_f": "900"}, "Fahrenheit"),
        (off, "in a note"),
        ({"mixed_at": "2027-02-01T10:00:00Z"}, "rule of ours"),
    ):
        refused = api.post(where, {**body, **wrong})
        assert (refused.status_code, field in refused.json()["detail"]) == (400, True), refused.json()
    assert not DayMix.objects.exists()

    made = api.post(where, {**body, **off, "note": "poured too much"}).json()
    assert [one["text"] for one in made["warnings"]] == [
        "too cold to seal: 50 F is outside 70 F to below 100 F",
        "as mixed 100 : 50; the product's is 100 : 10, by weight",
    ]
    assert [one["text"] for one in made["ratio_trace"]][1] == "40 g base ask for 4 g accelerator; 20 g is off by 400 %"
    assert api.get(f"seal-days/{day.pk}").json()["mixed"][0]["warnings"] == made["warnings"]


def test_day_that_cannot_be_is_refused(api, bench, steps, day):
    body = {"bench": "TERN", "on": "2027-05-01", "steps": named(steps.fillet)}
    for wrong, status, said in (
        ({"on": "2027-02-19"}, 400, "is past"),
        ({"steps": []}, 400, "steps"),
        ({"people": []}, 400, "people"),
        ({"people": [{**ADA, "goes": "08:00"}]}, 400, "after they come"),
        ({"temperature_f": "900"}, 400, "Fahrenheit"),
        ({"on": str(SATURDAY)}, 409, "already"),
        ({"steps": named(steps.left)}, 409, "already"),
        ({"steps": [{"project": "TERN-1", "step": "X"}]}, 404, "no step X"),
        ({"bench": "NOWHERE"}, 404, "NOWHERE"),
    ):
        refused = api.post("seal-days", {**body, **wrong})
        assert (refused.status_code, said in refused.content.decode()) == (status, True), (wrong, refused.content)
    assert SealDay.objects.count() == 1


def test_list_to_the_night_before_is_ticked(api, day, lots):
    line = api.get(f"seal-days/{day.pk}").json()["checks"][0]
    ticked = api.post(f"seal-days/{day.pk}/checks", {"key": line["key"], "text": line["text"]}).json()["checks"][0]
    assert (ticked["key"], ticked["ticked_at"]) == (line["key"], "2027-02-20T12:00:00Z")
    own = api.post(f"seal-days/{day.pk}/checks", {"text": "borrow the second gun", "done": False}).json()["checks"][-1]
    assert (own["text"], own["ticked_at"], own["key"]) == ("borrow the second gun", None, "")
    assert api.post(f"seal-days/{day.pk}/checks", {"key": "nonsense", "text": "x"}).status_code == 400


def test_day_is_called_off(api, day):
    found = api.post(f"seal-days/{day.pk}/call-off", {"reason": "the heater is out"}).json()

    assert (found["state"], found["note"]) == ("called off", "Called off: the heater is out")
    assert api.get("seal-days?open=true").json()["results"] == []
    assert [one["state"] for one in api.get("seal-days?open=false").json()["results"]] == ["called off"]


def test_days_are_listed_and_filtered(api, day, bench, steps, b2, owner):
    planned(bench, SUNDAY, [steps.fillet], b2, owner)
    found = api.get("seal-days").json()["results"]

    assert [(one["on"], one["steps"], one["people"], one["mixed"]) for one in found] == [
        ("2027-03-13", ["F3-04", "F3-05"], 2, 0),
        ("2027-03-14", ["F3-06"], 2, 0),
    ]
    assert [one["on"] for one in api.get(f"seal-days?since={SUNDAY}&bench=tern").json()["results"]] == [str(SUNDAY)]
    assert api.get("seal-days?until=2027-01-01").json()["results"] == []


def test_reader_reads_and_changes_nothing(as_member, reader, day, steps, lots, drawer):
    theirs = Api(as_member(reader))

    assert theirs.get(f"seal-days/{day.pk}").status_code == 200
    assert theirs.edit("patch", f"seal-days/{day.pk}", {"note": "x"}).status_code == 403
    for where, body in (
        ("move", {"to": "2027-04-03"}),
        ("mixes", batch_of(steps.left, lots.old, drawer, mixed_at=NOW.isoformat())),
        ("call-off", {"reason": "x"}),
    ):
        assert theirs.post(f"seal-days/{day.pk}/{where}", body).status_code == 403, where
    day.refresh_from_db()
    assert day.on == SATURDAY


def test_lists_and_days_take_a_fixed_number_of_queries(api, day, bench, project, steps, b2, owner, lots):
    def taken(where):
        with CaptureQueriesContext(connection) as found:
            assert api.get(where).status_code == 200
        return len(found)

    before = taken("seal-days"), taken(f"seal-days/{day.pk}")
    more = [factories.StepFactory(project=project, code=f"G-{n}", planned_on=SATURDAY) for n in range(6)]
    services.set_steps(day=day, steps=[steps.left, steps.right, *more], by=owner, today=DAY)
    planned(bench, SUNDAY, [steps.fillet], b2, owner)

    assert (taken("seal-days"), taken(f"seal-days/{day.pk}")) == before
