"""Every address of the site: an outsider's rows are a 404, and who isn't signed in is sent to sign in.

The rows are made from the URL configuration: an address that nobody described here fails.
"""

from collections.abc import Iterator
from fractions import Fraction
from http import HTTPStatus

import pytest
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django_scopes import scopes_disabled

from buildplan.figures.calculators import CALCULATORS
from buildplan.models import RivetLoss, RivetRow, SealingSupply, Seam, Step, Substitution
from inventory.models import Bag, Crate, Holding, Item, Lot, Member, Movement, PackingLine
from tests import factories

# Open to everyone: they are how one gets in and out.
OPEN = {"sign-in", "sign-in-link", "sign-out"}
# Of no row: what they list is looked through for the outsider's names below.
LISTS = {"home", "plans", "order-sheets", "shelves", "crates", "supplies", "figures", "api-figures", "settings"}
# One's own, whatever the workshop.
OWN = {"password", "workshop"}
# Reckoned from the address alone: no row stands behind it.
RECKONED = {f"api-figure-{name}" for name in CALCULATORS}
# For programs: without a session they are a 401.
API = {"api-shortfall", "api-pins", "api-step", "api-figures", "api-figure", *RECKONED}

# What each address of a row is given of the outsider's. `one` finds the first row of a model there.
FOREIGN = {
    "plan": lambda one: ["OUTSIDE-PROJECT"],
    "planned": lambda one: ["OUTSIDE-PROJECT", "OUTSIDE-STEP"],
    "step": lambda one: ["OUTSIDE-PROJECT", "OUTSIDE-STEP"],
    "take-back": lambda one: ["OUTSIDE-PROJECT", "OUTSIDE-STEP"],
    "step-sheet": lambda one: ["OUTSIDE-PROJECT", "OUTSIDE-STEP"],
    "supply": lambda one: [one(SealingSupply)],
    "order-sheet": lambda one: ["OUTSIDE-PROJECT"],
    "order-sheet-csv": lambda one: ["OUTSIDE-PROJECT"],
    "pins": lambda one: ["OUTSIDE-PROJECT"],
    "substitutions": lambda one: ["OUTSIDE-PROJECT", "OUTSIDE-STEP"],
    "withdraw": lambda one: [one(Substitution)],
    "add-row": lambda one: ["OUTSIDE-PROJECT", "OUTSIDE-STEP"],
    "row": lambda one: [one(RivetRow)],
    "remove-row": lambda one: [one(RivetRow)],
    "add-seam": lambda one: ["OUTSIDE-PROJECT", "OUTSIDE-STEP"],
    "seam": lambda one: [one(Seam)],
    "remove-seam": lambda one: [one(Seam)],
    "remove-loss": lambda one: [one(RivetLoss)],
    "ordered": lambda one: ["OUTSIDE-PROJECT", one(Item)],
    "lot": lambda one: [one(Lot)],
    "lot-state": lambda one: [one(Lot)],
    "lot-dates": lambda one: [one(Lot)],
    "count": lambda one: [one(Lot), one(Holding, "place_id")],
    "reverse": lambda one: [one(Movement)],
    "crate": lambda one: [one(Crate)],
    "due": lambda one: [one(Crate)],
    "crate-arrived": lambda one: [one(Crate)],
    "bag-arrived": lambda one: [one(Bag)],
    "arrived": lambda one: [one(PackingLine)],
    "api-shortfall": lambda one: ["OUTSIDE-PROJECT"],
    "api-pins": lambda one: ["OUTSIDE-PROJECT"],
    "api-step": lambda one: ["OUTSIDE-PROJECT"],
    "figure": lambda one: ["outside"],
    "api-figure": lambda one: ["outside"],
}
GIVEN = {"quantity": "1", "on": "2027-02-20", "state": "good", "counted": "1", "place": "Shelf", "due_on": "", "seen": "1"}


def names(patterns: list[URLPattern | URLResolver]) -> Iterator[str | None]:
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            yield from names(pattern.url_patterns)
        else:
            yield pattern.name


NAMED = sorted(name or "" for name in names(get_resolver().url_patterns))


def _accepted(outsider):
    wanted, served_by = (factories.ItemFactory(workshop=outsider, code=f"OUTSIDE-{code}", kind="rivet") for code in ("D", "AD"))
    step = Step.objects.get(workshop=outsider)
    by = Member.objects.filter(workshop=outsider).first()
    Substitution.objects.create(workshop=outsider, step=step, wanted=wanted, served_by=served_by, by=by, note="OUTSIDE note")


@pytest.fixture
def address(outsider):
    """The address of a name, with the outsider's rows in it."""
    with scopes_disabled():
        crate = Crate.objects.get(workshop=outsider)
        Bag.objects.create(workshop=outsider, crate=crate, name="7A", path="7A")
        RivetLoss.objects.create(workshop=outsider, diameter=Fraction(1, 8), percent=5)
        _accepted(outsider)
        step = Step.objects.get(workshop=outsider)
        factories.RivetRowFactory(step=step, code="OUTSIDE-ROW")
        factories.SeamFactory(step=step, code="OUTSIDE-SEAM")

    def one(model, field="pk"):
        with scopes_disabled():
            return model.objects.filter(workshop=outsider).order_by("pk").values_list(field, flat=True)[0]

    return lambda name: reverse(name, args=FOREIGN.get(name, lambda one: ["MQ", "x-y"] if name == "sign-in-link" else [])(one))


def rows_untouched(outsider):
    with scopes_disabled():
        assert Movement.objects.filter(workshop=outsider).count() == 1
        assert not Lot.objects.filter(workshop=outsider).exclude(state="good").exists()
        assert Crate.objects.filter(workshop=outsider).count() == 1
        assert not Substitution.objects.filter(workshop=outsider).exclude(withdrawn_at=None).exists()
        assert [list(model.objects.filter(workshop=outsider).values_list("code", flat=True)) for model in (RivetRow, Seam)] == [
            ["OUTSIDE-ROW"],
            ["OUTSIDE-SEAM"],
        ]


def test_every_address_is_described_here_once():
    described = sorted([*OPEN, *LISTS, *OWN, *RECKONED, *FOREIGN])

    assert described == NAMED, "give a new address its row in FOREIGN, or say in LISTS, OWN or OPEN why it has none"


@pytest.mark.parametrize("name", sorted(FOREIGN))
@pytest.mark.parametrize("method", ["get", "post"])
def test_outsider_s_row_is_not_found(as_member, owner, outsider, address, name, method):
    answer = getattr(as_member(owner), method)(address(name), GIVEN if method == "post" else {})

    assert answer.status_code in {HTTPStatus.NOT_FOUND, HTTPStatus.METHOD_NOT_ALLOWED}
    assert not any(named in answer.content.decode() for named in ("OUTSIDE-BENCH", "OUTSIDE-ITEM", "OUTSIDE-LOT", "Project OUTSIDE"))
    rows_untouched(outsider)


@pytest.mark.parametrize("name", sorted(FOREIGN))
def test_outsider_s_row_is_not_found_by_one_of_the_methods(as_member, owner, address, name):
    client = as_member(owner)

    assert HTTPStatus.NOT_FOUND in {client.get(address(name)).status_code, client.post(address(name), GIVEN).status_code}


@pytest.mark.parametrize("name", sorted(LISTS))
def test_list_never_names_the_outsider(as_member, owner, project, name):
    answer = as_member(owner).get(reverse(name), follow=True)

    assert answer.status_code == HTTPStatus.OK
    assert "OUTSIDE" not in answer.content.decode()


@pytest.mark.parametrize("name", sorted({*NAMED} - OPEN - API))
@pytest.mark.parametrize("method", ["get", "post"])
def test_who_is_not_signed_in_is_sent_to_sign_in(client, outsider, address, name, method):
    answer = getattr(client, method)(address(name))

    if answer.status_code != HTTPStatus.METHOD_NOT_ALLOWED:
        assert answer.status_code == HTTPStatus.FOUND
        assert answer.url.startswith(f"{reverse('sign-in')}?next=")
    rows_untouched(outsider)


@pytest.mark.parametrize("name", sorted(API))
def test_program_without_a_session_is_told_so(client, address, name):
    assert client.get(address(name)).status_code == HTTPStatus.UNAUTHORIZED


def test_item_of_the_outsider_is_not_ordered_for_our_project(as_member, owner, project, outsider):
    with scopes_disabled():
        item = Item.objects.get(workshop=outsider)

    answer = as_member(owner).post(reverse("ordered", args=[project.code, item.pk]), GIVEN)
    assert answer.status_code == HTTPStatus.NOT_FOUND


def test_place_of_the_outsider_is_not_counted_for_our_lot(as_member, owner, lot, outsider):
    with scopes_disabled():
        place = Holding.objects.get(workshop=outsider).place_id

    assert as_member(owner).post(reverse("count", args=[lot.pk, place]), GIVEN).status_code == HTTPStatus.NOT_FOUND
