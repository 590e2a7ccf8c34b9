"""Eight at once: what must happen once does, and the ledger holds."""

from collections import Counter
from decimal import Decimal
from uuid import UUID

import pytest
from django_scopes import scopes_disabled

from inventory.catalogue import services as catalogue
from inventory.models import Bench, Crate, Holding, Lot, Member, Movement, PackingLine, Place, Workshop
from inventory.receiving import services as receiving
from inventory.stock import services as stock
from inventory.stock.models import End
from inventory.stock.queries import ledger_errors, on_hand
from inventory.workshop import services as workshops
from tests import factories
from tests.factories import DAY

pytestmark = pytest.mark.django_db(transaction=True)


def kinds(results):
    return Counter(type(result).__name__ for result in results)


def test_eight_use_the_last_five_and_five_win(at_once, lot, drawer, builder):
    factories.stock(lot, 5, place=drawer)

    results = at_once(lambda _: stock.use(lot=lot, quantity=1, place=drawer, on=DAY, by=builder))

    assert kinds(results) == {"Movement": 5, "NotEnough": 3}
    assert on_hand(lot) == 0
    assert ledger_errors() == []


def test_eight_moves_to_and_fro_over_two_lots_all_get_through(at_once, bench, drawer, workshop, builder):
    lots = [factories.LotFactory(bench=bench) for _ in range(2)]
    shelf = factories.PlaceFactory(workshop=workshop)
    for lot in lots:
        factories.stock(lot, 8, place=drawer)
        factories.stock(lot, 8, place=shelf)

    def act(number):
        source, target = (drawer, shelf) if number % 2 else (shelf, drawer)
        return [stock.move(lot=lot, quantity=1, source=source, target=target, on=DAY, by=builder) for lot in lots]

    assert kinds(at_once(act)) == {"list": 8}
    assert set(Holding.objects.values_list("quantity", flat=True)) == {Decimal(8)}
    assert ledger_errors() == []


def test_eight_bulk_receipts_add_up(at_once, bench, drawer, storekeeper):
    lots = [factories.LotFactory(bench=bench) for _ in range(5)]

    def act(number):
        order = lots if number % 2 else lots[::-1]
        return stock.receive_many(deliveries=[(lot, drawer, Decimal(1)) for lot in order], on=DAY, by=storekeeper)

    assert kinds(at_once(act)) == {"list": 8}
    assert set(Holding.objects.values_list("quantity", flat=True)) == {Decimal(8)}
    assert ledger_errors() == []


def test_eight_reverses_of_one_movement_undo_it_once(at_once, lot, drawer, builder):
    factories.stock(lot, 5, place=drawer)
    used = stock.use(lot=lot, quantity=2, place=drawer, on=DAY, by=builder)

    results = at_once(lambda _: stock.reverse(movement=used, on=DAY, by=builder))

    assert kinds(results) == {"Movement": 1, "AlreadyReversed": 7}
    assert on_hand(lot) == 5


def test_eight_set_asides_never_exceed_what_is_there(at_once, lot, drawer, builder):
    factories.stock(lot, 5, place=drawer)

    results = at_once(lambda number: stock.set_aside(lot=lot, ref=f"step:{number}", quantity=2, by=builder))

    assert kinds(results) == {"SetAside": 2, "NotEnough": 6}


def test_eight_openings_start_one_opened_life(at_once, lot, builder):
    assert kinds(at_once(lambda _: stock.open_lot(lot=lot, on=DAY, by=builder))) == {"Lot": 1, "AlreadyOpen": 7}


def test_eight_uses_of_one_link_let_one_in(at_once):
    user = factories.UserFactory()
    token = workshops.sign_in_token(user)

    results = at_once(lambda _: workshops.use_sign_in_link(user.pk, token))

    assert kinds(results) == {"User": 1, "NoneType": 7}


def test_eight_forms_of_one_request_make_one_crate(at_once, bench, item, storekeeper):
    asked = {"bench": bench, "item": item, "quantity": Decimal(200), "due_on": None, "ordered_on": DAY, "by": storekeeper}

    results = at_once(lambda _: receiving.expect(**asked, request_key=UUID(int=7)))

    assert {line.pk for line in results} == {PackingLine.objects.get().pk}
    assert Crate.objects.get().code == "ORDER-2027-02-20-1"


def test_eight_orders_get_eight_numbers(at_once, bench, item, storekeeper):
    asked = {"bench": bench, "item": item, "quantity": Decimal(200), "due_on": None, "ordered_on": DAY, "by": storekeeper}

    assert kinds(at_once(lambda _: receiving.expect(**asked))) == {"PackingLine": 8}
    assert {crate.code for crate in Crate.objects.all()} == {f"ORDER-2027-02-20-{number}" for number in range(1, 9)}


def test_eight_arrivals_of_one_line_receive_once(at_once, bench, item, drawer, storekeeper):
    line = factories.PackingLineFactory(crate=factories.CrateFactory(bench=bench), item=item)

    results = at_once(lambda _: receiving.arrive(line=line, quantity=10, place=drawer, on=DAY, by=storekeeper, lot_code="R7"))

    assert kinds(results) == {"Movement": 1, "NothingOpen": 7}
    assert (Lot.objects.count(), Movement.objects.count()) == (1, 1)


def test_eight_arrivals_of_eight_lines_make_one_lot(at_once, bench, item, drawer, storekeeper):
    lines = [factories.PackingLineFactory(crate=factories.CrateFactory(bench=bench), item=item) for _ in range(8)]

    results = at_once(lambda n: receiving.arrive(line=lines[n], quantity=10, place=drawer, on=DAY, by=storekeeper, lot_code="R7"))

    assert kinds(results) == {"Movement": 8}
    assert on_hand(Lot.objects.get()) == 80
    assert Place.objects.filter(end=End.SUPPLIER).count() == 1


def test_eight_who_ask_first_get_the_same_rows(at_once, workshop, item, storekeeper):
    def act(_):
        made = workshops.ensure_workshop(code="HERON")[0]
        bench = workshops.ensure_bench(workshop=workshop, code="HERON", by=storekeeper)[0]
        place = stock.ensure_place(workshop=workshop, path="Barn/Rack/Drawer", by=storekeeper)
        code = catalogue.add_identifier(item=item, text="ALIAS", by=storekeeper)
        return made.pk, workshops.hand(made).pk, bench.pk, place.pk, code.pk

    results = at_once(act)

    assert len(set(results)) == 1
    assert (Bench.objects.filter(code="HERON").count(), Workshop.objects.filter(code="HERON").count()) == (1, 1)


def test_eight_owners_who_demote_each_other_leave_one(at_once, workshop):
    owners = [factories.MemberFactory(workshop=workshop, role="owner") for _ in range(8)]

    def act(number):
        other = owners[(number + 1) % 8]
        by = workshops.hand(workshop)
        return workshops.set_member(email=other.user.email, workshop=workshop, name="x", role="builder", by=by)

    assert kinds(at_once(act)) == {"tuple": 7, "LastOwner": 1}
    with scopes_disabled():
        assert Member.objects.filter(workshop=workshop, role="owner").count() == 1
