"""`manage.py shortfall`, called as pinned."""

import json
from datetime import date
from decimal import Decimal
from io import StringIO

import pytest
import time_machine
from django.core.management import CommandError, call_command
from django_scopes import scopes_disabled

from tests import factories

DAY = date(2027, 3, 6)


def run(*arguments):
    out = StringIO()
    call_command("shortfall", *arguments, stdout=out)
    return out.getvalue()


def answer(*arguments):
    return json.loads(run(*arguments, "--json"))


@pytest.fixture
def scene(workshop, bench, project):
    """The example of the design: 240 rivets needed by two steps, 112 in date, 50 that die too early."""
    rivet = factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", lead_days=5, pack=Decimal(100), kind="sealant")
    met = factories.ItemFactory(workshop=workshop, code="AN960-10")
    first = factories.StepFactory(project=project, code="F3-04", planned_on=date(2027, 3, 1))
    second = factories.StepFactory(project=project, code="F3-05", planned_on=DAY, after=[first])
    factories.CallOutFactory(step=first, item=rivet, quantity=Decimal(112))
    factories.CallOutFactory(step=second, item=rivet, quantity=Decimal(128))
    factories.CallOutFactory(step=second, item=met, quantity=Decimal(4))
    for code, quantity, expires in (("R7", 112, date(2027, 3, 1)), ("R8", 50, date(2027, 2, 28))):
        factories.stock(factories.LotFactory(bench=bench, item=rivet, code=code, expires_on=expires), quantity)
    factories.stock(factories.LotFactory(bench=bench, item=met), 10)


ASKED = ("--project", "TERN-1", "--before", "2027-03-13", "--as-of", "2027-02-20", "--workshop", "MARSH")


def test_shortfall_json_is_the_pinned_object(scene):
    found = answer(*ASKED)
    (line,) = found["lines"]
    trace = line.pop("trace")
    assert found == {"project": "TERN-1", "before": "2027-03-13", "as_of": "2027-02-20", "lines": [line]}
    assert line == {
        "item": "MS20470AD4-6",
        "unit": "ea",
        "needed": "240",
        "usable": "112",
        "in_transit": "0",
        "short": "128",
        "first_short": "2027-03-06",
        "order_by": "2027-02-26",
        "not_before": None,
        "buy": "200",
        "packs": "2",
        "unusable": [{"reason": "expired", "quantity": "50"}],
        "steps": ["F3-04", "F3-05"],
    }
    texts = [reason["text"] for reason in trace]
    assert any("serves until 2027-03-01, before F3-05 on 2027-03-06" in text for text in texts)
    assert {"text", "source"} == set(trace[0])
    assert any(reason["source"] == "expires 2027-03-01, as printed" for reason in trace)


def test_shortfall_without_before_has_null(scene):
    assert answer("--project", "TERN-1", "--workshop", "MARSH")["before"] is None


def test_shortfall_all_only_adds_lines(scene):
    short, every = answer(*ASKED)["lines"], answer(*ASKED, "--all")["lines"]
    assert [line for line in every if line["short"] != "0"] == short
    (met,) = [line for line in every if line["short"] == "0"]
    assert (met["item"], met["first_short"], met["order_by"], met["buy"], met["packs"]) == ("AN960-10", None, None, "0", None)


def test_shortfall_met_line_with_a_pack_has_no_packs(scene, workshop):
    with scopes_disabled():
        workshop.items.filter(code="AN960-10").update(pack=Decimal(50))
    (met,) = [line for line in answer(*ASKED, "--all")["lines"] if line["short"] == "0"]
    assert met["packs"] == "0"


def test_shortfall_text_fits_80_columns_and_says_why(scene):
    text = run(*ASKED)
    assert max(map(len, text.splitlines())) <= 80
    assert "2027-02-26 MS20470AD4-6" in text
    assert "MS20470AD4-6: first short on 2027-03-06 (F3-05) - 5 days lead - 3 days" in text
    assert "expired 50" in text


def test_shortfall_text_with_why_gives_every_reason(scene):
    text = run(*ASKED, "--why")
    assert max(map(len, text.splitlines())) <= 80
    assert "F3-05 needs 128 ea on 2027-03-06" in text


def test_shortfall_text_folds_a_long_code(scene, workshop, project):
    long = factories.ItemFactory(workshop=workshop, code="X" * 80)
    factories.CallOutFactory(step=project.steps.first(), item=long, quantity=Decimal(1))
    text = run(*ASKED)
    assert max(len(row) for row in text.splitlines() if "Why" not in row) <= 82
    assert text.count("X") >= 160


def test_shortfall_says_when_nothing_is_short(project):
    assert "Nothing is short" in run("--project", "TERN-1", "--workshop", "MARSH")


@time_machine.travel("2027-02-20T12:00:00Z")
def test_shortfall_counts_from_today(scene):
    assert answer("--project", "TERN-1", "--before", "today+21", "--workshop", "MARSH")["as_of"] == "2027-02-20"


def test_shortfall_of_an_unknown_project_is_bad_input(scene):
    with pytest.raises(CommandError, match=r"no project NOPE here: the projects are TERN-1") as error:
        run("--project", "NOPE", "--workshop", "MARSH")
    assert error.value.returncode == 1


def test_shortfall_of_the_outsider_s_project_is_unknown(scene, outsider):
    with pytest.raises(CommandError, match="no project OUTSIDE-PROJECT"):
        run("--project", "OUTSIDE-PROJECT", "--workshop", "MARSH")


def test_shortfall_with_several_workshops_asks_which(scene):
    with pytest.raises(CommandError, match="the workshops are MARSH, OUTSIDE"):
        run("--project", "TERN-1")


@pytest.mark.parametrize("text", ["2027-02-30", "soon", "2027-13-01", ""])
def test_shortfall_refuses_a_bad_date_as_wrong_usage(scene, text):
    with pytest.raises(CommandError, match="--before"):
        run("--project", "TERN-1", "--before", text)


def test_shortfall_joins_projects_and_labels_their_steps(scene, bench):
    second = factories.ProjectFactory(bench=bench, code="TERN-2")
    step = factories.StepFactory(project=second, code="A1", planned_on=DAY)
    with scopes_disabled():
        rivet = bench.workshop.items.get(code="MS20470AD4-6")
    factories.CallOutFactory(step=step, item=rivet, quantity=Decimal(10))
    found = answer("--project", "TERN-2", *ASKED)
    assert found["project"] == "TERN-2,TERN-1"
    assert found["lines"][0]["steps"] == ["TERN-1:F3-04", "TERN-2:A1", "TERN-1:F3-05"]


@pytest.fixture
def sealing(workshop, project):
    """A sealant that lives three months, short on two weekends too far apart for one purchase."""
    sealant = factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g", life_months=3, lead_days=10)
    for code, day in (("S1", DAY), ("S2", date(2027, 6, 12))):
        factories.CallOutFactory(step=factories.StepFactory(project=project, code=code, planned_on=day), item=sealant, quantity=Decimal(5))


def test_shortfall_json_says_the_first_day_to_buy_what_dies(sealing):
    """D = 12 June, from 12 March 92 days; floor(0.85 x 92) = 78: 26 March; less 10 days of lead time."""
    (line,) = answer("--project", "TERN-1", "--as-of", "2027-02-20", "--workshop", "MARSH")["lines"]
    assert (line["not_before"], line["order_by"]) == ("2027-03-16", "2027-02-21")
    assert any("MIL-DTL-5516D" in reason["source"] for reason in line["trace"])


def test_shortfall_text_says_an_empty_window(sealing):
    text = run("--project", "TERN-1", "--as-of", "2027-02-20", "--workshop", "MARSH")
    assert max(map(len, text.splitlines())) <= 80
    joined = " ".join(text.split())
    assert "not before 2027-03-16: no day to buy; it opens if S2 on 2027-06-12 comes on 2027-05-17 or before" in joined
    assert "short on several days: 2 purchases are needed" in joined
