"""GET /api/v1/figures/."""

import re
from http import HTTPStatus

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rest_framework.test import APIClient

from buildplan.figures.calculators import CALCULATORS
from tests import factories
from tests.figures import BAD, CASES

URL = "/api/v1/figures/"
NAMES = sorted(CALCULATORS)
EXACT = re.compile(r"-?\d+(\.\d*[1-9])?|-?\d+/\d+", re.ASCII)


@pytest.fixture
def client(reader):
    found = APIClient()
    found.force_login(reader.user, backend="django.contrib.auth.backends.ModelBackend")
    return found


def rows(answer):
    found = {}
    for row in answer["results"]:
        found.setdefault(row["name"], []).append(f"{row['value']} {row['unit']}".strip())
    return found


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.name}: {case.source}")
def test_figure_is_what_its_source_says(client, case):
    answer = client.get(URL + case.name, case.asked)

    assert answer.status_code == HTTPStatus.OK, answer.json()
    found = rows(answer.json())
    assert {name: found.get(name) for name in case.found} == case.found
    assert answer.json()["figure"] == case.name


def test_every_calculator_has_a_case():
    assert {case.name for case in CASES} == set(CALCULATORS)


@pytest.mark.parametrize(("name", "changed", "field", "told"), BAD)
def test_bad_input_is_named_with_what_would_do(client, name, changed, field, told):
    answer = client.get(URL + name, {**CALCULATORS[name].example, **changed})

    assert answer.status_code == HTTPStatus.BAD_REQUEST, answer.json()
    assert answer["Content-Type"] == "application/problem+json"
    assert list(answer.json()["errors"]) == [field]
    (text,) = answer.json()["errors"][field]
    assert told in text
    assert text.endswith(" would do.")
    assert len(text) < 300


def test_every_input_has_a_bad_one():
    """Whatever is a text, a flag or a choice can be wrong; for each there is a refusal above."""
    assert {(name, field) for name, _, field, _ in BAD} == {(name, one.name) for name in NAMES for one in CALCULATORS[name].inputs}


def test_all_bad_inputs_are_named_at_once(client):
    answer = client.get(URL + "rivet-length", {"grip": "wide", "policy": "down"})

    assert set(answer.json()["errors"]) == {"grip", "diameter", "policy"}


def test_input_that_a_calculator_does_not_take_is_no_silent_typo(client):
    asked = {**CALCULATORS["seam-grams"].example, "loss": "15"}

    answer = client.get(URL + "seam-grams", asked)
    assert answer.status_code == HTTPStatus.BAD_REQUEST
    assert "loss_percent" in answer.json()["errors"]["loss"][0]


def test_blank_inputs_count_as_not_given(client):
    asked = {**CALCULATORS["drill-fit"].example, "name": ["  #40 "]}

    assert client.get(URL + "drill-fit", asked).json()["inputs"] == {"name": "#40", "rivet_diameter": "3/32"}


@pytest.mark.parametrize("name", NAMES)
def test_answer_is_exact_and_has_its_reasons(client, name):
    answer = client.get(URL + name, CALCULATORS[name].example).json()

    for row in answer["results"]:
        assert row["name"] in CALCULATORS[name].results
        assert row["unit"] not in {"in", "mm", "g"} or EXACT.fullmatch(row["value"]), row
    units = [(row["name"], row["unit"]) for row in answer["results"]]
    assert sum(unit == "in" for _, unit in units) == sum(unit == "mm" for _, unit in units)
    assert answer["trace"]
    assert answer["cautions"]
    assert all(reason["text"] and reason["source"] for reason in [*answer["trace"], *answer["cautions"]])


def test_third_of_an_inch_stays_a_third(client):
    answer = client.get(URL + "rivet-length", {"grip": "1/3", "diameter": "1/8", "policy": "up_half"}).json()

    assert rows(answer)["exact"] == ["25/48 in", "635/48 mm"]


def test_other_unit_is_told_in_the_trace(client):
    answer = client.get(URL + "rivet-length", {"grip": "1.6 mm", "diameter": '1/8"', "policy": "up_half"}).json()

    assert answer["trace"][0] == {"text": "grip: 1.6 mm = 0.062992 in", "source": "as entered"}
    assert rows(answer)["exact"][1] == "6.3625 mm"


def test_call_out_that_differs_becomes_a_question(client):
    asked = {"grip": ".064", "diameter": "3/32", "policy": "up_half", "call_out": "MS20470AD4-4"}

    cautions = [one["text"] for one in client.get(URL + "rivet-length", asked).json()["cautions"]]
    assert any("which is right?" in text for text in cautions)
    assert any("The call-out on the plans wins: is the grip right?" in text for text in cautions)


def test_call_out_that_agrees_asks_nothing(client):
    asked = {"grip": ".064", "diameter": "1/8", "policy": "up_half", "call_out": "MS20470AD4-4.5"}

    assert len(client.get(URL + "rivet-length", asked).json()["cautions"]) == 1


@pytest.mark.parametrize(
    ("name", "asked", "told"),
    [
        ("rivet-code", {"code": "MS20470DD6-8"}, "24 hours"),  # NAVEDTRA 14315 table 3-1
        ("rivet-code", {"code": "MS20470AD2-4"}, "nothing under 3/32 in for structure"),  # NAVEDTRA 14018
        ("drill", {"name": "#69"}, ".02925"),  # charts differ
        ("drill-fit", {"name": "#30", "rivet_diameter": "1/8"}, "from memory"),
        ("drill-fit", {"name": "#30", "rivet_diameter": "5/16"}, "No hole limits are known"),
        ("last-usable-day", {"made": "2024-02"}, "not the same as never"),
        ("mix", {"total": "55", "base": "100", "accelerator": "10"}, "chromium"),
        ("seam-grams", {"shape": "each", "grams_each": "10"}, "safety data sheet"),
        ("mean-kinetic-temperature", {"span": "1,20"}, "lengthens no life"),
        ("clecos", {"holes": "4", "every": "2", "diameter": "1/8"}, "colour is a label"),
    ],
)
def test_caution_stands_where_it_applies(client, name, asked, told):
    assert any(told in one["text"] for one in client.get(URL + name, asked).json()["cautions"])


def test_batches_name_their_lots_and_what_is_short(client):
    asked = {**CALCULATORS["batches"].example, "total": "200"}

    answer = client.get(URL + "batches", asked).json()
    assert [row["note"] for row in answer["results"] if row["name"] == "batch"] == ["lot S1", "lot S2"]
    assert rows(answer)["short"] == ["20 g"]


def test_batch_that_mixes_lots_says_so(client):
    asked = {**CALCULATORS["batches"].example, "total": "180", "lot": ["S1,60,2027-03-20", "S2,120,2027-04-30"], "least": "70"}

    notes = [row["note"] for row in client.get(URL + "batches", asked).json()["results"] if row["name"] == "batch"]
    assert "mixes 60.000 g of S1, 30.000 g of S2" in notes


def test_lot_that_is_not_there_yet_is_not_used(client):
    asked = {**CALCULATORS["batches"].example, "lot": ["S1,90,2027-03-20,2027-03-14"]}

    assert rows(client.get(URL + "batches", asked).json())["short"] == ["140 g"]


def test_list_names_every_calculator_with_its_inputs(client):
    answer = client.get(URL)

    assert answer.status_code == HTTPStatus.OK
    listed = {one["name"]: one for one in answer.json()["figures"]}
    assert sorted(listed) == NAMES
    assert [one["name"] for one in listed["drill-fit"]["inputs"]] == ["name", "rivet_diameter"]
    assert listed["rivet-length"]["inputs"][2]["choices"] == ["up_half", "nearest_half", "up_whole"]


@pytest.mark.parametrize("name", ["nope", "drill%00", "drill.json", "rivet-length "])
def test_unknown_calculator_is_a_404(client, name):
    answer = client.get(URL + name)

    assert answer.status_code == HTTPStatus.NOT_FOUND
    assert answer["Content-Type"] == "application/problem+json"


@pytest.mark.parametrize("path", ["", *NAMES, "nope"])
def test_signed_out_is_401(path, db):
    answer = APIClient().get(URL + path)

    assert answer.status_code == HTTPStatus.UNAUTHORIZED
    assert answer["Content-Type"] == "application/problem+json"


def test_without_a_workshop_is_404(workshop):
    client = APIClient()
    client.force_login(factories.UserFactory(), backend="django.contrib.auth.backends.ModelBackend")

    assert client.get(URL + "drill", {"name": "30"}).status_code == HTTPStatus.NOT_FOUND


def test_workshop_is_the_site_s_own_word(client, workshop):
    assert client.get(URL + "drill", {"name": "30", "workshop": "MARSH"}).status_code == HTTPStatus.OK
    assert client.get(URL + "drill", {"name": "30", "workshop": "OUTSIDE"}).status_code == HTTPStatus.NOT_FOUND


@pytest.mark.parametrize("method", ["post", "put", "delete"])
def test_figures_are_read_only(client, method):
    assert getattr(client, method)(URL + "drill").status_code in {HTTPStatus.FORBIDDEN, HTTPStatus.METHOD_NOT_ALLOWED}


@pytest.mark.parametrize("name", NAMES)
def test_figure_takes_the_same_queries_as_the_list(client, name):
    client.get(URL)  # the first request of a session notes where its person is signed in
    with CaptureQueriesContext(connection) as listed:
        client.get(URL)
    with CaptureQueriesContext(connection) as asked:
        client.get(URL + name, CALCULATORS[name].example)

    assert len(asked) == len(listed)


@pytest.mark.parametrize("name", NAMES)
@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_text_is_reckoned_or_refused(client, name, data):
    calculator = CALCULATORS[name]
    changed = data.draw(st.dictionaries(st.sampled_from([one.name for one in calculator.inputs]), st.text(max_size=80), min_size=1))

    answer = client.get(URL + name, {**calculator.example, **changed})
    assert answer.status_code in {HTTPStatus.OK, HTTPStatus.BAD_REQUEST}
    if answer.status_code == HTTPStatus.BAD_REQUEST:
        assert set(answer.json()["errors"]) <= {one.name for one in calculator.inputs}
