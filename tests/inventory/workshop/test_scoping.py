"""No row of a workshop is read outside its scope."""

import pytest
from django.apps import apps
from django_scopes import get_scope, scope
from django_scopes.exceptions import ScopeError

from inventory.models import Item, Member, Workshop
from inventory.workshop.scoping import WorkshopManager

TENANTS = [
    model
    for app in ("inventory", "buildplan")
    for model in apps.get_app_config(app).get_models()
    if any(field.name == "workshop" for field in model._meta.get_fields()) and not hasattr(model, "history_id")
]


@pytest.mark.parametrize("model", TENANTS, ids=lambda model: model.__name__)
def test_table_with_a_workshop_is_scoped(model):
    assert isinstance(model._default_manager, WorkshopManager)


@pytest.mark.django_db
@pytest.mark.parametrize("read", [Item.objects.count, Member.objects.first, lambda: list(Item.objects.filter(code="X"))])
def test_read_outside_a_scope_raises(read):
    assert "workshop" not in get_scope()

    with pytest.raises(ScopeError, match="workshop"):
        read()


def test_read_sees_the_scope_s_own_rows(workshop, item):
    outside = Workshop.objects.get(code="OUTSIDE")

    assert list(Item.objects.all()) == [item]
    with scope(workshop=outside):
        assert [found.code for found in Item.objects.all()] == ["OUTSIDE-ITEM"]


def test_related_rows_are_scoped_too(workshop, item):
    outside = Workshop.objects.get(code="OUTSIDE")

    assert list(workshop.items.all()) == [item]
    assert list(outside.items.all()) == []
