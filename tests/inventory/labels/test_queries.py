"""What labels say, and what there is to print."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django_scopes import scopes_disabled

from inventory.labels import queries, services
from inventory.labels.queries import Thing
from inventory.models import Bag, Label, Lot, Place
from tests import factories


@pytest.fixture
def crate(bench):
    return factories.CrateFactory(bench=bench, code="CRATE-7")


@pytest.fixture
def bag(crate):
    return factories.BagFactory(crate=crate, path="7A/2")


@pytest.fixture
def rivets(workshop):
    return factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", name="Rivet", identifiers=["AN470AD4-6"])


@pytest.fixture
def held(bench, rivets, drawer):
    lot = factories.LotFactory(bench=bench, item=rivets, code="R-344", expires_on=date(2027, 3, 31), expires_as="month")
    factories.stock(lot, 12, drawer)
    return lot


def face(kind, row):
    (found,) = queries.faces([Thing(kind, row.pk)])
    return found


def test_face_of_a_lot(held):
    found = face("lot", held)

    assert (found.head, found.name, found.facts) == ("MS20470AD4-6", "Rivet", ("lot R-344", "expires 2027-03"))
    assert found.where == "Hangar/Rack 1/Drawer 3"
    assert found.token is None


def test_face_of_a_lot_in_two_places_names_neither(held):
    factories.stock(held, 1)

    assert face("lot", held).where == ""


def test_face_of_a_bag(bag):
    factories.PackingLineFactory(crate=bag.crate, bag=bag)

    found = face("bag", bag)
    assert (found.head, found.name, found.facts) == ("Bag 7A/2", "crate CRATE-7", ("to Bench TERN", "1 line"))


def test_face_of_a_place(drawer, builder):
    (label,) = services.ensure_labels(rows=[drawer], by=builder)

    found = face("place", drawer)
    assert (found.head, found.where, found.token) == ("Drawer 3", "Hangar/Rack 1/Drawer 3", label.token)


def test_faces_keep_their_order(held, bag, drawer):
    wanted = [Thing("place", drawer.pk), Thing("lot", held.pk), Thing("bag", bag.pk)]

    assert [found.thing for found in queries.faces(wanted)] == wanted


def test_outsider_s_things_have_no_face_and_no_row(outsider, workshop):
    with scopes_disabled():
        theirs = [
            *(Thing("lot", pk) for pk in Lot.objects.filter(workshop=outsider).values_list("pk", flat=True)),
            *(Thing("place", pk) for pk in Place.objects.filter(workshop=outsider).values_list("pk", flat=True)),
            *(Thing("bag", pk) for pk in Bag.objects.filter(workshop=outsider).values_list("pk", flat=True)),
        ]
    assert queries.faces(theirs) == []
    assert queries.rows_of(theirs) == []


def test_labelled_reads_a_token_in_any_case(held, builder):
    (label,) = services.ensure_labels(rows=[held], by=builder)

    assert queries.labelled(label.token.lower()).lot == held
    assert queries.labelled("RL000000000") is None
    assert queries.labelled("ﬁ") is None


def test_labelled_knows_nothing_of_the_outsider_s(outsider, workshop):
    with scopes_disabled():
        theirs = Label.objects.create(workshop=outsider, lot=Lot.objects.get(workshop=outsider), token=services.make_token(1))

    assert queries.labelled(theirs.token) is None


def test_places_under_one_are_it_and_all_within(workshop, drawer):
    rack = factories.PlaceFactory(workshop=workshop, path="Hangar/Rack 1")
    factories.PlaceFactory(workshop=workshop, path="Hangar/Rack 10")

    assert queries.places(" hangar / RACK 1") == [Thing("place", rack.pk), Thing("place", drawer.pk)]
    assert len(queries.places()) == 3
    assert queries.places("drawer") == [Thing("place", drawer.pk)]
    assert queries.places("cellar") == []


def test_lots_by_item_and_place(held, bench, rivets, workshop):
    elsewhere = factories.LotFactory(bench=bench, item=rivets, code="R-1")
    factories.stock(elsewhere, 3, factories.PlaceFactory(workshop=workshop, path="Loft"))
    factories.LotFactory(bench=bench, item=rivets, code="nothing left")

    assert queries.lots(item=rivets) == [Thing("lot", elsewhere.pk), Thing("lot", held.pk)]
    assert queries.lots(under="hangar") == [Thing("lot", held.pk)]
    assert queries.lots(item=rivets, under="Loft") == [Thing("lot", elsewhere.pk)]


def test_bags_by_path(crate):
    second, first = (factories.BagFactory(crate=crate, path=path) for path in ("B", "A"))

    assert queries.bags(crate) == [Thing("bag", first.pk), Thing("bag", second.pk)]
    assert queries.crates_with_bags() == [(crate.pk, "CRATE-7")]


def test_typed_lines_name_places_bags_lots_and_items(held, bag, drawer):
    found = queries.typed(["hangar/rack 1/DRAWER 3", " crate-7/7a/2", "r-344", "an470 ad4-6", "", "no such", "R-344"])

    assert found.things == (Thing("place", drawer.pk), Thing("bag", bag.pk), Thing("lot", held.pk))
    assert found.unknown == ("no such",)


def test_typed_lines_beyond_ascii(workshop, bench, rivets):
    lot = factories.LotFactory(bench=bench, item=rivets, code="Grün-ö")

    assert queries.typed(["Grün-ö"]).things == (Thing("lot", lot.pk),)


def test_typed_lines_never_name_the_outsider_s(outsider, workshop):
    assert queries.typed(["OUTSIDE-LOT", "OUTSIDE-ITEM", "OUTSIDE-CRATE/7A"]).things == ()


def test_queries_do_not_grow_with_the_things(workshop, bench, rivets, crate):
    counts = []
    for more in (30, 0):
        things = queries.lots() + queries.places() + queries.bags(crate)
        with CaptureQueriesContext(connection) as found:
            queries.faces(things)
            queries.rows_of(things)
            queries.typed([f"Shelf {number}" for number in range(len(things))])
        counts.append((len(things), len(found)))
        for number in range(more):
            factories.BagFactory(crate=crate, path=f"{number}")
            factories.stock(factories.LotFactory(bench=bench, item=rivets), 1)
    assert counts[1][0] >= 90
    assert counts[1][1] <= 11
