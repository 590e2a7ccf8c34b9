"""What is found for a text, in how many queries, and never anything of the outsider's."""

from datetime import date
from decimal import Decimal

from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from buildplan.finding.kinds import MOST
from buildplan.finding.queries import find
from buildplan.finding.shapes import LABELS
from inventory.models import Lot
from tests import factories
from tests.test_isolation import furnish

TODAY = date(2027, 2, 20)


def codes(text):
    """What is found, by kind."""
    return {group.kind: [hit.code for hit in group.hits] for group in find(text, today=TODAY).groups}


def queries(text):
    with CaptureQueriesContext(connection) as found:
        find(text, today=TODAY)
    return len(found)


PARTS = [
    ("universal", "item", "MS20470AD4-6"),
    ("an470 ad4", "item", "MS20470AD4-6"),
    ("EPOXY", "item", "PRIMER-EP"),
    ("époxy prim", "item", "PRIMER-EP"),
    ("r7", "lot", "R7"),
    ("7a/2", "bag", "CRATE-7/7A/2"),
    ("crate-7", "crate", "CRATE-7"),
    ("1881", "crate", "CRATE-7"),
    ("rack drawer 3", "place", "Hangar/Rack 1/Drawer 3"),
    ("f3-0", "step", "F3-04"),
    ("skin tern-1", "step", "F3-04"),
    ("tern-1", "project", "TERN-1"),
    ("bulkhead", "assembly", "Bow bulkhead"),
    ("bracket", "conflict", "Bracket faces"),
    ("sn-1", "notice", "SN-14"),
    ("set late", "notice", "SN-14"),
    ("muller", "member", "Jörg Müller"),
    ("sq-7", "thing", "SQ-77"),
    ("Sat 6 March", "seal_day", "Sat 2027-03-06"),
]


def test_find_each_kind_by_a_part_of_its_words_whatever_case_and_accents(scene):
    for text, kind, code in PARTS:
        assert code in codes(text).get(kind, ()), text


def test_find_sees_every_kind_that_has_a_label():
    from buildplan.finding.kinds import KINDS, SEAL_DAYS  # noqa: PLC0415 - the list is this test's subject

    assert [kind.name for kind in (*KINDS, SEAL_DAYS)] == list(LABELS)


def test_find_goes_to_the_one_thing_whose_code_it_is(scene):
    goes = {
        "ms20470 ad4-6": f"{reverse('code')}?code=MS20470AD4-6",
        "AN470AD4-6": f"{reverse('code')}?code=MS20470AD4-6",
        "R7": reverse("lot", args=[scene.lot.pk]),
        "crate-7": reverse("crate", args=[scene.crate.pk]),
        "CRATE-7/7A/2": reverse("count-bag", args=[scene.bag.pk]),
        "7a/2": reverse("count-bag", args=[scene.bag.pk]),
        "hangar/rack 1/drawer 3": f"{reverse('shelves')}?place=Hangar%2FRack+1%2FDrawer+3",
        "drawer 3": f"{reverse('shelves')}?place=Hangar%2FRack+1%2FDrawer+3",
        "TERN-1 F3-04": reverse("step", args=["TERN-1", "F3-04"]),
        "jorg muller": reverse("member", args=[scene.person.pk]),
        "bow bulkhead": reverse("assembly", args=[scene.assembly.pk]),
        "bracket faces": reverse("conflict", args=[scene.conflict.pk]),
        "SN-14": reverse("notice", args=[scene.notice.pk]),
        "2027-03-06": reverse("seal-day", args=[scene.day.pk]),
        scene.label.token: f"{reverse('shelves')}?place=Hangar%2FRack+1%2FDrawer+3",
        f"https://garage.example/t/{scene.label.token.lower()}": f"{reverse('shelves')}?place=Hangar%2FRack+1%2FDrawer+3",
    }
    for text, address in goes.items():
        assert (found := find(text, today=TODAY).exact), text
        assert found.address == address


def test_find_reads_a_scanner_s_burst_with_its_separators(scene):
    for separator in ("\x1d", "<GS>", "\u241d"):
        text = f"]C1010541234500001310R7{separator}17290331"

        found = find(f"{text}\r", today=TODAY)
        assert found.exact
        assert (found.exact.name, found.exact.asked) == ("code", (("code", text),))


def test_find_lists_where_two_things_have_the_code(scene):
    factories.LotFactory(bench=scene.bench, item=scene.rivet, code="R7")

    found = find("R7", today=TODAY)
    assert found.exact is None
    assert [hit.exact for group in found.groups for hit in group.hits] == [True, True]


def test_find_tells_what_it_is_where_it_lies_and_a_line(scene):
    (hit,) = next(group for group in find("universal", today=TODAY).groups if group.kind == "item").hits

    assert (hit.what, hit.where, hit.line) == ("rivet", "112 ea in Hangar/Rack 1/Drawer 3", "counted in ea")


def near(text):
    return {group.kind: [hit.code for hit in group.hits] for group in find(text, today=TODAY).near}


def test_find_offers_what_is_written_nearly_alike_where_nothing_is_found(scene):
    assert near("AN470AD4-9")["item"] == ["MS20470AD4-6"]
    assert near("epoxi primmer")["item"] == ["PRIMER-EP"]
    assert near("Mueler")["member"] == ["Jörg Müller"]
    assert near("F3-O4")["step"] == ["F3-04"]
    assert near("rivet") == {}


def test_find_says_what_would_do_with_an_unknown_code(scene):
    found = find("XK-999", today=TODAY)

    assert (found.groups, found.exact, found.teach) == ((), None, True)
    assert "teach it" in found.unknown


def test_find_takes_any_text(scene):
    for text in (
        "",
        "  ",
        "\0",
        "a\0b",
        "x" * 5000,
        "%",
        "_",
        "[",
        "(",
        "\\",
        "'",
        "a" * 300,
        "\u0301",
        "]C1",
        "ß",
        "\ud7ff",
        "a|b",
        "{2}",
    ):
        assert len(find(text, today=TODAY).groups) <= len(LABELS)


def test_find_says_in_which_bag_an_item_lies_that_nobody_has_counted_yet(scene):
    part = factories.ItemFactory(workshop=scene.bench.workshop, code="RIB-3", name="Nose rib")
    for bag, quantity in ((scene.bag, 3), (None, 1)):
        factories.PackingLineFactory(crate=scene.crate, bag=bag, item=part, quantity=Decimal(quantity))
    here = "1 ea in crate CRATE-7, in no bag, not counted yet, 3 ea in bag 7A/2 of CRATE-7, not counted yet"
    for arrived, told in ((None, "none of it here"), (TODAY, here)):
        scene.crate.arrived_on = arrived
        scene.crate.save()
        [group] = find("RIB-3", today=TODAY).groups
        assert group.hits[0].where == told


def test_find_lists_the_bags_of_one_number_in_two_crates(scene):
    factories.BagFactory(crate=factories.CrateFactory(bench=scene.bench, code="CRATE-8"), path="7A/2", name="2")

    found = find("7A/2", today=TODAY)
    assert (found.exact, codes("7A/2")["bag"]) == (None, ["CRATE-7/7A/2", "CRATE-8/7A/2"])


def test_find_lists_ten_of_a_kind_and_the_page_of_all(scene):
    for at in range(MOST + 2):
        factories.LotFactory(bench=scene.bench, item=scene.rivet, code=f"B-{at:02}")

    (group,) = [group for group in find("B-", today=TODAY).groups if group.kind == "lot"]
    assert (len(group.hits), group.more, group.every.address) == (MOST, True, f"{reverse('shelves')}?text=B-")


def test_find_takes_as_many_queries_for_many_rows_as_for_one(scene):
    texts = ("rivet", "R7", "CRATE-7/7A/2", "2027-03-06", "rivit skyn", "]C1010541234500001310R7")
    once = [queries(text) for text in texts]
    for at in range(30):
        item = factories.ItemFactory(workshop=scene.bench.workshop, code=f"MS20470AD4-{at}X", name="Rivet, universal head")
        factories.stock(factories.LotFactory(bench=scene.bench, item=item, code=f"R7-{at}"), 5, scene.drawer)
        factories.StepFactory(project=scene.project, code=f"F3-04-{at}", title="Rivet the skin")
        factories.BagFactory(crate=scene.crate, path=f"7A/2{at}", name=f"2{at}")

    assert [queries(text) for text in texts] == once
    assert max(once) <= 46


def test_find_never_finds_the_outsider_s(outsider, scene):
    furnish(outsider)
    theirs = Lot._base_manager.filter(workshop=outsider, code="OUTSIDE-LOT").values_list("label__token", flat=True)[0]

    for text in ("OUTSIDE", "outside-item", "OUTSIDE-LOT", "OUTSIDE-CRATE/7A", "OUTSIDE owner", "OUTSIDE serial", "OUTSIDE-SERIAX", theirs):
        found = find(text, today=TODAY)
        assert found.exact is None, text
        assert "OUTSIDE" not in str([hit for group in (*found.groups, *found.near) for hit in group.hits])
    assert find(factories.DAY.isoformat(), today=TODAY).groups == ()


def test_lots_with_something_left_come_first(scene):
    for at, quantity in enumerate((0, 3)):
        lot = factories.LotFactory(bench=scene.bench, item=scene.rivet, code=f"Z-{at}")
        if quantity:
            factories.stock(lot, Decimal(quantity), scene.drawer)

    assert codes("Z-")["lot"] == ["Z-1", "Z-0"]
