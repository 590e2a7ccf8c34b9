"""What the history of an editable row keeps."""

from decimal import Decimal
from fractions import Fraction

from django_scopes import scopes_disabled

from inventory.common.history import changed_by
from inventory.models import Item
from tests import factories


def test_history_keeps_who_changed_a_row_and_what_it_was(workshop, owner):
    item = factories.ItemFactory(workshop=workshop, pack=Decimal("0.125"), diameter=Fraction(1, 8))

    item.pack = Decimal(100)
    changed_by(item, owner).save()

    now, before = item.history.all()
    assert (now.pack, now.history_user) == (Decimal(100), owner)
    assert (before.pack, before.diameter) == (Decimal("0.125"), Fraction(1, 8))


def test_history_survives_its_row(workshop, owner):
    item = factories.ItemFactory(workshop=workshop)
    item.identifiers.all().delete()

    changed_by(item, owner).delete()

    assert [row.history_type for row in Item.history.all() if row.code == item.code] == ["-", "+"]


def test_histories_hold_rows_of_every_workshop_unscoped(workshop, item):
    """A page that shows history must go through a row of the workshop: `Model.history` knows no scope."""
    with scopes_disabled():
        Item.objects.get(code="OUTSIDE-ITEM").save()
    codes = set(Item.history.values_list("code", flat=True))

    assert {item.code, "OUTSIDE-ITEM"} <= codes
    assert set(item.history.values_list("code", flat=True)) == {item.code}
