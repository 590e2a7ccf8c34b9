"""The workshop's list of what a batch uses up."""

from decimal import Decimal

import pytest
from django_scopes import scopes_disabled

from buildplan.models import SealingSupply
from buildplan.sealing import supplies
from inventory.common.problems import Problem
from inventory.common.quantities import BadQuantity
from inventory.common.texts import BadText
from inventory.workshop.policy import NotAllowed
from tests import factories

CUP = {"name": "Cup", "quantity": Decimal("1.5"), "unit": "ea"}


def test_add_supply_puts_it_on_the_list_with_its_history(builder):
    found = supplies.add_supply(**CUP, by=builder)

    assert supplies.listed() == [found]
    assert (found.history.get().history_type, found.history.get().history_user) == ("+", builder)


@pytest.mark.parametrize(
    ("bad", "error"),
    [
        ({"name": " "}, BadText),
        ({"name": "x" * 81}, BadText),
        ({"unit": "\n"}, BadText),
        ({"quantity": Decimal(0)}, BadQuantity),
        ({"quantity": Decimal(-1)}, BadQuantity),
        ({"quantity": Decimal("0.0001")}, BadQuantity),
        ({"name": "CUP "}, supplies.NameTaken),
    ],
)
def test_add_supply_refuses_with_a_sentence_and_saves_nothing(builder, bad, error):
    supplies.add_supply(**CUP, by=builder)

    with pytest.raises(error):
        supplies.add_supply(**{**CUP, "name": "Glove", **bad}, by=builder)
    assert len(supplies.listed()) == 1


def test_change_supply_may_keep_its_name(builder):
    found = supplies.add_supply(**CUP, by=builder)

    supplies.change_supply(supply=found, name="cup", quantity=Decimal(2), unit="ea", by=builder)
    assert [(one.name, one.quantity) for one in supplies.listed()] == [("cup", 2)]


def test_remove_supply_keeps_its_history(builder):
    supplies.remove_supply(supply=supplies.add_supply(**CUP, by=builder), by=builder)

    assert supplies.listed() == []
    assert list(SealingSupply.history.filter(name="Cup").values_list("history_type", flat=True)) == ["-", "+"]


def test_start_list_is_for_an_empty_list_alone(builder):
    assert len(supplies.start_list(by=builder)) == len(supplies.OURS)
    assert supplies.start_list(by=builder) == ()
    assert len(supplies.listed()) == len(supplies.OURS)


@pytest.mark.parametrize("call", ["add", "start", "change", "remove"])
def test_reader_changes_nothing(reader, builder, call):
    found = supplies.add_supply(**CUP, by=builder)
    calls = {
        "add": lambda: supplies.add_supply(**{**CUP, "name": "Glove"}, by=reader),
        "start": lambda: supplies.start_list(by=reader),
        "change": lambda: supplies.change_supply(supply=found, **CUP, by=reader),
        "remove": lambda: supplies.remove_supply(supply=found, by=reader),
    }
    with pytest.raises(NotAllowed):
        calls[call]()
    assert supplies.listed() == [found]


def test_supply_of_another_workshop_is_not_changed(builder, outsider):
    with scopes_disabled():
        theirs = SealingSupply.objects.get(workshop=outsider)

    for call in (
        lambda: supplies.change_supply(supply=theirs, **CUP, by=builder),
        lambda: supplies.remove_supply(supply=theirs, by=builder),
    ):
        with pytest.raises(Problem):
            call()


def test_two_workshops_may_use_one_name(builder, outsider):
    with scopes_disabled():
        factories.SealingSupplyFactory(workshop=outsider, name="Cup")

    assert supplies.add_supply(**CUP, by=builder).name == "Cup"
