"""Accepting one rivet in place of another for a step: an inspector's, by a published rule, once, until withdrawn."""

from datetime import UTC, datetime
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from buildplan.hardware import services
from buildplan.hardware.models import Substitution
from buildplan.hardware.queries import rivets
from buildplan.plan.models import Step
from inventory.common.texts import BadText
from inventory.workshop.policy import NotAllowed
from tests import factories

NOW = datetime(2027, 2, 20, 12, tzinfo=UTC)
NOTE = "maker's letter of 3 February"


@pytest.fixture
def inspector(workshop):
    return factories.MemberFactory(workshop=workshop, role="inspector", name="Ines")


def rivet(workshop, code, **more):
    return factories.ItemFactory(workshop=workshop, code=code, kind="rivet", **more)


@pytest.fixture
def wanted(workshop):
    return rivet(workshop, "MS20470D4-6")


@pytest.fixture
def offered(workshop):
    return rivet(workshop, "MS20470AD5-7")


@pytest.fixture
def step(project, wanted):
    step = factories.StepFactory(project=project, code="F3-05")
    factories.RivetRowFactory(step=step, rivet=wanted)
    return step


@pytest.fixture
def accept(step, wanted, offered, inspector):
    def accept(**changes):
        given = {"step": step, "wanted": wanted, "served_by": offered, "note": NOTE, "now": NOW, "by": inspector}
        return services.accept_substitution(**{**given, **changes})

    return accept


def test_accept_keeps_who_when_and_on_what_word(accept, inspector):
    found = accept(note=f"  {NOTE} ")
    assert (found.by, found.at, found.note, found.withdrawn_at) == (inspector, NOW, NOTE, None)
    assert found.history.get().history_user == inspector


@pytest.mark.parametrize("role", ["owner", "storekeeper", "builder", "reader"])
def test_accept_and_withdraw_are_the_inspector_s(accept, workshop, role):
    other = factories.MemberFactory(workshop=workshop, role=role)
    with pytest.raises(NotAllowed, match="inspector"):
        accept(by=other)
    accepted = accept()
    with pytest.raises(NotAllowed, match="inspector"):
        services.withdraw_substitution(substitution=accepted, now=NOW, by=other)


@pytest.mark.parametrize("note", ["", "  ", "x" * 301, "a\nb"])
def test_accept_wants_a_note(accept, note):
    with pytest.raises(BadText):
        accept(note=note)


@pytest.mark.parametrize("code", ["MS20470AD4-6", "MS20426AD5-7", "MS20470AD5-8", "MS20470DD5-7", "BOLT-1"])
def test_accept_refuses_what_no_published_rule_lets_serve(accept, workshop, code):
    with pytest.raises(services.NoSubstitute, match="no published rule known here"):
        accept(served_by=rivet(workshop, code))


def test_accept_refuses_the_same_item(accept, wanted):
    with pytest.raises(services.NoSubstitute):
        accept(served_by=wanted)


def test_accept_refuses_another_stock_unit(accept, workshop):
    with pytest.raises(services.NoSubstitute, match="counted in ea, MS20470AD5-6 in lb"):
        accept(served_by=rivet(workshop, "MS20470AD5-6", unit="lb"))


def test_accept_refuses_what_the_step_does_not_need(accept, project):
    with pytest.raises(services.NoSubstitute, match="F9 doesn't need"):
        accept(step=factories.StepFactory(project=project, code="F9"))


def test_accept_takes_a_call_out_as_well(accept, project, wanted):
    step = factories.StepFactory(project=project)
    factories.CallOutFactory(step=step, item=wanted, quantity=Decimal(5))
    assert accept(step=step).step == step


def test_accept_knows_a_rivet_by_another_of_its_identifiers(accept, workshop):
    own = factories.ItemFactory(workshop=workshop, code="KIT-R17", kind="rivet", identifiers=["BAG-3", "AN470AD5-6"])
    assert accept(served_by=own).served_by == own


def test_accept_once_a_step_and_item_until_withdrawn(accept, workshop, inspector):
    first = accept()
    with pytest.raises(services.AlreadyAccepted, match="Ines accepted MS20470AD5-7 in place of MS20470D4-6 in F3-05"):
        accept(served_by=rivet(workshop, "MS20470AD5-6"))

    services.withdraw_substitution(substitution=first, now=NOW, by=inspector)
    accept()
    assert Substitution.objects.count() == 2


def test_withdraw_keeps_that_it_was_accepted_and_happens_once(accept, inspector):
    found = services.withdraw_substitution(substitution=accept(), now=NOW, by=inspector)
    assert (found.withdrawn_by, found.withdrawn_at, found.note) == (inspector, NOW, NOTE)
    with pytest.raises(services.Withdrawn):
        services.withdraw_substitution(substitution=found, now=NOW, by=inspector)


def test_step_that_is_done_stays_as_it_was_written_down(accept, step, inspector):
    accepted = accept()
    Step.objects.update(done=True)
    with pytest.raises(services.StepDone, match="take it back"):
        services.withdraw_substitution(substitution=accepted, now=NOW, by=inspector)
    with pytest.raises(services.StepDone):
        accept()


def test_accept_refuses_rows_of_the_outsider(accept, outsider, step):
    theirs = factories.ProjectFactory(bench__workshop=outsider)
    foreign = {
        "step": factories.StepFactory(project=theirs),
        "served_by": rivet(outsider, "MS20470AD5-7"),
        "wanted": rivet(outsider, "MS20470D4-6"),
        "by": factories.MemberFactory(workshop=outsider, role="inspector"),
    }
    for name, row in foreign.items():
        with pytest.raises(NotAllowed):
            accept(**{name: row})


def test_rivets_are_read_by_code_else_by_identifier(workshop, outsider):
    rivet(outsider, "MS20470AD4-4")
    coded = rivet(workshop, "AN470AD4-6")
    named = factories.ItemFactory(workshop=workshop, code="KIT-R17", kind="rivet", identifiers=["MS20426AD3-3.5"])
    rivet(workshop, "POP-3")
    factories.ItemFactory(workshop=workshop, code="MS20470AD4-5", kind="part")
    assert {item: found.standard for item, found in rivets().items()} == {coded.pk: "AN470", named.pk: "MS20426"}


@pytest.mark.parametrize(
    "bad",
    [{"withdrawn_at": NOW}, {"second": True}, {"same": True}],
    ids=["withdrawn by nobody", "a second one that stands", "for itself"],
)
def test_database_refuses_what_the_service_would(accept, step, wanted, offered, inspector, workshop, bad):
    row = {"workshop": workshop, "step": step, "wanted": wanted, "served_by": offered, "by": inspector, "note": NOTE}
    if bad.get("second"):
        accept()
    elif bad.get("same"):
        row["served_by"] = wanted
    else:
        row |= bad
    with pytest.raises(IntegrityError), transaction.atomic():
        Substitution.objects.create(**row)
