"""Labels are made once, and stay."""

from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django_scopes import scopes_disabled

from inventory.common.problems import FieldProblem, NotHere
from inventory.labels import queries, services
from inventory.labels.calc import STARTING
from inventory.labels.drawing import Job, TooMany
from inventory.labels.queries import Thing
from inventory.models import Label, LabelSheet, Lot, Place
from inventory.scanning.calc import is_token
from inventory.stock.models import End
from inventory.stock.services import end_place
from inventory.workshop.policy import NotAllowed
from tests import factories

BASE = "https://rivetloft.club.example"
MEASURES = {
    "page_width": Decimal(210),
    "page_height": Decimal(297),
    "left": Decimal(8),
    "top": Decimal("12.5"),
    "columns": 3,
    "rows": 8,
    "label_width": Decimal(63),
    "label_height": Decimal(34),
    "gap_x": Decimal("2.5"),
    "gap_y": Decimal(0),
}


@pytest.fixture
def bag(bench):
    return factories.BagFactory(crate=factories.CrateFactory(bench=bench, code="CRATE-7"), path="7A/2")


def label(rows, by):
    return [label.token for label in services.ensure_labels(rows=rows, by=by)]


def save(workshop, by, **given):
    return services.save_sheet(workshop=workshop, by=by, **{"name": "Office A4", **MEASURES, **given})


class TestEnsureLabels:
    def test_each_row_gets_a_token_of_its_own_in_its_order(self, bag, lot, drawer, builder):
        first, second, third = label([bag, lot, drawer], builder)

        assert len({first, second, third}) == 3
        assert all(map(is_token, (first, second, third)))
        assert label([drawer, bag], builder) == [third, first]

    def test_printing_twice_gives_the_same_tokens(self, lot, builder):
        assert label([lot, lot], builder) == label([lot], builder) * 2
        assert Label.objects.count() == 1

    def test_a_label_outlives_the_name_of_its_place(self, drawer, builder):
        (before,) = label([drawer], builder)
        drawer.name, drawer.path, drawer.key = "Drawer 4", "Hangar/Rack 1/Drawer 4", "hangar/rack 1/drawer 4"
        drawer.save()

        assert label([drawer], builder) == [before]
        assert queries.labelled(before).place == drawer
        assert queries.faces([Thing("place", drawer.pk)])[0].head == "Drawer 4"

    def test_history_names_who_made_it(self, lot, builder):
        label([lot], builder)

        assert Label.history.get().history_user == builder

    def test_a_token_that_was_drawn_before_is_drawn_again(self, lot, drawer, builder, monkeypatch):
        drawn = iter([5, 5, 6])
        monkeypatch.setattr(services.secrets, "randbits", lambda bits: next(drawn))

        assert len({*label([lot], builder), *label([drawer], builder)}) == 2

    def test_a_token_of_another_workshop_is_drawn_again(self, lot, outsider, builder, monkeypatch):
        drawn = iter([5, 6])
        monkeypatch.setattr(services.secrets, "randbits", lambda bits: next(drawn))
        with scopes_disabled():
            theirs = Lot.objects.get(workshop=outsider)
            Label.objects.create(workshop=outsider, lot=theirs, token=services.make_token(5))

        assert label([lot], builder) == [services.make_token(6)]

    def test_reader_may_not(self, lot, reader):
        with pytest.raises(NotAllowed):
            label([lot], reader)
        assert not Label.objects.exists()

    def test_another_workshop_s_row_is_refused(self, lot, builder, outsider):
        with scopes_disabled():
            theirs = Lot.objects.get(workshop=outsider)
        with pytest.raises(NotAllowed, match="another workshop"):
            label([lot, theirs], builder)
        assert not Label.objects.exists()

    def test_an_end_of_the_ledger_gets_none(self, workshop, builder):
        with pytest.raises(services.NotLabelled, match="supplier is an end of the ledger"):
            label([end_place(workshop, End.SUPPLIER)], builder)

    def test_queries_do_not_grow_with_the_rows(self, workshop, builder):
        places = factories.PlaceFactory.create_batch(120, workshop=workshop)
        counts = []
        for part in (places[:1], places[1:]):
            with CaptureQueriesContext(connection) as found:
                label(part, builder)
            counts.append(len(found))
        assert counts[0] == counts[1] <= 8


class TestPrintLabels:
    def test_labels_what_has_none_and_prints_it(self, lot, builder):
        pdf = services.print_labels(things=[Thing("lot", lot.pk)], job=Job(STARTING[0], BASE), by=builder)

        assert pdf.startswith(b"%PDF")
        assert pdf == services.print_labels(things=[Thing("lot", lot.pk)], job=Job(STARTING[0], BASE), by=builder, make=False)

    def test_reprint_makes_nothing(self, lot, builder):
        with pytest.raises(services.NotPrintedYet, match="1 of these 1 have no label yet"):
            services.print_labels(things=[Thing("lot", lot.pk)], job=Job(STARTING[0], BASE), by=builder, make=False)
        assert not Label.objects.exists()

    def test_nothing_chosen(self, workshop, builder):
        with pytest.raises(services.NothingChosen):
            services.print_labels(things=[], job=Job(STARTING[0], BASE), by=builder)

    def test_too_many_are_refused_before_any_is_made(self, lot, builder):
        with pytest.raises(TooMany, match="10,000 labels"):
            services.print_labels(things=[Thing("lot", lot.pk)] * 10_000, job=Job(STARTING[0], BASE), by=builder)
        assert not Label.objects.exists()

    def test_what_is_another_workshop_s_looks_as_if_it_were_not_there(self, lot, builder, outsider):
        with scopes_disabled():
            theirs = Place.objects.filter(workshop=outsider, end="storage").first()
        with pytest.raises(NotHere) as refused:
            services.print_labels(things=[Thing("lot", lot.pk), Thing("place", theirs.pk)], job=Job(STARTING[0], BASE), by=builder)
        assert refused.value.status == 404
        assert not Label.objects.exists()


class TestSheets:
    def test_kept_with_its_measurements(self, workshop, storekeeper):
        row = save(workshop, storekeeper)
        row.refresh_from_db()

        assert {name: getattr(row, name) for name in MEASURES} == MEASURES
        assert LabelSheet.history.get().history_user == storekeeper

    def test_sent_twice_is_one_sheet(self, workshop, storekeeper):
        assert save(workshop, storekeeper) == save(workshop, storekeeper)
        assert LabelSheet.history.count() == 1

    def test_one_that_does_not_fit_its_page_is_refused_at_its_field(self, workshop, storekeeper):
        with pytest.raises(FieldProblem, match="but the page has 210 mm") as refused:
            save(workshop, storekeeper, columns=4)
        assert refused.value.field == "columns"
        assert not LabelSheet.objects.exists()

    def test_name_is_taken_in_any_case(self, workshop, storekeeper):
        save(workshop, storekeeper)
        with pytest.raises(FieldProblem, match="there is a sheet Office A4 already") as refused:
            save(workshop, storekeeper, name="OFFICE a4", rows=7)
        assert refused.value.field == "name"

    def test_changed_in_place(self, workshop, storekeeper):
        row = save(workshop, storekeeper)
        save(workshop, storekeeper, sheet=row, name="office a4", rows=7)

        assert LabelSheet.objects.get().rows == 7

    def test_changed_to_another_s_name_is_refused(self, workshop, storekeeper):
        save(workshop, storekeeper)
        other = save(workshop, storekeeper, name="Roll")
        with pytest.raises(FieldProblem, match="another name"):
            save(workshop, storekeeper, sheet=other)

    @pytest.mark.parametrize("name", ["", "  ", "a\nb"])
    def test_blank_or_broken_name_is_refused(self, workshop, storekeeper, name):
        with pytest.raises(FieldProblem) as refused:
            save(workshop, storekeeper, name=name)
        assert refused.value.field == "name"

    def test_builder_may_not(self, workshop, builder, storekeeper):
        with pytest.raises(NotAllowed):
            save(workshop, builder)
        row = save(workshop, storekeeper)
        with pytest.raises(NotAllowed):
            services.remove_sheet(sheet=row, by=builder)

    def test_removed_is_offered_no_more(self, workshop, storekeeper):
        services.remove_sheet(sheet=save(workshop, storekeeper), by=storekeeper)

        assert queries.sheets() == list(STARTING)

    def test_starting_ones_are_offered_until_there_is_an_own_one(self, workshop, storekeeper):
        assert queries.sheets() == list(STARTING)
        row = save(workshop, storekeeper)
        assert [sheet.key for sheet in queries.sheets()] == [str(row.pk)]

    def test_another_workshop_s_sheet_is_neither_shown_nor_changed(self, workshop, storekeeper, outsider):
        with scopes_disabled():
            theirs = LabelSheet.objects.create(workshop=outsider, name="OUTSIDE sheet", **MEASURES)
        assert queries.own_sheets() == []
        with pytest.raises(NotAllowed):
            save(workshop, storekeeper, sheet=theirs)
        with pytest.raises(NotAllowed):
            services.remove_sheet(sheet=theirs, by=storekeeper)
