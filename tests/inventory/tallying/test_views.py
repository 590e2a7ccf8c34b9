"""The pages of counting, by the forms that they send."""

import csv
from decimal import Decimal
from fractions import Fraction
from html import unescape
from io import BytesIO, StringIO
from uuid import UUID

import pytest
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from inventory.models import Bag, Crate, Movement, PackingLine, Photo, Tally
from inventory.tallying import queries, services
from inventory.tallying.calc import Measured
from tests import factories
from tests.factories import DAY

KEY = str(UUID(int=7))
TODAY = timezone.localdate().isoformat()


@pytest.fixture
def ask(as_member, builder):
    def ask(name, *args, by=builder, asked=None, **headers):
        return as_member(by).get(reverse(name, args=args), asked or {}, headers=headers)

    return ask


@pytest.fixture
def send(as_member, builder):
    def send(name, *args, by=builder, query="", **given):
        return as_member(by).post(f"{reverse(name, args=args)}{query}", given)

    return send


def text(answer):
    return unescape(answer.content.decode())


def good(line):
    return queries.line_tally(line).good


def picture(name="photo.png"):
    file = BytesIO()
    Image.new("RGB", (8, 8)).save(file, "PNG")
    file.seek(0)
    file.name = name
    return file


class TestPages:
    def test_crate_page_shows_bags_with_their_progress(self, ask, crate, bags, count):
        count("SPAR", 2, bag="7/A")
        page = text(ask("count-crate", crate.pk))

        assert "1 of 4</strong> lines found" in page
        assert "Bag 7/A" in page
        assert "Has it arrived?" in page
        assert reverse("count-bag", args=[bags["7/A"].pk]) in page

    def test_bag_page_shows_lines_what_is_counted_and_by_whom(self, ask, bags, count, builder):
        count("MS20470AD4-6", 5)
        page = text(ask("count-bag", bags["7"].pk))

        assert ">All 20 here<" in page
        assert "<strong>5</strong> counted, 15 to find" in page
        assert builder.name in page

    def test_htmx_is_given_the_part_alone_with_each_line_s_state(self, ask, bags, lines, crate):
        part = text(ask("count-bag", bags["7"].pk, HX_Request="true"))

        assert "<html" not in part
        assert f'id="state-{lines["1"].pk}" hx-swap-oob="true"' in part
        assert "request_key" not in part
        whole = ask("count-crate", crate.pk)
        assert ("HX-Request" in whole["Vary"], whole["Cache-Control"]) == (True, "no-store")
        assert "<html" not in text(ask("count-crate", crate.pk, HX_Request="true"))

    def test_page_without_javascript_has_all_there_is(self, ask, bags):
        page = text(ask("count-bag", bags["7"].pk))

        assert "hx-post" not in page
        assert 'hx-trigger="every 4s"' in page

    def test_closed_crate_is_neither_counted_nor_asked_again(self, ask, crate, bags, storekeeper):
        services.close(crate=crate, on=DAY, by=storekeeper)

        for page in (text(ask("count-crate", crate.pk)), text(ask("count-bag", bags["7"].pk))):
            assert "hx-get" not in page
            assert "Counting was closed" in page
        assert "All 20 here" not in text(ask("count-bag", bags["7"].pk))

    def test_reader_looks_and_does_not_touch(self, ask, send, bags, lines, reader):
        assert "All 20 here" not in text(ask("count-bag", bags["7"].pk, by=reader))
        assert send("tick-line", lines["1"].pk, by=reader, act="more").status_code == 403
        assert send("finish-bag", bags["7"].pk, by=reader).status_code == 403
        assert send("count-line", lines["1"].pk, by=reader, quantity="1", what="more").status_code == 403

    def test_loose_lines_have_a_page_of_their_own(self, ask, crate, items):
        factories.PackingLineFactory(crate=crate, number="9", item=items["SPAR"])

        assert "In no bag" in text(ask("count-crate", crate.pk))
        assert "line 9" in text(ask("count-loose", crate.pk))

    def test_queries_do_not_grow_with_lines(self, queries_of, crate, bags, items, builder, count, lines):
        count("SPAR", 1, bag="7/A")
        pages = [reverse("count-crate", args=[crate.pk]), reverse("count-bag", args=[bags["7/A"].pk]), reverse("receipt", args=[crate.pk])]
        pages.append(reverse("counts", args=[crate.pk]))
        before = [queries_of(builder, page) for page in pages]
        for number in range(10, 20):
            factories.PackingLineFactory(crate=crate, bag=bags["7/A"], number=str(number), item=items["SPAR"])
            count("SPAR", 1, bag="7/A")

        assert [queries_of(builder, page) for page in pages] == before


class TestTick:
    def test_as_listed_more_and_fewer(self, send, lines):
        answer = send("tick-line", lines["1"].pk, act="listed")
        assert answer.url == f"{reverse('count-bag', args=[lines['1'].bag_id])}#line-{lines['1'].pk}"
        assert good(lines["1"]) == 20
        send("tick-line", lines["1"].pk, act="more")
        assert good(lines["1"]) == 21
        for _ in range(2):
            send("tick-line", lines["1"].pk, act="fewer")
        assert good(lines["1"]) == 19

    def test_press_sent_twice_counts_once(self, send, lines):
        for _ in range(2):
            send("tick-line", lines["1"].pk, act="more", request_key=KEY)

        assert good(lines["1"]) == 1

    def test_as_listed_leaves_room_for_what_is_damaged(self, send, lines, count):
        count("MS20470AD4-6", 3, finding="damaged")
        send("tick-line", lines["1"].pk, act="listed")

        assert good(lines["1"]) == 17

    def test_fewer_than_nothing_is_refused_in_words(self, as_member, builder, lines):
        page = as_member(builder).post(reverse("tick-line", args=[lines["1"].pk]), {"act": "fewer"}, follow=True)

        assert "no more than 0 ea of MS20470AD4-6 were counted" in text(page)
        assert not Tally.objects.exists()

    def test_unknown_press_does_nothing(self, send, lines):
        assert send("tick-line", lines["1"].pk, act="all").status_code == 302
        assert not Tally.objects.exists()


class TestCountLine:
    def test_more_good_ones_with_what_the_label_says(self, send, lines):
        send("count-line", lines["4"].pk, quantity="120.5", what="more", lot_code="S10", expires="2027-06", request_key=KEY)

        found = Tally.objects.get()
        assert (found.quantity, found.lot_code, str(found.expires), found.how) == (Decimal("120.5"), "S10", "2027-06", "hand")

    def test_all_there_are_is_refused_where_somebody_counted_meanwhile(self, send, lines, count):
        count("MS20470AD4-6", 5)
        answer = send("count-line", lines["1"].pk, quantity="20", what="all", seen="0")

        assert (answer.status_code, "somebody else counts here too" in text(answer)) == (422, True)
        assert 'value="20"' in text(answer)
        assert good(lines["1"]) == 5

    def test_damaged_with_a_photo(self, send, lines):
        answer = send("count-line", lines["3"].pk, quantity="1", what="damaged", note="dented", photo=picture())

        assert answer.status_code == 302
        photo = Photo.objects.get()
        assert (photo.ref, photo.caption) == (f"tally:{Tally.objects.get(finding='damaged').pk}", "dented")

    def test_bad_photo_counts_nothing(self, send, lines):
        file = BytesIO(b"%PDF-1.4")
        file.name = "x.jpg"
        answer = send("count-line", lines["3"].pk, quantity="1", what="damaged", photo=file)

        assert (answer.status_code, "This is a PDF" in text(answer)) == (422, True)
        assert not Tally.objects.exists()

    @pytest.mark.parametrize("given", [{"quantity": "0", "what": "more"}, {"quantity": "x", "what": "more"}, {"quantity": "1"}, {}])
    def test_what_makes_no_sense_is_shown_again(self, send, lines, given):
        assert send("count-line", lines["1"].pk, **given).status_code == 422
        assert not Tally.objects.exists()

    def test_nothing_at_all_is_an_answer(self, send, lines, count):
        count("MS20470AD4-6", 5)
        send("count-line", lines["1"].pk, quantity="0", what="all", seen="5")

        assert good(lines["1"]) == 0


class TestWeigh:
    READINGS = {"sample_n": "10", "sample_mass": "3.5", "total": "7", "tare": "0", "division": "0.01", "what": "all"}

    def test_readings_give_a_count_and_change_nothing(self, ask, lines):
        page = text(ask("weigh-line", lines["1"].pk, asked=self.READINGS))

        assert "20 pieces" in page
        assert "Certain to one piece" in page
        assert "this crate also lists MS20470AD4-7 of the same diameter" in page
        assert not Tally.objects.exists()

    def test_uncertain_count_names_the_sample_that_would_do(self, ask, lines):
        page = text(ask("weigh-line", lines["1"].pk, asked={**self.READINGS, "total": "350", "division": "0.1"}))

        assert "Not certain to one piece" in page
        assert "A sample of" in page
        assert "more than listed" in page

    def test_count_by_weight_is_kept_with_its_readings(self, send, lines):
        send("weigh-line", lines["1"].pk, **self.READINGS, seen="0", request_key=KEY)

        found = Tally.objects.get()
        assert (found.quantity, found.how, found.correction) == (20, "weight", True)
        assert found.note == "weighed 7, tare 0, 10 pieces 3.5"

    def test_bad_readings_stand_at_their_field(self, ask, lines):
        answer = ask("weigh-line", lines["1"].pk, asked={**self.READINGS, "tare": "8"})

        assert (answer.status_code, "Less than the tare" in text(answer)) == (422, True)

    @pytest.mark.parametrize("reading", ["1e999999", "NaN", "", "-1", "0"])
    def test_wild_readings_are_refused(self, ask, lines, reading):
        assert ask("weigh-line", lines["1"].pk, asked={**self.READINGS, "sample_mass": reading}).status_code == 422


class TestOther:
    def test_item_by_any_code_that_is_not_listed(self, send, crate, bags, items):
        factories.ItemFactory(workshop=crate.workshop, code="BOLT", identifiers=["AN3-5A"])
        send("count-other", crate.pk, query=f"?bag={bags['8'].pk}", code="an3-5a", quantity="4", finding="good")

        [extra] = queries.sheet(crate).extras
        assert (extra.item, extra.bag, extra.good) == ("BOLT", "8", 4)

    def test_item_that_is_listed_after_all_counts_for_its_line(self, as_member, builder, crate, bags, lines):
        address = f"{reverse('count-other', args=[crate.pk])}?bag={bags['7'].pk}"
        page = as_member(builder).post(address, {"code": "MS20470AD4-6", "quantity": "4", "finding": "good"}, follow=True)

        assert "it is line 1 of the list, and counted there" in text(page)

    def test_unknown_code_says_what_would_do(self, send, crate):
        answer = send("count-other", crate.pk, code="NOBODY", quantity="4", finding="good")

        assert (answer.status_code, "No item has this code" in text(answer)) == (422, True)

    @pytest.mark.parametrize("asked", ["0", "x", "9" * 30, "²"])
    def test_bag_that_is_not_there_is_a_404(self, ask, crate, asked):
        assert ask("count-other", crate.pk, asked={"bag": asked}).status_code == 404


class TestMystery:
    @pytest.fixture
    def mystery(self, crate, bags, builder, minute):
        said = {"crate": crate, "bag": bags["8"], "finding": "mystery", "measured": Measured(Fraction(1, 8), Fraction(7, 16), "universal")}
        return services.tally(quantity=Decimal(3), at=minute(0), by=builder, **said)

    def test_mystery_is_counted_with_sizes_and_photo(self, send, crate, bags):
        given = {"quantity": "3", "diameter": "1/8", "length": "0.375", "head": "", "note": "rattles", "photo": picture()}
        answer = send("count-mystery", crate.pk, query=f"?bag={bags['8'].pk}", **given)

        found = Tally.objects.get()
        assert answer.url == reverse("mystery", args=[found.pk])
        assert (found.diameter, found.bag, Photo.objects.filter(ref=f"tally:{found.pk}").count()) == (Fraction(1, 8), bags["8"], 1)

    def test_mystery_page_offers_the_line_that_fits_and_a_press_names_it(self, ask, send, mystery, lines, bags):
        page = text(ask("mystery", mystery.pk))
        assert "diameter 0.125 in exactly; length 0.4375 in exactly" in page
        assert "MS20470AD4-6" not in page

        answer = send("mystery", mystery.pk, line=lines["2"].pk, request_key=KEY)
        assert answer.url == reverse("count-bag", args=[bags["8"].pk])
        assert good(lines["2"]) == 3
        assert "It is no mystery any more" in text(ask("mystery", mystery.pk))

    def test_mystery_named_as_another_crate_s_line_is_a_404(self, send, mystery, bench):
        other = factories.PackingLineFactory(crate=factories.CrateFactory(bench=bench))
        for line in (other.pk, "", "x"):
            assert send("mystery", mystery.pk, line=line).status_code == 404

    def test_count_is_taken_back_by_a_press_and_returns_where_it_stood(self, send, mystery, crate):
        back = reverse("counts", args=[crate.pk])

        assert send("undo-tally", mystery.pk, next=back).url == back
        assert send("undo-tally", mystery.pk, next="https://elsewhere.example/").url.startswith("/bags/")
        assert Tally.objects.count() == 2


class TestBagsAndEnd:
    def test_bag_is_finished_and_opened_again(self, send, bags, crate):
        assert send("finish-bag", bags["7"].pk).url == reverse("count-crate", args=[crate.pk])
        assert Bag.objects.get(pk=bags["7"].pk).counted_on is not None
        send("finish-bag", bags["7"].pk, reopen="1")
        assert Bag.objects.get(pk=bags["7"].pk).counted_on is None

    def test_bag_is_laid_on_a_known_shelf(self, send, ask, bags, drawer, storekeeper):
        send("lay-bag", bags["7"].pk, by=storekeeper, place=drawer.path)

        assert f"lies in {drawer.path}" in text(ask("count-bag", bags["7"].pk))

    def test_bag_is_put_away_in_one_action(self, send, count, crate, bags, storekeeper):
        count("MS20470AD4-6", 12)
        count("SPAR", 1, bag="7/A")
        given = {"place": "Hangar/Rack 9", "on": TODAY}
        answer = send("put-away", crate.pk, query=f"?bag={bags['7'].pk}", by=storekeeper, **given)

        assert answer.url == reverse("count-bag", args=[bags["7"].pk])
        assert Movement.objects.filter(target__path="Hangar/Rack 9").count() == 2
        again = send("put-away", crate.pk, by=storekeeper, **given)
        assert (again.status_code, "waits to be put away" in text(again)) == (422, True)

    def test_builder_puts_nothing_away_and_closes_nothing(self, ask, send, crate):
        assert ask("put-away", crate.pk).status_code == 403
        assert send("close-crate", crate.pk, on=TODAY).status_code == 403
        assert "Close counting" not in text(ask("close-crate", crate.pk))

    def test_crate_arrived_on_a_day(self, send, crate):
        assert send("crate-here", crate.pk, on=TODAY).url == reverse("count-crate", args=[crate.pk])
        assert Crate.objects.get(pk=crate.pk).arrived_on.isoformat() == TODAY
        assert send("crate-here", crate.pk, on="2999-01-01").status_code == 422

    def test_close_page_shows_what_closing_does_and_leads_to_the_receipt(self, ask, send, crate, count, storekeeper):
        count("MS20470AD4-6", 22)
        page = text(ask("close-crate", crate.pk, by=storekeeper))
        assert "2 ea over" in page
        assert "3 bags aren't counted to the end" in page
        assert "3 lines lack something" in page

        assert send("close-crate", crate.pk, by=storekeeper, on=TODAY).url == reverse("receipt", args=[crate.pk])
        assert send("close-crate", crate.pk, by=storekeeper, on=TODAY).status_code == 422
        send("reopen-crate", crate.pk, by=storekeeper)
        assert Crate.objects.get(pk=crate.pk).closed_on is None

    def test_every_count_is_listed_with_what_may_be_taken_back(self, ask, count, crate):
        count("SPAR", 1, bag="7/A", note="dented", finding="damaged")

        page = text(ask("counts", crate.pk))
        assert "dented" in page
        assert "Take back" in page


class TestReceipt:
    @pytest.fixture
    def counted(self, count, crate, storekeeper, drawer, bags):
        count("MS20470AD4-6", 12)
        count("SPAR", 1, bag="7/A")
        count("SPAR", 1, bag="7/A", finding="damaged")
        count("SEAL-B2", 2, bag="7", note="=SUM(A1)")
        services.put_away(crate=crate, place=drawer, on=DAY, by=storekeeper)
        services.finish_bag(bag=bags["7"], on=DAY, by=storekeeper)
        return crate

    def test_receipt_says_what_differs_where_it_is_and_who_counted(self, ask, counted, drawer, builder):
        Crate.objects.filter(pk=counted.pk).update(printed_lines=5)
        page = text(ask("receipt", counted.pk))

        assert "8 ea short" in page
        assert f"1 disputed in {drawer.path}" in page
        assert "that does not agree" in page
        assert builder.name in page
        assert "15 good, 1 damaged; 16 in stock" in page

    def test_receipt_as_a_file_has_the_same_figures_and_no_formula(self, ask, counted, drawer):
        rows = list(csv.DictReader(StringIO(text(ask("receipt-csv", counted.pk)))))
        by_item = {row["item"]: row for row in rows if row["line"]}

        assert [by_item["MS20470AD4-6"][name] for name in ("listed", "good", "short", "put_away")] == ["20", "12", "8", "12"]
        assert by_item["SPAR"]["places"] == f"1 good in {drawer.path}; 1 disputed in {drawer.path}"
        assert sum(Decimal(row["put_away"]) for row in rows) == 16
        assert [row["note"] for row in rows if not row["line"]] == ["'=SUM(A1)"]

    def test_crates_page_leads_to_count_and_receipt(self, ask, crate, storekeeper):
        assert reverse("count-crate", args=[crate.pk]) in text(ask("crates"))
        assert reverse("count-crate", args=[crate.pk]) in text(ask("crate", crate.pk))
        services.close(crate=crate, on=DAY, by=storekeeper)
        assert reverse("receipt", args=[crate.pk]) in text(ask("crates"))

    def test_movement_is_reversed_on_its_page_and_waits_again(self, send, counted, lines, storekeeper):
        movement = Movement.objects.get(ref=f"line:{lines['1'].pk}")
        send("reverse", movement.pk, by=storekeeper)

        assert queries.line_tally(PackingLine.objects.select_related("crate", "bag").get(pk=lines["1"].pk)).waiting == 12
