"""GET /api/v1/projects/{code}/shortfall."""

from datetime import date
from decimal import Decimal

import pytest
from rest_framework.test import APIClient

from buildplan.shortfall import queries
from buildplan.shortfall.answer import as_object
from tests import factories

URL = "/api/v1/projects/{}/shortfall"


@pytest.fixture
def client(reader):
    found = APIClient()
    found.force_login(reader.user, backend="django.contrib.auth.backends.ModelBackend")
    return found


@pytest.fixture
def wanted(project, item):
    step = factories.StepFactory(project=project, planned_on=date(2027, 3, 6))
    return factories.CallOutFactory(step=step, item=item, quantity=Decimal("2.5"))


def test_api_gives_the_same_object_as_the_command(client, project, wanted):
    found = client.get(URL.format("tern-1"), {"before": "2027-03-13", "as_of": "2027-02-20"})
    assert found.status_code == 200
    asked = queries.shortfall(queries.projects(["TERN-1"]), before=date(2027, 3, 13), as_of=date(2027, 2, 20))
    assert found.json() == as_object(asked)
    assert found.json()["lines"][0]["short"] == "2.5"


def test_api_adds_met_lines_when_asked(client, bench, project, wanted):
    factories.stock(factories.LotFactory(bench=bench, item=wanted.item), 10)
    assert client.get(URL.format("TERN-1")).json()["lines"] == []
    assert [line["short"] for line in client.get(URL.format("TERN-1"), {"all": "true"}).json()["lines"]] == ["0"]


def test_api_nets_further_projects_together(client, bench, project, wanted):
    factories.ProjectFactory(bench=bench, code="TERN-2")
    assert client.get(URL.format("TERN-1"), {"project": "TERN-2"}).json()["project"] == "TERN-1,TERN-2"


@pytest.mark.parametrize(("name", "value"), [("before", "2027-02-30"), ("as_of", "soon"), ("all", "perhaps")])
def test_api_names_a_bad_parameter(client, project, name, value):
    found = client.get(URL.format("TERN-1"), {name: value})
    assert found.status_code == 400
    assert found["Content-Type"] == "application/problem+json"
    assert name in found.json()["errors"]


@pytest.mark.parametrize("code", ["NOPE", "OUTSIDE-PROJECT"])
def test_api_does_not_know_a_project_of_nobody_or_of_the_outsider(client, project, code):
    found = client.get(URL.format(code))
    assert found.status_code == 404
    assert found["Content-Type"] == "application/problem+json"
    assert "OUTSIDE" not in found.json()["detail"].replace(code, "")


def test_api_refuses_projects_of_two_benches(client, project, other_bench):
    factories.ProjectFactory(bench=other_bench, code="PLOVER-1")
    found = client.get(URL.format("TERN-1"), {"project": "PLOVER-1"})
    assert found.status_code == 400
    assert "ask for them one by one" in found.json()["detail"]


def test_api_signed_out_is_401(project):
    found = APIClient().get(URL.format("TERN-1"))
    assert found.status_code == 401
    assert found["Content-Type"] == "application/problem+json"


def test_api_without_a_workshop_is_404(project):
    client = APIClient()
    client.force_login(factories.UserFactory(), backend="django.contrib.auth.backends.ModelBackend")
    assert client.get(URL.format("TERN-1")).status_code == 404


def test_api_in_a_workshop_of_somebody_else_is_404(client, project):
    assert client.get(URL.format("OUTSIDE-PROJECT"), {"workshop": "OUTSIDE"}).status_code == 404


def test_api_is_read_only(client, project):
    assert client.post(URL.format("TERN-1")).status_code in {403, 405}
