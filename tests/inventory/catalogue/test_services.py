"""Items and their codes: what each service does, and what it refuses."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from django_scopes import ScopeError, scopes_disabled

from inventory.catalogue import queries, services
from inventory.catalogue.services import ItemData
from inventory.common.texts import BadText
from inventory.models import Identifier, Item
from inventory.workshop.policy import NotAllowed
from tests import factories

RIVET = ItemData("AN470AD4-6", "rivet", "rivet", "ea", ("MS20470AD4-6",), pack=Decimal(100), lead_days=5, diameter=Fraction(1, 8))
SEALANT = ItemData("PR-1", "sealant", "sealant", "g", life_months=9, open_life_days=14, min_life_days=5, gravity=Decimal("1.65"))


@pytest.fixture
def foreign_item(outsider):
    with scopes_disabled():
        return Item.objects.get(workshop=outsider)


@pytest.fixture
def save(storekeeper):
    def save(*items, **given):
        return services.save_items(**{"items": items, "by": storekeeper, **given})

    return save


def faults(save, *items):
    with pytest.raises(services.BadItems) as caught:
        save(*items)
    return [(fault.index, fault.column, fault.text) for fault in caught.value.faults]


class TestSaveItems:
    def test_save_items_makes_items_with_all_their_codes(self, save, workshop, storekeeper):
        saved = save(RIVET, SEALANT)

        assert (saved.made, saved.changed, saved.identifiers) == (2, 0, 3)
        item = Item.objects.get(code="AN470AD4-6")
        assert (item.pack, item.diameter, item.lead_days, item.workshop) == (100, Fraction(1, 8), 5, workshop)
        assert queries.find(workshop, "ms20470 ad4-6") == queries.find(workshop, "AN470AD4-6") == item == saved.items[0]
        assert item.history.get().history_user == storekeeper
        assert Identifier.history.count() >= 3

    def test_save_items_again_changes_nothing(self, save):
        save(RIVET, SEALANT)
        saved = save(RIVET, SEALANT)

        assert (saved.made, saved.changed, saved.identifiers) == (0, 0, 0)
        assert Item.objects.get(code="PR-1").history.count() == 1

    def test_save_items_changes_what_is_stated_alone(self, save):
        save(RIVET)
        other = replace(RIVET, code="an470 ad4-6", name="universal rivet", pack=None, lead_days=9, identifiers=("NEW-1",))

        saved = save(other, stated={"lead_days"})

        item = Item.objects.get()
        assert (saved.changed, saved.identifiers) == (1, 1)
        assert (item.code, item.name, item.lead_days, item.pack) == ("AN470AD4-6", "universal rivet", 9, 100)
        assert set(item.identifiers.values_list("text", flat=True)) == {"AN470AD4-6", "MS20470AD4-6", "NEW-1"}

    def test_save_items_blanks_what_is_stated_as_blank(self, save):
        save(RIVET)
        save(replace(RIVET, pack=None))

        assert Item.objects.get().pack is None

    def test_save_items_names_each_fault_of_each_item(self, save):
        bad = ItemData("", " ", "thing", "EA", pack=Decimal("0.0001"), life_months=0)

        found = faults(save, RIVET, bad)

        assert [(index, column) for index, column, _ in found] == [
            (1, "code"),
            (1, "name"),
            (1, "kind"),
            (1, "unit"),
            (1, "pack"),
            (1, "life_months"),
        ]
        assert not Item.objects.exists()

    def test_save_items_refuses_a_code_of_another_item(self, save):
        save(RIVET)

        found = faults(save, replace(SEALANT, identifiers=("ms20470ad4-6",)), replace(RIVET, code="MS20470AD4-6", identifiers=()))

        assert found == [
            (0, "identifiers", "ms20470ad4-6 already means AN470AD4-6: a code means one item"),
            (1, "code", "MS20470AD4-6 already means AN470AD4-6: a code means one item"),
        ]

    def test_save_items_refuses_a_code_twice_in_the_list(self, save):
        found = faults(save, RIVET, replace(RIVET, code="an470ad4-6 "), replace(SEALANT, identifiers=("AN470AD4-6",)))

        assert [(index, column) for index, column, _ in found] == [(1, "code"), (2, "identifiers")]

    def test_save_items_takes_a_code_of_the_outsiders(self, save, foreign_item):
        assert save(replace(RIVET, code=foreign_item.code)).made == 1

    def test_save_items_changes_the_unit_of_an_item_that_nothing_counts(self, save):
        save(SEALANT)
        save(replace(SEALANT, unit="kg"))

        assert Item.objects.get().unit == "kg"

    @pytest.mark.parametrize("factory", [factories.LotFactory, factories.PackingLineFactory, factories.CallOutFactory])
    def test_save_items_refuses_another_unit_once_something_counts_in_it(self, save, bench, factory):
        item = save(SEALANT).items[0]
        owner = {
            factories.LotFactory: lambda: {"bench": bench},
            factories.PackingLineFactory: lambda: {"crate": factories.CrateFactory(bench=bench)},
            factories.CallOutFactory: lambda: {"step": factories.StepFactory(project=factories.ProjectFactory(bench=bench))},
        }[factory]()
        factory(item=item, **owner)

        assert faults(save, replace(SEALANT, unit="kg")) == [(0, "unit", "PR-1 is counted in g already: its unit can't become kg")]

    def test_save_items_takes_no_more_queries_for_many(self, save, django_assert_max_num_queries):
        for count in (1, 30):
            items = [replace(RIVET, code=f"X{count}-{n}", identifiers=(f"Y{count}-{n}",)) for n in range(count)]
            with django_assert_max_num_queries(14):
                save(*items)

    def test_save_items_refuses_builder(self, save, builder):
        with pytest.raises(NotAllowed):
            save(RIVET, by=builder)

    def test_save_items_outside_a_scope_raises(self, outsider):
        with scopes_disabled():
            by = factories.MemberFactory(workshop=outsider)

        with pytest.raises(ScopeError):
            services.save_items(items=[RIVET], by=by)


class TestAddIdentifier:
    def test_add_identifier_teaches_a_code_once(self, item, workshop, storekeeper):
        first = services.add_identifier(item=item, text=" Bag 12 ", by=storekeeper)

        assert (first.text, first.key) == ("Bag 12", "BAG12")
        assert services.add_identifier(item=item, text="BAG12", by=storekeeper) == first
        assert queries.find(workshop, "bag 12") == item
        assert first.history.get().history_user == storekeeper

    def test_add_identifier_refuses_a_code_of_another_item(self, item, workshop, storekeeper):
        other = factories.ItemFactory(workshop=workshop)

        with pytest.raises(services.CodeTaken, match=f"{item.code} already means {item.code}"):
            services.add_identifier(item=other, text=item.code, by=storekeeper)

    def test_add_identifier_refuses_blank_long_builder_and_foreign(self, item, storekeeper, builder, foreign_item):
        for text in (" ", "x" * 81, "ß" * 80):
            with pytest.raises(BadText):
                services.add_identifier(item=item, text=text, by=storekeeper)
        for row, by in ((item, builder), (foreign_item, storekeeper)):
            with pytest.raises(NotAllowed):
                services.add_identifier(item=row, text="NEW", by=by)


def test_find_takes_one_query_and_never_a_foreign_item(workshop, item, foreign_item, django_assert_num_queries):
    with django_assert_num_queries(1):
        assert queries.find(workshop, item.code.lower()) == item
    assert queries.find(workshop, foreign_item.code) is None


@pytest.mark.parametrize("text", ["", "\0", "x" * 5000, "nothing'; --"])
def test_find_of_a_text_that_is_no_code_is_none(workshop, item, text):
    assert queries.find(workshop, text) is None


def test_codes_are_all_of_ours_in_one_query(workshop, item, storekeeper, django_assert_num_queries):
    services.add_identifier(item=item, text="alias", by=storekeeper)

    with django_assert_num_queries(1):
        assert queries.codes(workshop) == {item.code: item.pk, "ALIAS": item.pk}
