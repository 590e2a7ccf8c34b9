"""Repair by hand: who gets in, what shows, what can be written, and that the ledger can't."""

from http import HTTPStatus

import pytest
from django.urls import reverse
from django_scopes import scopes_disabled

from buildplan.models import Step
from inventory.models import Holding, Item, Lot, Member, Movement, Scan, User
from inventory.workshop.models import Role
from inventory.workshop.repair import SECRET, site
from inventory.workshop.scoping import WorkshopManager
from tests import factories
from tests.pages import Page, invalid
from tests.test_isolation import furnish

INDEX = "repair:index"


def address(model, kind="changelist", *args):
    return reverse(f"repair:{model._meta.app_label}_{model._meta.model_name}_{kind}", args=args)


@pytest.fixture
def everything(workshop):
    """Ours, with a row of each kind."""
    with scopes_disabled():
        return factories.furnished_workshop("OURS")


@pytest.fixture
def keeper(everything):
    furnish(everything)
    with scopes_disabled():
        return Member.objects.filter(workshop=everything).first()


def first(model, workshop):
    with scopes_disabled():
        return model._default_manager.filter(**({"pk": workshop.pk} if model.__name__ == "Workshop" else {"workshop": workshop})).first()


@pytest.mark.parametrize("role", list(Role))
def test_repair_is_for_owners(workshop, as_member, role):
    client = as_member(factories.MemberFactory(workshop=workshop, role=role))
    answer = client.get(reverse(INDEX))

    assert answer.status_code == (HTTPStatus.OK if role == Role.OWNER else HTTPStatus.FORBIDDEN)
    assert client.get(address(Item)).status_code == answer.status_code


def test_repair_is_for_a_superuser_who_is_a_member(workshop, as_member, client):
    member = factories.MemberFactory(workshop=workshop, role="reader")
    User.objects.filter(pk=member.user_id).update(is_superuser=True, is_staff=True)
    assert as_member(member).get(reverse(INDEX)).status_code == HTTPStatus.OK

    client.force_login(factories.UserFactory(is_superuser=True, is_staff=True), "django.contrib.auth.backends.ModelBackend")
    assert client.get(reverse(INDEX)).status_code == HTTPStatus.FORBIDDEN


def test_stranger_signs_in_first(client, lot):
    for where in (reverse(INDEX), address(Lot), address(Lot, "change", lot.pk), address(Lot, "history", lot.pk)):
        assert client.get(where).url == f"{reverse('sign-in')}?next={where}"


def test_every_table_is_scoped_to_a_workshop():
    managers = {model.__name__ for model in site._registry if not isinstance(model._default_manager, WorkshopManager)}

    assert managers == {"Workshop"}
    assert not {User, *(model for model in site._registry if model.__name__.startswith("Historical"))} & set(site._registry)


def test_every_page_of_every_table_shows_our_rows_and_no_secret(everything, keeper, outsider, as_member):
    client, wrong = as_member(keeper), {}
    for model in site._registry:
        row = first(model, everything)
        for where in [address(model)] + ([address(model, "change", row.pk), address(model, "history", row.pk)] if row else []):
            answer = client.get(where)
            text = answer.content.decode()
            faults = [] if answer.status_code == HTTPStatus.OK else [answer.status_code]
            faults += Page(text).faults + (invalid(text) if model in {Item, Movement} else [])
            if faults or "OUTSIDE-BENCH" in text or "Project OUTSIDE" in text or "For repair." not in text:
                wrong[where] = faults
        if row:
            text = client.get(address(model, "change", row.pk)).content.decode()
            wrong |= {f"{model.__name__} shows {name}": 1 for name in SECRET if f"<dt>{name.capitalize()}</dt>" in text}

    assert wrong == {}


def test_row_of_another_workshop_is_not_found(outsider, owner, as_member):
    furnish(outsider)
    client, found = as_member(owner), {}
    for model in site._registry:
        if row := first(model, outsider):
            for kind in ("change", "history"):
                found[model.__name__, kind] = client.get(address(model, kind, row.pk)).status_code
            found[model.__name__, "post"] = client.post(address(model, "change", row.pk), {"name": "mine", "why": "x"}).status_code

    assert set(found.values()) == {HTTPStatus.NOT_FOUND}
    for text in ("0", "x", "9" * 40, "1/2"):
        assert client.get(f"{address(Item)}{text}/change/").status_code == HTTPStatus.NOT_FOUND


def test_name_is_put_right_with_its_reason_by_the_member(owner, item, as_member):
    client, where = as_member(owner), address(Item, "change", item.pk)
    assert client.post(where, {"name": "a rib"}).status_code == HTTPStatus.OK  # no reason: asked again
    assert Item.objects.get(pk=item.pk).name == "a thing"

    assert client.post(where, {"name": "a rib", "why": "typed wrong", "code": "OTHER", "unit": "g"}).status_code == HTTPStatus.FOUND
    row = Item.objects.get(pk=item.pk)
    assert (row.name, row.code, row.unit) == ("a rib", item.code, "ea")
    kept = row.history.first()
    assert (kept.history_user, kept.history_change_reason, kept.name) == (owner, "typed wrong", "a rib")
    assert "typed wrong" in client.get(address(Item, "history", item.pk)).content.decode()


def test_nothing_is_written_where_nothing_differs(owner, item, as_member):
    before = item.history.count()
    as_member(owner).post(address(Item, "change", item.pk), {"name": item.name, "why": "looked"})
    assert item.history.count() == before


def test_ledger_and_what_was_answered_only_show(everything, keeper, as_member):
    client = as_member(keeper)
    for model in (Movement, Holding, Scan):
        row = first(model, everything)
        before = {field.attname: getattr(row, field.attname) for field in model._meta.concrete_fields}
        answer = client.post(address(model, "change", row.pk), {"quantity": "1", "note": "mine", "why": "x"})
        assert answer.status_code == HTTPStatus.FORBIDDEN, model
        again = first(model, everything)
        assert {field.attname: getattr(again, field.attname) for field in model._meta.concrete_fields} == before
        assert '<form method="post" class="narrow"' not in client.get(address(model, "change", row.pk)).content.decode()


def test_no_table_has_an_address_to_add_or_delete():
    names = {pattern.name for resolver in site.urls[0][1:] for pattern in resolver.url_patterns}

    assert {name.rsplit("_", 1)[1] for name in names} == {"changelist", "history", "change"}


def test_a_table_without_a_history_cannot_be_written():
    assert all(hasattr(model, "history") for model, admin in site._registry.items() if admin.editable)


def test_a_list_takes_as_many_queries_for_many_rows(owner, bench, project, item, queries_of):
    factories.StepFactory(project=project)
    factories.stock(factories.LotFactory(bench=bench, item=item), 1)
    before = {model: queries_of(owner, address(model)) for model in (Step, Lot, Movement, Holding)}
    for _ in range(4):
        factories.StepFactory(project=project)
        factories.stock(factories.LotFactory(bench=bench, item=item), 1)

    assert {model: queries_of(owner, address(model)) for model in before} == before
