"""Requests made up from the API's own description: none is a 500, and each answer is as declared.

Half of what is made up names rows that are there, so that more is met than 404. What a request does is taken back after it: the order of
tests doesn't matter, and the same seed finds the same.
"""

from decimal import Decimal

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections, transaction
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import content_type_conformance, response_schema_conformance, status_code_conformance

from buildplan.site.reference import description
from inventory.models import Bag, Sender
from inventory.workshop.services import issue_device
from tests import factories

CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]
SCHEMA = schemathesis.openapi.from_dict(description())
OPERATIONS = {found.ok().label: found.ok() for found in SCHEMA.get_all_operations()}
POSITIVE, NEGATIVE = 6, 3  # examples of each operation: the whole takes less than a minute


@pytest.fixture
def known(bench, drawer, project, storekeeper):
    """Rows that are there, by the names that requests call them by."""
    workshop = bench.workshop
    item = factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g")
    lot = factories.LotFactory(bench=bench, item=item, code="R7")
    factories.stock(lot, 100, place=drawer, by=storekeeper)
    crate = factories.CrateFactory(bench=bench, code="CRATE-7")
    bag = Bag.objects.create(workshop=workshop, crate=crate, name="12", path="12")
    line = factories.PackingLineFactory(crate=crate, bag=bag, item=item, quantity=Decimal(10))
    Sender.objects.create(workshop=workshop, name="Kestrel Kits")
    return {
        "item": item.code,
        "bench": bench.code,
        "place": drawer.path,
        "to": drawer.path,
        "lot": lot.pk,
        "crate": crate.code,
        "bag": bag.pk,
        "line": line.pk,
        "sender": "Kestrel Kits",
        "step": "F3-05",
        "quantity": "1",
        "ids": {
            "items": item.pk,
            "identifiers": item.identifiers.first().pk,
            "places": drawer.pk,
            "lots": lot.pk,
            "movements": lot.movements.first().pk,
            "crates": crate.pk,
            "bags": bag.pk,
            "lines": line.pk,
            "benches": bench.pk,
            "members": storekeeper.pk,
            "projects": project.code,
        },
    }


@pytest.fixture
def _connection_stays():
    """The site closes its connection after a request; the test's transaction lives in it, as with Django's own test client."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.fixture
def send(storekeeper, settings, _connection_stays):
    """Sends a case as a device that may all that a storekeeper may; what it does is taken back."""
    settings.API_RATE = 10**9
    _, token = issue_device(member=storekeeper, name="Program", scopes=("manage",), by=storekeeper)
    application = get_wsgi_application()

    def send(case):
        with transaction.atomic():
            answer = case.call(app=application, base_url="http://localhost", headers={"Authorization": f"Bearer {token}"})
            transaction.set_rollback(True)
        return answer

    return send


def named_rows(case, known, draw):
    """Let the case name rows that are there, where it draws so."""
    part = case.path.split("/")[3]
    for name in case.path_parameters or {}:
        if part in known["ids"] and draw(st.booleans()):
            case.path_parameters[name] = known["ids"][part]
    for given_to in (case.query, case.body):
        if isinstance(given_to, dict):
            for name in sorted(known.keys() & given_to.keys()):
                if draw(st.booleans()):
                    given_to[name] = known[name]
    if "If-Match" in (case.headers or {}) and draw(st.booleans()):
        case.headers["If-Match"] = "*"


def cases(operation):
    """What is right by the description, and what isn't."""
    right = operation.as_strategy(generation_mode=GenerationMode.POSITIVE)
    takes = operation.body or operation.query or operation.path_parameters
    return right, operation.as_strategy(generation_mode=GenerationMode.NEGATIVE) if takes else None


def check(operation, strategy, count, known, send):
    @settings(
        max_examples=count, derandomize=True, database=None, deadline=None, suppress_health_check=list(HealthCheck), phases=[Phase.generate]
    )
    @given(case=strategy, data=st.data())
    def run(case, data):
        named_rows(case, known, data.draw)
        case.validate_response(send(case), checks=CHECKS)

    run()


@pytest.mark.parametrize("label", sorted(OPERATIONS))
def test_answers_are_as_declared(label, known, send):
    right, wrong = cases(OPERATIONS[label])
    check(OPERATIONS[label], right, POSITIVE, known, send)
    if wrong is not None:
        check(OPERATIONS[label], wrong, NEGATIVE, known, send)
