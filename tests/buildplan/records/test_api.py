"""/api/v1/projects/{code}/step: the step's sheet for programs, and its hand."""

from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
import time_machine
from rest_framework.test import APIClient

from buildplan.fitting.services import pair
from buildplan.records.api import StepOut
from tests import factories
from tests.factories import DAY

URL = "/api/v1/projects/TERN-1/step"
SAID = {"people": "2", "pace": "20", "temperature": "25 C", "division": "0.1", "life-SEAL-B2": "2"}


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel(DAY, tick=False):
        yield


@pytest.fixture
def client(reader):
    found = APIClient()
    found.force_login(reader.user, backend="django.contrib.auth.backends.ModelBackend")
    return found


@pytest.fixture
def furnished(step, workshop, bench, drawer):
    """A row, a seam and a lot for it."""
    rivet = factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", kind="rivet", diameter=Fraction(1, 8))
    cleco = factories.ItemFactory(workshop=workshop, code="CLECO-4", kind="cleco", diameter=Fraction(1, 8))
    known = {"gravity": Decimal("1.55"), "base": Decimal(100), "accelerator": Decimal(10)}
    sealant = factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g", **known)
    factories.RivetRowFactory(step=step, code="KEEL", rivet=rivet, holes=40, grip=Fraction(1, 4), cleco=cleco, cleco_every=3)
    factories.SeamFactory(step=step, code="KEEL", sealant=sealant)
    factories.stock(factories.LotFactory(bench=bench, item=sealant, code="S1", expires_on=date(2027, 6, 1)), 100, drawer)
    factories.SealingSupplyFactory(workshop=workshop, name="Cup")
    return step


def got(client, **said):
    answer = client.get(URL, {"step": "F3-05", **said})
    assert answer.status_code == 200, answer.json()
    return answer.json()


def test_api_gives_rows_seams_and_tools_with_their_reasons(client, furnished):
    found = got(client)

    (row,), (seam,), (cleco,) = found["rows"], found["seams"], found["clecos"]
    assert (found["step"], found["on"], found["done"]) == ("F3-05", "2027-03-06", False)
    assert (row["rivet"], row["rivets"], row["length"], row["grip"], row["length_by_grip"]) == (
        *("MS20470AD4-6", "40", "0.375"),
        *("0.25", "0.4375"),
    )
    assert row["question"].endswith("is the grip right?")
    assert (seam["grams"], seam["shape"]) == ("27.9", "triangle")
    assert (cleco["count"], cleco["colour"], cleco["until"]) == (14, "copper", None)
    assert [tool["use"] for tool in found["tools"]] == ["pilot", "final", "deburr"]
    assert {"name": "edge_distance", "value": "0.25", "text": "edge distance at least 2 D", "source": "AC 43.13-1B"} in (
        found["checks"][0]["figures"]
    )
    for part in (*found["needs"], row, seam, cleco, *found["sealants"]):
        assert part["trace"]


def test_api_gives_batches_where_enough_is_said(client, furnished):
    (sealant,) = got(client, **SAID)["sealants"]
    (batch,) = sealant["batches"]

    assert (batch["grams"], batch["lots"], batch["mix"]["base"]) == ("27.9", [{"lot": "S1", "grams": "27.9"}], "25.364")
    assert (sealant["largest_batch"], sealant["work_life_hours"], sealant["smallest_batch"]) == ("80", 2.0, "27.5")
    assert got(client, **SAID)["supplies"] == [{"name": "Cup", "each": "1", "total": "1", "unit": "ea"}]


def test_api_says_what_is_not_known(client, furnished):
    seam = furnished.seams.get()
    seam.sealant.gravity = seam.sealant.base = None
    seam.sealant.save()

    found = got(client, **SAID)
    assert (found["seams"][0]["grams"], found["seams"][0]["fault"]) == (None, "gravity: not known: read it off the data sheet")
    (sealant,) = found["sealants"]
    assert (sealant["grams"], sealant["mix"], sealant["batches"]) == (None, None, [])
    assert len(sealant["faults"]) == 2


def test_api_of_a_done_step_tells_what_it_needed(client, furnished):
    furnished.done = True
    furnished.save()

    found = got(client, **SAID)
    assert found["done"]
    assert {need["item"]: need["short"] for need in found["needs"]} == {"MS20470AD4-6": None, "CLECO-4": None, "SEAL-B2": None}
    assert found["sealants"][0]["batches"] == []


def test_api_fits_its_description(client, furnished):
    found = got(client, **SAID)

    assert found.keys() == StepOut().fields.keys()
    for name in ("needs", "rows", "checks", "tools", "clecos", "seams", "sealants", "supplies"):
        (field, *_), (one, *_) = [StepOut().fields[name].child], found[name]
        assert one.keys() == field.fields.keys()


@pytest.mark.parametrize(
    ("name", "value"),
    [("day", "soon"), ("people", "0"), ("pace", "-1"), ("temperature", "77"), ("division", "fine"), ("life-SEAL-B2", "2000")],
)
def test_api_names_a_bad_parameter(client, furnished, name, value):
    answer = client.get(URL, {"step": "F3-05", **SAID, name: value})

    assert answer.status_code == 400
    assert answer["Content-Type"] == "application/problem+json"
    assert list(answer.json()["errors"]) == [name]


def test_api_asks_for_the_step(client, step):
    answer = client.get(URL)

    assert (answer.status_code, answer.json()["errors"]) == (400, {"step": ["Give the step's code."]})


def test_api_reads_codes_with_slashes_in_one_way_only(client, bench, project):
    odd = factories.ProjectFactory(bench=bench, code="TERN-1/step")
    factories.StepFactory(project=odd, code="A/shortfall")

    found = client.get(f"/api/v1/projects/{odd.code}/step", {"step": "a/shortfall"}).json()
    assert (found["project"], found["step"]) == ("TERN-1/step", "A/shortfall")


@pytest.fixture
def ribs(step, workshop, builder):
    """A mirrored pair, of which the step takes the right one."""
    left, right = (factories.ItemFactory(workshop=workshop, code=code) for code in ("RIB-L", "RIB-R"))
    pair(left=left, right=right, by=builder)
    factories.CallOutFactory(step=step, item=right)


def test_api_sets_the_hand_of_a_step_by_its_etag_and_cautions_of_parts_of_the_other(client, as_member, builder, ribs, step):
    read = client.get(URL, {"step": "F3-05"})
    assert (read.json()["hand"], read.json()["cautions"]) == ("", [])
    assert client.get(URL, {"step": "F3-05"}, headers={"if-none-match": read["ETag"]}).status_code == 304

    def patch(body, **headers):
        return as_member(builder).patch(f"{URL}?step=f3-05", body, content_type="application/json", headers=headers)

    assert patch({"hand": "left"}).status_code == 428
    assert patch({"hand": "upper"}, **{"if-match": read["ETag"]}).json()["errors"].keys() == {"hand"}
    changed = patch({"hand": "left"}, **{"if-match": read["ETag"]})
    assert (changed.status_code, changed.json()["hand"]) == (200, "left")
    assert [one["text"].split(";")[0] for one in changed.json()["cautions"]] == ["the step is left hand, and RIB-R is a right part"]
    assert patch({"hand": "right"}, **{"if-match": read["ETag"]}).status_code == 412
    assert patch({"hand": ""}, **{"if-match": changed["ETag"]}).json()["hand"] == ""
    step.refresh_from_db()
    assert (step.hand, [row.hand for row in step.history.filter(history_user=builder)]) == ("", ["", "left"])


def test_api_lets_readers_set_no_hand(client, as_member, reader, step):
    read = client.get(URL, {"step": "F3-05"})
    said = {"content_type": "application/json", "headers": {"if-match": read["ETag"]}}
    assert as_member(reader).patch(f"{URL}?step=F3-05", {"hand": "left"}, **said).status_code == 403
    step.refresh_from_db()
    assert step.hand == ""


@pytest.mark.parametrize("code", ["NOPE", "OUTSIDE-STEP"])
def test_api_does_not_know_a_step_of_nobody_or_of_the_outsider(client, step, code):
    answer = client.get(URL, {"step": code})

    assert answer.status_code == 404
    assert answer["Content-Type"] == "application/problem+json"


def test_api_signed_out_is_401(step):
    assert APIClient().get(URL, {"step": "F3-05"}).status_code == 401


def test_api_makes_no_step(client, step):
    assert client.post(URL).status_code in {403, 405}
