"""`manage.py trace`: text for people, the API's object for programs, 1 for what isn't here."""

import json
from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from buildplan.records.services import Use, finish_step
from buildplan.trace import answer as answers
from buildplan.trace import queries
from inventory.stock import services as stock
from tests import factories
from tests.factories import DAY


def run(*arguments):
    out = StringIO()
    call_command("trace", *arguments, "--workshop", "MARSH", stdout=out)
    return out.getvalue()


@pytest.fixture
def lot(bench, drawer, owner, project):
    """A lot of which a step took three."""
    item = factories.ItemFactory(workshop=bench.workshop, code="MS20470AD4-6", kind="rivet")
    lot = factories.LotFactory(bench=bench, item=item, code="R7")
    stock.receive(lot=lot, quantity=Decimal(10), place=drawer, on=DAY, by=owner)
    finish_step(step=factories.StepFactory(project=project, code="F3-05"), on=DAY, uses=[Use(lot, drawer, Decimal(3))], by=owner)
    return lot


def test_a_lot_is_told_by_its_code_or_its_number_in_text_and_as_an_object(lot):
    assert "certain  taken by a step: 3 ea TERN-1 F3-05" in run("--lot", "r7")
    assert "the ledger, line" in run("--lot", f"#{lot.pk}", "--why")
    assert json.loads(run("--lot", f"#{lot.pk}", "--json")) == json.loads(json.dumps(answers.as_object(queries.from_lot(lot))))
    assert "lot R7 of MS20470AD4-6" in run("--project", "TERN-1", "--step", "F3-05")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--lot", "OUTSIDE-LOT"], "no lot here has the code"),
        ([], "say what to trace"),
        (["--project", "NONE"], "there is no project NONE"),
    ],
)
def test_what_is_not_here_is_an_error_of_bad_input(workshop, arguments, says):
    with pytest.raises(CommandError, match=says) as error:
        run(*arguments)
    assert error.value.returncode == 1
