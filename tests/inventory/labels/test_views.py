"""The pages of labels."""

import re
from http import HTTPStatus

import pytest
import zxingcpp
from django.urls import reverse
from django_scopes import scopes_disabled

from inventory.labels import services
from inventory.labels.drawing import MOST_LABELS
from inventory.labels.views import PAGE
from inventory.models import Label, LabelSheet, Lot
from tests import factories
from tests.inventory.labels.sheets import pictures

SHEET = {
    "name": "Office",
    "page_width": "210",
    "page_height": "297",
    "left": "8",
    "top": "12.5",
    "columns": "3",
    "rows": "8",
    "label_width": "63",
    "label_height": "34",
    "gap_x": "2.5",
    "gap_y": "0",
}
PRINT = {"sheet": "a4", "start": "1", "symbol": "qr", "copies": "1"}


@pytest.fixture
def crate(bench):
    return factories.CrateFactory(bench=bench, code="CRATE-7")


@pytest.fixture
def bags(crate):
    return [factories.BagFactory(crate=crate, path=path) for path in ("7A", "7A/1", "7B")]


@pytest.fixture
def held(lot, drawer):
    factories.stock(lot, 5, drawer)
    return lot


def text(answer):
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def address(**asked):
    return reverse("labels", query=asked)


def pdf_address(**asked):
    return reverse("labels-pdf", query=asked)


def read(answer):
    assert answer.status_code == HTTPStatus.OK, text(answer)
    assert answer["Content-Type"] == "application/pdf"
    return {code.text for picture in pictures(answer.content, 203) for code in zxingcpp.read_barcodes(picture)}


class TestChoosing:
    def test_first_visit_offers_what_there_is(self, as_member, builder, bags):
        page = as_member(builder).get(address())

        assert page.status_code == HTTPStatus.OK
        assert "CRATE-7" in text(page)
        assert "Make the PDF" not in text(page)

    def test_bags_of_a_crate(self, as_member, builder, crate, bags):
        page = as_member(builder).get(address(what="bags", crate=crate.pk))

        assert "3 labels" in text(page)
        assert "Bag 7A/1" in text(page)
        assert page.content.count(b"checked") == 3

    def test_places_and_lots(self, as_member, builder, held):
        client = as_member(builder)

        assert "Drawer 3" in text(client.get(address(what="places", place="Hangar")))
        assert held.item.code in text(client.get(address(what="lots", item=held.item.code)))
        assert "1 label " in text(client.get(address(what="lots", lot=held.pk)))

    def test_typed_list_says_which_lines_mean_nothing(self, as_member, builder, held):
        page = as_member(builder).get(address(what="typed", typed=f"{held.code}\nno such\n"))

        assert "1 line means nothing here: no such" in text(page)
        assert held.item.code in text(page)

    def test_code_that_is_no_item_s_is_said_at_its_box(self, as_member, builder):
        page = as_member(builder).get(address(what="lots", item="NOTHING"))

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "NOTHING is no code of the catalogue" in text(page)

    def test_reader_sees_labels_and_cannot_print(self, as_member, reader, crate, bags):
        page = as_member(reader).get(address(what="bags", crate=crate.pk))

        assert "Bag 7A/1" in text(page)
        assert "takes an owner, a storekeeper or a builder" in text(page)
        assert as_member(reader).post(pdf_address(what="bags", crate=crate.pk), PRINT).status_code == HTTPStatus.FORBIDDEN

    def test_other_workshop_s_crate_is_no_choice(self, as_member, builder, outsider):
        with scopes_disabled():
            theirs = factories.BagFactory(crate=outsider.crates.get()).crate
        page = as_member(builder).get(address(what="bags", crate=theirs.pk))

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "OUTSIDE" not in text(page)

    def test_crate_without_bags_says_what_to_do_and_its_page_offers_no_labels(self, as_member, builder, bench, bags):
        line = factories.PackingLineFactory(crate=factories.CrateFactory(bench=bench))
        client = as_member(builder)

        assert "No bags of that crate are listed: choose one that has bags" in text(client.get(address(what="bags", crate=line.crate_id)))
        assert "Print labels of its bags" not in text(client.get(reverse("crate", args=[line.crate_id])))

    def test_queries_do_not_grow_with_the_list(self, queries_of, builder, workshop, drawer):
        one = queries_of(builder, address(what="places"))
        factories.PlaceFactory.create_batch(PAGE * 2, workshop=workshop)
        assert queries_of(builder, address(what="places")) == one

    def test_address_of_this_computer_alone_is_warned_of(self, as_member, builder, held, settings):
        settings.ALLOWED_HOSTS = ["localhost", "club.example"]
        client = as_member(builder)
        where = address(what="places")

        assert "only this computer can open" in text(client.get(where, headers={"host": "localhost:8000"}))
        assert "only this computer" not in text(client.get(where, headers={"host": "club.example"}))
        settings.RIVETLOFT_ADDRESS = "https://club.example"
        assert "only this computer" not in text(client.get(where, headers={"host": "localhost:8000"}))


class TestPrinting:
    def test_ticked_ones_are_printed_and_labelled(self, as_member, builder, crate, bags):
        ticked = [f"bag-{bags[0].pk}", f"bag-{bags[2].pk}"]
        answer = as_member(builder).post(pdf_address(what="bags", crate=crate.pk), {**PRINT, "thing": ticked})

        tokens = set(Label.objects.values_list("token", flat=True))
        assert {code.rsplit("/", 1)[-1] for code in read(answer)} == tokens
        assert set(Label.objects.values_list("bag__path", flat=True)) == {"7A", "7B"}

    def test_twice_is_the_same_pdf(self, as_member, builder, crate, bags):
        client, asked = as_member(builder), {**PRINT, "thing": [f"bag-{bags[0].pk}"]}
        first, second = (client.post(pdf_address(what="bags", crate=crate.pk), asked) for _ in range(2))

        assert first.content == second.content
        assert Label.objects.count() == 1

    def test_reprint_by_address_gives_the_same(self, as_member, builder, crate, bags):
        client = as_member(builder)
        every = {**PRINT, "thing": [f"bag-{bag.pk}" for bag in bags]}
        printed = client.post(pdf_address(what="bags", crate=crate.pk), every)

        assert client.get(pdf_address(what="bags", crate=crate.pk, **PRINT)).content == printed.content

    def test_reprint_makes_nothing(self, as_member, builder, crate, bags):
        answer = as_member(builder).get(pdf_address(what="bags", crate=crate.pk))

        assert "3 of these 3 have no label yet" in text(answer)
        assert not Label.objects.exists()

    def test_code_leads_to_the_site_s_own_address(self, as_member, builder, held, settings):
        settings.RIVETLOFT_ADDRESS = "https://rivetloft.club.example"
        answer = as_member(builder).post(pdf_address(what="lots"), {**PRINT, "thing": [f"lot-{held.pk}"]})

        assert read(answer) == {f"HTTPS://RIVETLOFT.CLUB.EXAMPLE/T/{Label.objects.get().token}"}

    def test_data_matrix_is_the_bare_token(self, as_member, builder, held):
        asked = {**PRINT, "symbol": "datamatrix", "sheet": "drawers", "thing": [f"lot-{held.pk}"]}
        answer = as_member(builder).post(pdf_address(what="lots"), asked)

        assert read(answer) == {Label.objects.get().token}

    def test_whole_list_is_printed_where_it_has_more_pages(self, as_member, builder, workshop):
        factories.PlaceFactory.create_batch(PAGE + 5, workshop=workshop)
        client, where = as_member(builder), pdf_address(what="places")
        assert "All that was found" in text(client.get(address(what="places")))

        answer = client.post(where, {**PRINT, "whole": "on"})
        assert answer["Content-Type"] == "application/pdf"
        assert Label.objects.count() == PAGE + 5

    @pytest.mark.parametrize(
        ("change", "said"),
        [
            ({"start": "25"}, "labels 1 to 24 on a page"),
            ({"start": "x"}, "whole number"),
            ({"sheet": "none"}, "Select a valid choice"),
            ({"symbol": "none"}, "Select a valid choice"),
            ({"sheet": "drawers"}, "too small for this code"),
            ({"copies": "21"}, "less than or equal to 20"),
            ({"thing": []}, "nothing is chosen"),
            ({"thing": ["bag-x", "movement-1", "lot", f"lot-{'9' * 30}"]}, "nothing is chosen"),
        ],
    )
    def test_what_cannot_be_printed_is_said_and_kept(self, as_member, builder, held, change, said):
        answer = as_member(builder).post(pdf_address(what="lots"), {**PRINT, "thing": [f"lot-{held.pk}"], **change})

        assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert said in text(answer)
        assert not Label.objects.exists()

    def test_too_many_are_refused(self, as_member, builder, workshop):
        factories.PlaceFactory.create_batch(60, workshop=workshop)
        where = pdf_address(what="places")
        things = [f"place-{pk}" for pk in workshop.places.values_list("pk", flat=True)]
        answer = as_member(builder).post(where, {**PRINT, "copies": "20", "thing": things})

        assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert f"1,200 labels: {MOST_LABELS:,} at once are the most" in text(answer)
        assert not Label.objects.exists()

    def test_other_workshop_s_lot_is_not_found(self, as_member, builder, held, outsider):
        with scopes_disabled():
            theirs = Lot.objects.get(workshop=outsider)
        things = [f"lot-{held.pk}", f"lot-{theirs.pk}"]
        answer = as_member(builder).post(pdf_address(what="lots"), {**PRINT, "thing": things})

        assert answer.status_code == HTTPStatus.NOT_FOUND
        assert not Label.objects.exists()

    def test_nothing_asked_leads_to_the_page(self, as_member, builder):
        assert as_member(builder).get(pdf_address()).url == address()


class TestSheets:
    def test_starting_ones_are_shown_to_scale_and_said_to_be_ours(self, as_member, reader):
        page = as_member(reader).get(reverse("label-sheets"))

        assert "starting values of ours" in text(page)
        assert page.content.count(b'class="cell"') == 24 + 30 + 100 + 1
        assert 'viewBox="-1 -1 212 299"' in page.content.decode()

    def test_form_starts_from_one_of_them(self, as_member, storekeeper):
        page = as_member(storekeeper).get(reverse("label-sheets", query={"from": "letter"}))

        assert 'value="215.9"' in page.content.decode()

    def test_kept_then_printed_on(self, as_member, storekeeper, held):
        client = as_member(storekeeper)
        assert client.post(reverse("label-sheets"), SHEET).status_code == HTTPStatus.FOUND
        kept = LabelSheet.objects.get()

        answer = client.post(pdf_address(what="lots"), {**PRINT, "sheet": str(kept.pk), "thing": [f"lot-{held.pk}"]})
        assert len(read(answer)) == 1

    def test_sent_twice_is_one_sheet(self, as_member, storekeeper):
        client = as_member(storekeeper)
        for _ in range(2):
            assert client.post(reverse("label-sheets"), SHEET).status_code == HTTPStatus.FOUND
        assert LabelSheet.objects.count() == 1

    def test_one_that_does_not_fit_is_marked_at_its_field_and_kept_as_typed(self, as_member, storekeeper):
        page = as_member(storekeeper).post(reverse("label-sheets"), {**SHEET, "columns": "4", "left": "8.25"})

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "4 labels of 63 mm and 3 gaps of 2.5 mm take 267.75 mm, but the page has 210 mm" in text(page)
        assert 'value="8.25"' in page.content.decode()

    def test_changed_and_removed(self, as_member, storekeeper, workshop):
        row = factories.LabelSheetFactory(workshop=workshop, name="Office")
        client = as_member(storekeeper)

        assert client.get(reverse("label-sheet", args=[row.pk])).status_code == HTTPStatus.OK
        client.post(reverse("label-sheet", args=[row.pk]), {**SHEET, "rows": "7"})
        row.refresh_from_db()
        assert row.rows == 7
        client.post(reverse("remove-label-sheet", args=[row.pk]))
        assert not LabelSheet.objects.exists()

    def test_builder_may_look_and_not_change(self, as_member, builder, workshop):
        row = factories.LabelSheetFactory(workshop=workshop)
        client = as_member(builder)

        assert "An owner or a storekeeper can add sheets" in text(client.get(reverse("label-sheets")))
        assert client.post(reverse("label-sheets"), SHEET).status_code == HTTPStatus.FORBIDDEN
        assert client.post(reverse("label-sheet", args=[row.pk]), SHEET).status_code == HTTPStatus.FORBIDDEN
        assert client.post(reverse("remove-label-sheet", args=[row.pk])).status_code == HTTPStatus.FORBIDDEN

    def test_queries_do_not_grow_with_the_sheets(self, queries_of, storekeeper, workshop):
        factories.LabelSheetFactory(workshop=workshop)
        one = queries_of(storekeeper, reverse("label-sheets"))
        factories.LabelSheetFactory.create_batch(9, workshop=workshop)
        assert queries_of(storekeeper, reverse("label-sheets")) == one


class TestWhereACodeLeads:
    @pytest.fixture
    def tokens(self, held, drawer, bags, builder):
        return [label.token for label in services.ensure_labels(rows=[held, drawer, bags[1]], by=builder)]

    @pytest.mark.parametrize("form", ["/t/{}", "/T/{}", "/t/{}/"])
    @pytest.mark.parametrize("case", [str.upper, str.lower])
    def test_to_the_page_of_what_it_stands_on(self, as_member, reader, tokens, held, bags, form, case):
        client = as_member(reader)
        lot, place, bag = (client.get(form.format(case(token))) for token in tokens)

        assert lot.url == reverse("lot", args=[held.pk])
        assert place.url == reverse("shelves", query={"place": "Hangar/Rack 1/Drawer 3"})
        assert bag.url == reverse("count-bag", args=[bags[1].pk])
        assert [client.get(answer.url).status_code for answer in (lot, place, bag)] == [HTTPStatus.OK] * 3

    def test_stranger_signs_in_first_and_then_gets_there(self, client, tokens):
        answer = client.get(f"/T/{tokens[0]}")

        assert answer.url == f"{reverse('sign-in')}?next=/T/{tokens[0]}"

    def test_unknown_and_foreign_ones_look_alike(self, as_member, reader, outsider):
        with scopes_disabled():
            theirs = factories.LabelFactory(lot=Lot.objects.get(workshop=outsider), token=services.make_token(77))
        client = as_member(reader)
        unknown, foreign = (client.get(f"/t/{token}") for token in (services.make_token(78), theirs.token))

        assert unknown.status_code == foreign.status_code == HTTPStatus.NOT_FOUND
        assert text(unknown).replace(services.make_token(78), "") == text(foreign).replace(theirs.token, "")
        assert "may be another workshop's" in text(foreign)

    def test_misread_one_says_so(self, as_member, reader, tokens):
        wrong = tokens[0][:-1] + ("0" if tokens[0][-1] != "0" else "1")
        page = as_member(reader).get(f"/t/{wrong.lower()}")

        assert page.status_code == HTTPStatus.NOT_FOUND
        assert "one character was misread" in text(page)

    def test_who_is_in_two_workshops_is_told_to_choose(self, as_member, reader, outsider):
        with scopes_disabled():
            factories.MemberFactory(workshop=outsider, user=reader.user)
        page = as_member(reader).get(f"/t/{services.make_token(9)}")

        assert "Choose the workshop" in text(page)

    @pytest.mark.parametrize("wrong", ["/t/RL-1", "/t/", f"/t/{'A' * 33}"])
    def test_what_is_no_token_at_all_is_not_found(self, as_member, reader, wrong):
        assert as_member(reader).get(wrong).status_code == HTTPStatus.NOT_FOUND
