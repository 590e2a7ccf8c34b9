"""The pages of the club: what they show, what may be done on them, and by whom."""

from datetime import date
from decimal import Decimal
from http import HTTPStatus
from io import BytesIO
from uuid import uuid4

import pypdfium2
import pytest
import time_machine
from django.urls import reverse

from buildplan.models import RivetRow
from inventory.models import Booking, UnitCost
from tests import factories
from tests.buildplan.club.conftest import NOW, SATURDAY, TODAY

ADDRESS = f"/club/day/?day={SATURDAY}"


@pytest.fixture(autouse=True)
def _today():
    with time_machine.travel(NOW, tick=False):
        yield


def shown(client, address=ADDRESS):
    answer = client.get(address)
    assert answer.status_code == HTTPStatus.OK
    return " ".join(answer.content.decode().split())


def test_day_page_says_what_is_missing_and_what_would_make_it_fit(as_member, wren, contested):
    page = shown(as_member(wren))

    assert "<strong>Not as planned.</strong>" in page
    assert "TERN-1:W2-01 goes from 2027-02-27 to 2027-02-28" in page
    assert page.count("Do this<") == 1  # PLOVER's step is not Wren's to move
    assert page.count("Book what this day takes<") == 1


def test_the_day_asked_for_is_the_next_saturday_and_one_that_is_past_is_refused(as_member, wren, contested):
    client = as_member(wren)

    assert "Can Sat 2027-02-20 go ahead?" in shown(client, "/club/day/")
    past = client.get("/club/day/?day=2027-02-19")
    assert past.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "2027-02-19 is past" in past.content.decode()
    assert client.get("/club/day/?day=soon").status_code == HTTPStatus.UNPROCESSABLE_ENTITY


def test_day_that_no_plan_reaches_is_too_far_off_on_every_page_of_the_club(as_member, wren, contested):
    client = as_member(wren)

    for address in ("/club/", "/club/day/"):
        for day in ("9999-12-31", "9999-12-28", "2037-02-28"):
            page = client.get(f"{address}?day={day}")
            assert page.status_code in {HTTPStatus.BAD_REQUEST, HTTPStatus.UNPROCESSABLE_ENTITY}
            assert f"{day} is more than ten years off" in page.content.decode()
    assert client.get("/club/?day=0001-01-01").status_code == HTTPStatus.OK  # a past week is this one
    assert client.get("/club/?day=2037-02-26").status_code == HTTPStatus.OK


def test_cancelling_is_named_by_the_day_as_the_reader_writes_it(as_member, wren, tern, contested):
    wren.dates = "dotted"
    wren.save()
    client = as_member(wren)
    book(client, tern)
    held = Booking.objects.get()
    page = shown(client)

    assert f'Cancel<span class="away"> {held.item.code} Sat {SATURDAY.day}.{SATURDAY.month}.{SATURDAY.year}</span>' in page


def test_day_without_a_step_of_its_own_says_what_earlier_ones_still_hold(as_member, wren, tern_1, shared_bench, cleco, owned, planned):
    owned(shared_bench, cleco, 100)
    last = planned(tern_1, "W2-09", date(2027, 3, 6))
    factories.RivetRowFactory(step=planned(tern_1, "W2-01", SATURDAY), holes=81, cleco_every=2, cleco=cleco, clecos_until=last)
    page = shown(as_member(wren), "/club/day/?day=2027-03-02")

    assert "No step is planned for that day; steps before it still hold something." in page
    assert "1 kind of thing that comes back is needed, and all of it is there." in page
    assert "0 steps" not in page


def book(client, bench, **more):
    return client.post(ADDRESS, {"bench": bench.pk, "key": uuid4(), **more})


def test_one_press_books_all_that_a_bench_takes_for_its_steps_and_twice_is_once(as_member, wren, tern, contested):
    client, key = as_member(wren), uuid4()

    for _ in range(2):
        assert client.post(ADDRESS, {"bench": tern.pk, "key": key}).status_code == HTTPStatus.FOUND
    assert book(client, tern).status_code == HTTPStatus.FOUND

    (booking,) = Booking.objects.all()
    assert (booking.ref, booking.bench, booking.member, booking.first_day) == (f"step:{contested[1].pk}", tern, wren, SATURDAY)
    assert "has booked all that it takes of the pool already" in shown(client)


def test_the_second_to_book_is_told_who_has_it_and_may_wait_in_line(as_member, wren, heron, tern, plover, contested):
    book(as_member(wren), tern)
    client = as_member(heron)

    refused = book(client, plover)
    assert refused.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "SQUEEZER: 0 of 1 are free on 2027-02-27 and not 1: Wren booked 1" in refused.content.decode()
    assert "Book what is free, wait for the rest" in refused.content.decode()

    for _ in range(2):
        assert book(client, plover, wait="True").status_code == HTTPStatus.FOUND
    waits = Booking.objects.get(waiting=True)
    assert (waits.member, waits.ref) == (heron, f"step:{contested[0].pk}")
    assert "Waiting in line already" in shown(client)


def test_who_has_no_squeezer_takes_the_change_and_the_day_fits(as_member, wren, heron, tern, contested):
    book(as_member(wren), tern)
    client = as_member(heron)

    answer = client.post(ADDRESS, {"proposal": f"move:{contested[0].pk}:2027-02-28"})

    assert answer.status_code == HTTPStatus.FOUND
    contested[0].refresh_from_db()
    assert contested[0].planned_on == date(2027, 2, 28)
    assert "<strong>Yes.</strong>" in shown(client)


def test_a_change_that_no_longer_helps_is_refused_and_changes_nothing(as_member, wren, contested):
    client = as_member(wren)
    contested[0].delete()

    answer = client.post(ADDRESS, {"proposal": f"move:{contested[1].pk}:2027-02-28"})

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "the day has changed meanwhile" in answer.content.decode()
    contested[1].refresh_from_db()
    assert contested[1].planned_on == SATURDAY


def test_nobody_moves_or_books_for_a_bench_that_others_hold(as_member, wren, reader, plover, contested):
    for member in (wren, reader):
        client = as_member(member)
        assert client.post(ADDRESS, {"proposal": f"move:{contested[0].pk}:2027-02-28"}).status_code == HTTPStatus.FORBIDDEN
        assert book(client, plover).status_code == HTTPStatus.FORBIDDEN
    contested[0].refresh_from_db()
    assert contested[0].planned_on == SATURDAY
    assert not Booking.objects.exists()


def test_a_wider_spacing_is_taken_for_a_first_fit_up(as_member, wren, tern_1, shared_bench, cleco, owned, planned):
    owned(shared_bench, cleco, 30)
    cleco.diameter = "1/8"
    cleco.save()
    row = factories.RivetRowFactory(step=planned(tern_1, "W2-01", SATURDAY), holes=81, cleco_every=2, cleco=cleco)
    client = as_member(wren)

    assert "if this is a first fit-up" in shown(client)
    assert client.post(ADDRESS, {"proposal": f"widen:{row.pk}:3"}).status_code == HTTPStatus.FOUND
    assert RivetRow.objects.get(pk=row.pk).cleco_every == 3
    assert "<strong>Yes.</strong>" in shown(client)


def test_what_another_bench_has_is_asked_for_not_taken(as_member, wren, plover, squeezer, contested, owned):
    contested[0].delete()
    squeezer.lots.first().holdings.update(quantity=0)
    owned(plover, squeezer, 1)
    client = as_member(wren)

    assert "Ask Heron." in shown(client)
    refused = client.post(ADDRESS, {"proposal": f"borrow:{plover.pk}"})
    assert refused.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "lent by who holds it" in refused.content.decode()


def test_club_page_shows_the_week_as_a_picture_and_as_a_table(as_member, wren, contested, squeezer, booked):
    booked(squeezer, 1, wren)

    page = shown(as_member(wren), "/club/")

    assert '<svg role="img" aria-labelledby="week-title week-about"' in page
    assert "The pool from Sat 2027-02-20 to Fri 2027-02-26" in page
    assert page.count('class="all"') == 7
    assert 'class="none"' in shown(as_member(wren), f"/club/?day={SATURDAY}")


def test_empty_club_says_what_to_do(as_member, owner):
    client = as_member(owner)

    assert "The pool has nothing to lend yet" in shown(client, "/club/")
    assert "No project plans anything for this day" in shown(client)


def test_queries_of_the_club_page_are_as_many_for_twenty_members_and_projects(
    queries_of, owner, workshop, shared_bench, squeezer, cleco, owned, planned, booked, lent, holder
):
    lot, _ = owned(shared_bench, cleco, 1000), owned(shared_bench, squeezer, 1)

    def grow(count):
        for number in range(count):
            bench = factories.BenchFactory(workshop=workshop)
            member = holder(bench, f"Builder {number}")
            project = factories.ProjectFactory(bench=bench)
            planned(project, "A", SATURDAY, wants=[(cleco, 10)])
            planned(project, "B", TODAY, wants=[(cleco, 10)])
            booked(cleco, 5, member)
            lent(lot, 5, member, owner)

    grow(1)
    booked(squeezer, 1, owner)
    booked(squeezer, 1, owner, wait=True)
    found = {address: queries_of(owner, address) for address in ("/club/", f"/club/day/?day={SATURDAY}")}
    grow(19)

    assert {address: queries_of(owner, address) for address in found} == found
    assert found["/club/"] <= 24
    assert found[f"/club/day/?day={SATURDAY}"] <= 36


# Shared material

PERIOD = "first=2027-02-01&last=2027-02-28"


def test_statement_page_csv_and_pdf_say_the_same(as_member, wren, owner, used):
    client = as_member(owner)

    page = shown(client, f"/club/statements/?{PERIOD}")
    assert '<span class="total">12.00 EUR</span>' in page
    assert "not set" in page
    csv = client.get(f"/club/statements.csv?{PERIOD}")
    assert csv.headers["Content-Disposition"] == 'attachment; filename="shared-material-2027-02-01-2027-02-28.csv"'
    lines = csv.content.decode().splitlines()
    assert lines[1].startswith("material,PLOVER-1,PLOVER,SEAL-B2,a thing,20,g,0,4.00,EUR,")
    assert lines[-1].startswith("member,,TERN,,Wren,,,,8.00,EUR,")
    with pypdfium2.PdfDocument(BytesIO(client.get(f"/club/statements.pdf?{PERIOD}").content)) as paper:
        text = " ".join(paper[0].get_textpage().get_text_range().split())
    assert "Total: 12.00 EUR" in text
    assert "Wren Bench TERN, shared by 1 8.00 EUR" in text


def test_statement_of_a_period_that_ends_before_it_begins_is_refused(as_member, owner):
    client = as_member(owner)
    backwards = "first=2027-02-28&last=2027-02-01"

    assert client.get(f"/club/statements/?{backwards}").status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert client.get(f"/club/statements.csv?{backwards}").status_code == HTTPStatus.BAD_REQUEST


def test_unit_costs_are_set_and_taken_back_by_who_keeps_the_stock(as_member, storekeeper, wren, shared_bench, workshop):
    sealant = factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g")
    factories.stock(factories.LotFactory(bench=shared_bench, item=sealant), 100)
    client, given = as_member(storekeeper), {"item": sealant.pk, "since": "2027-02-01", "amount": "0.2"}

    assert client.post(reverse("unit-costs"), given).status_code == HTTPStatus.FOUND
    assert client.post(reverse("unit-costs"), {**given, "amount": "0.25"}).status_code == HTTPStatus.FOUND
    assert client.post(reverse("unit-costs"), {**given, "amount": "-1"}).status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    cost = UnitCost.objects.get()
    assert cost.amount == Decimal("0.25")
    assert "0.25 a g" in shown(client, reverse("unit-costs"))

    builder = as_member(wren)
    assert builder.post(reverse("unit-costs"), given).status_code == HTTPStatus.FORBIDDEN
    assert builder.post(reverse("remove-unit-cost", args=[cost.pk])).status_code == HTTPStatus.FORBIDDEN
    assert as_member(storekeeper).post(reverse("remove-unit-cost", args=[cost.pk])).status_code == HTTPStatus.FOUND
    assert not UnitCost.objects.exists()
