"""What a code is, which steps want it, and what single items are short of."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django_scopes import scope, scopes_disabled

from buildplan.hardware.services import accept_substitution
from buildplan.plan.models import Project
from buildplan.shortfall import queries as shortfall
from buildplan.shortfall.trace import why
from buildplan.wanted import queries
from buildplan.wanted.steps import MOST, next_steps
from inventory.labels.services import ensure_labels
from inventory.models import Item, Lot
from inventory.scanning.problems import UnknownCode
from inventory.tallying import services as tallying
from tests import factories

TODAY = date(2027, 2, 20)
DAY = date(2027, 3, 6)
NOW = datetime(2027, 2, 20, 12, tzinfo=UTC)


def ask(text):
    return queries.what_is(text, today=TODAY)


def token(row, by):
    return ensure_labels(rows=[row], by=by)[0].token


def figures(step):
    return tuple(None if one is None else int(one) for one in (step.needed, step.here, step.coming, step.short))


def texts(reasons):
    return [reason.text for reason in reasons]


# What it is


@pytest.mark.parametrize("text", ["MS20470AD4-6", "ms20470 ad4-6", "]C0MS20470AD4-6", "5412345000013", "]E05412345000013"])
def test_a_code_of_an_item_has_its_lots_and_places(rivet, on_shelf, text):
    found = ask(text)

    (lot,) = found.lots
    assert (found.kind, found.item) == ("item", rivet)
    assert (lot.code, lot.quantity, lot.state, lot.places) == ("R7", 112, "good", (("Hangar/Rack 1/Drawer 3", Decimal(112)),))
    assert lot.life.last_day == date(2029, 3, 31)
    assert lot.trace[0].source == "expires 2029-03-31, as printed"


def test_a_label_that_names_a_lot_has_that_lot_first(bench, rivet, on_shelf):
    factories.stock(factories.LotFactory(bench=bench, item=rivet, code="R1", expires_on=date(2027, 6, 1)), 5)

    found = ask("010541234500001310r7\x1d17290331")

    assert [(lot.code, lot.named) for lot in found.lots] == [("R7", True), ("R1", False)]
    assert found.reading.fields["expires"] == "2029-03-31"


def test_what_is_on_its_way_is_listed(rivet, crate, bag):
    factories.PackingLineFactory(crate=crate, bag=bag, item=rivet, quantity=Decimal(500))

    (coming,) = ask("MS20470AD4-6").coming

    assert (coming.crate, coming.bag, coming.still_open) == ("CRATE-7", "7A", 500)


def test_the_label_of_a_lot_is_that_lot_alone(bench, rivet, on_shelf, builder):
    factories.stock(factories.LotFactory(bench=bench, item=rivet, code="R1"), 5)

    found = ask(f"https://garage.example/t/{token(on_shelf, builder).lower()}")

    assert (found.kind, found.lot, found.item) == ("lot", on_shelf, rivet)
    assert [(lot.code, lot.quantity) for lot in found.lots] == [("R7", 112)]


def test_the_label_of_a_lot_that_is_used_up(bench, rivet, builder):
    lot = factories.LotFactory(bench=bench, item=rivet, code="R9")

    (seen,) = ask(token(lot, builder)).lots

    assert (seen.quantity, seen.places) == (0, ())


def test_the_label_of_a_place_has_what_lies_there_and_who_wants_it(rivet, on_shelf, wanted, drawer, builder):
    found = ask(token(drawer, builder))

    assert (found.kind, found.place) == ("place", drawer)
    assert [(lot.item, lot.code, lot.quantity) for lot in found.lots] == [("MS20470AD4-6", "R7", 112)]
    assert [(step.step, step.item) for step in found.wanted.steps] == [("F3-05", "MS20470AD4-6")]


def test_what_lies_in_a_place_inside_is_not_in_it(workshop, on_shelf, drawer):
    hangar = factories.PlaceFactory(workshop=workshop, path="Hangar")

    found = ask("hangar")

    assert (found.place, found.lots) == (hangar, ())


def test_the_label_of_a_bag_has_what_is_still_to_be_found(rivet, crate, bag, wanted, builder):
    inner = factories.BagFactory(crate=crate, parent=bag, name="2", path="7A/2")
    line = factories.PackingLineFactory(crate=crate, bag=inner, item=rivet, quantity=Decimal(100))
    whole = factories.PackingLineFactory(crate=crate, bag=bag, quantity=Decimal(1))
    for each, count in ((line, 60), (whole, 1)):
        tallying.tally(crate=crate, bag=each.bag, line=each, quantity=Decimal(count), at=NOW, by=builder)

    found = ask(token(bag, builder))

    (left,) = found.bag.lines
    assert (found.kind, found.bag.bag, found.bag.found_lines) == ("bag", bag, 1)
    assert (left.bag, left.item, left.listed, left.found, left.left) == ("7A/2", "MS20470AD4-6", 100, 60, 40)
    assert [step.item for step in found.wanted.steps] == ["MS20470AD4-6"]


@pytest.mark.parametrize(
    ("text", "kind"), [("r7", "lot"), ("R7", "lot"), ("hangar/rack 1/DRAWER 3", "place"), ("crate-7/7a", "bag"), ("CRATE-7", "crate")]
)
def test_what_people_type_beside_codes(on_shelf, bag, text, kind):
    assert ask(text).kind == kind


def test_a_lot_code_of_two_lots_is_none(bench, rivet, on_shelf):
    factories.stock(factories.LotFactory(bench=bench, item=factories.ItemFactory(workshop=bench.workshop), code="R7"), 1)

    with pytest.raises(UnknownCode):
        ask("R7")


# What it is not


def test_an_unknown_code_offers_to_be_taught_with_what_is_written_alike(rivet):
    with pytest.raises(UnknownCode, match="nothing here has this code") as caught:
        ask("MS20470AD4-7")

    assert caught.value.status == 422
    assert caught.value.members == {
        "code": "MS20470AD4-7",
        "kind": "opaque",
        "fields": {"text": "MS20470AD4-7"},
        "problems": [],
        "teach": {"method": "POST", "href": "/api/v1/identifiers", "body": {"item": None, "text": "MS20470AD4-7"}},
        "near": [{"code": "MS20470AD4-6", "item": "MS20470AD4-6"}],
    }


def test_of_an_unknown_label_the_part_that_names_the_item_is_taught(workshop):
    with pytest.raises(UnknownCode) as caught:
        ask("0109520123456788\x1d10ABC")

    assert caught.value.members["teach"]["body"]["text"] == "09520123456788"


def test_a_code_that_does_not_read_cleanly_says_why(workshop):
    with pytest.raises(UnknownCode, match="its check digit is wrong") as caught:
        ask("]E02112345678901")

    assert caught.value.members["problems"] == ["check_digit"]


@pytest.mark.parametrize("text", ["X" * 81, "A\x1dB", "A\0B", ""])
def test_a_code_that_no_row_can_keep_is_not_offered_to_be_taught(workshop, text):
    with pytest.raises(UnknownCode) as caught:
        ask(text)

    assert (caught.value.members["teach"], caught.value.members["near"]) == (None, [])


def test_a_text_longer_than_any_code_is_refused(workshop):
    with pytest.raises(queries.LongCode, match="4001 characters"):
        ask("X" * 4001)


def test_what_is_the_outsider_s_is_unknown(workshop, outsider):
    with scopes_disabled():
        owner = outsider.members.first()
        lot = Lot.objects.get(workshop=outsider)
    with scope(workshop=outsider):
        theirs = token(lot, owner)

    for text in (theirs, f"https://garage.example/t/{theirs}", "OUTSIDE-ITEM", "OUTSIDE-LOT", "OUTSIDE-CRATE"):
        with pytest.raises(UnknownCode) as caught:
            ask(text)
        assert "OUTSIDE" not in str(caught.value.members["near"])


# Which steps want it


def test_the_next_step_that_wants_it_says_what_is_there_for_it(wanted, on_shelf, rivet, crate):
    factories.PackingLineFactory(crate=crate, item=rivet, quantity=Decimal(28))

    (step,) = ask("MS20470AD4-6").wanted.steps

    assert (step.project, step.step, step.title, step.day) == ("TERN-1", "F3-05", "Rivet the skin", DAY)
    assert figures(step) == (240, 112, 28, 100)
    assert texts(step.trace) == [
        "F3-05 needs 240 ea on 2027-03-06: as planned",
        "lot R7 in Hangar/Rack 1/Drawer 3 gives 112 ea to F3-05 (112); it serves until 2029-03-31",
        "crate CRATE-7 (due 2027-02-20) gives 28 ea to F3-05 (28)",
        "F3-05: needed 240 - here 112 - coming 28 = short 100 ea",
    ]


def test_steps_stand_by_day_and_a_done_one_wants_nothing(project, rivet, wanted, on_shelf):
    for code, day, done in (("F3-01", DAY - timedelta(days=1), False), ("F3-00", TODAY, True)):
        step = factories.StepFactory(project=project, code=code, planned_on=day, done=done)
        factories.CallOutFactory(step=step, item=rivet, quantity=Decimal(100))

    assert [(step.step, *figures(step)) for step in ask("R7").wanted.steps] == [("F3-01", 100, 100, 0, 0), ("F3-05", 240, 12, 0, 228)]


def test_each_project_is_netted_by_itself(bench, rivet, wanted, on_shelf):
    other = factories.ProjectFactory(bench=bench, code="TERN-2")
    factories.CallOutFactory(step=factories.StepFactory(project=other, code="F3-05", planned_on=DAY), item=rivet, quantity=Decimal(100))

    assert [(step.project, *figures(step)) for step in ask("R7").wanted.steps] == [("TERN-1", 240, 112, 0, 128), ("TERN-2", 100, 100, 0, 0)]


def test_more_steps_than_are_listed_are_counted(project, rivet):
    for at in range(MOST + 3):
        step = factories.StepFactory(project=project, code=f"S{at}", planned_on=DAY + timedelta(days=at))
        factories.CallOutFactory(step=step, item=rivet)

    found = next_steps([rivet.pk], as_of=TODAY)

    assert [step.step for step in found.steps] == [f"S{at}" for at in range(MOST)]
    assert found.more == 3


def test_a_thing_that_comes_back_is_shared_by_the_steps_of_a_day(project, bench):
    cleco = factories.ItemFactory(workshop=project.workshop, code="CLECO-1/8", kind="cleco")
    factories.stock(factories.LotFactory(bench=bench, item=cleco), 40)
    for at, (day, count) in enumerate([(DAY, 30), (DAY, 20), (DAY + timedelta(days=1), 35)]):
        step = factories.StepFactory(project=project, code=f"S{at}", planned_on=day)
        factories.CallOutFactory(step=step, item=cleco, quantity=Decimal(count))

    found = ask("CLECO-1/8").wanted.steps

    assert [figures(step) for step in found] == [(30, None, None, 10), (20, None, None, 10), (35, None, None, 0)]
    assert texts(found[0].trace)[-1] == "with what other steps hold then, 10 ea lack"


def test_a_seam_that_cannot_be_reckoned_is_named(project, step):
    seam = factories.SeamFactory(step=step, code="S1")
    Item.objects.filter(pk=seam.sealant_id).update(gravity=None)

    found = ask(seam.sealant.code).wanted

    assert found.steps == ()
    assert found.left_out[0].startswith(f"seam S1 of F3-05, {seam.sealant.code}: ")


# The shortfall of single items


@pytest.fixture
def scene(workshop, bench, shared_bench, other_bench, project, step, rivet, wanted, on_shelf, crate):
    """Two projects of one bench and one of another; rivets by call-outs, rows and a substitution, clecos, a seam, all sorts of stock."""
    other, foreign = factories.ProjectFactory(bench=bench, code="TERN-2"), factories.ProjectFactory(bench=other_bench, code="PLOVER-1")
    soft = factories.ItemFactory(workshop=workshop, code="MS20470D4-6", kind="rivet")
    hard = factories.ItemFactory(workshop=workshop, code="MS20470AD5-7", kind="rivet")
    cleco = factories.ItemFactory(workshop=workshop, code="CLECO-1/8", kind="cleco")
    for at, of in enumerate((project, other, foreign)):
        first = factories.StepFactory(project=of, code="A", planned_on=DAY + timedelta(days=at))
        then = factories.StepFactory(project=of, code="B", planned_on=DAY - timedelta(days=1), after=[first])
        factories.StepFactory(project=of, code="C")
        factories.CallOutFactory(step=then, item=rivet, quantity=Decimal(60))
        factories.RivetRowFactory(step=first, rivet=soft, holes=31, cleco=cleco, cleco_every=2, clecos_until=then)
        factories.SeamFactory(step=then)
        factories.CallOutFactory(step=then, item=hard, quantity=Decimal(7))
    inspector = factories.MemberFactory(workshop=workshop, role="inspector")
    accept_substitution(step=project.steps.get(code="A"), wanted=soft, served_by=hard, note="letter", now=NOW, by=inspector)
    for of, item, count in (
        (shared_bench, rivet, 40),
        (other_bench, rivet, 9),
        (bench, hard, 20),
        (shared_bench, cleco, 10),
        (bench, soft, 5),
    ):
        factories.stock(factories.LotFactory(bench=of, item=item), count)
    lot = factories.LotFactory(bench=bench, item=hard, state="quarantined")
    factories.stock(lot, 3)
    factories.SetAsideFactory(lot=on_shelf, ref=f"step:{step.pk}", quantity=Decimal(12))
    factories.PackingLineFactory(crate=crate, item=rivet, quantity=Decimal(33))
    factories.PackingLineFactory(crate=factories.CrateFactory(bench=other_bench), item=hard, quantity=Decimal(4))
    return [project, other, foreign]


@pytest.mark.parametrize("before", [None, DAY])
def test_lines_of_single_items_are_those_of_the_whole_shortfall(scene, before):
    every = {
        (project.code, line.item.id): line for project in scene for line in shortfall.shortfall([project], before=before, as_of=TODAY).lines
    }
    assert len({item for _, item in every}) > 4

    for item in {item for _, item in every}:
        touched = queries.shortfall_of([item], before=before, as_of=TODAY)
        found = {(project.code, line.item.id): line for project, short in touched.found for line in short.lines}
        assert found == {key: line for key, line in every.items() if key[1] == item}
        assert all(why(line) == why(every[key]) for key, line in found.items())


def test_several_items_at_once(scene):
    every = {
        (project.code, line.item.id): line for project in scene for line in shortfall.shortfall([project], before=None, as_of=TODAY).lines
    }
    wanted = sorted({item for _, item in every})[:3]

    touched = queries.shortfall_of(wanted, as_of=TODAY)

    found = {(project.code, line.item.id): line for project, short in touched.found for line in short.lines}
    assert found == {key: line for key, line in every.items() if key[1] in wanted}


@pytest.mark.parametrize("items", [[], [0]])
def test_nothing_is_short_of_what_nobody_needs(scene, items):
    assert queries.shortfall_of(items, as_of=TODAY).found == ()


# How much is asked


def queries_of(call):
    with CaptureQueriesContext(connection) as found:
        call()
    return len(found)


def test_single_items_take_a_fixed_number_of_queries(scene, bench, rivet):
    def many():
        for at in range(5):
            of = factories.ProjectFactory(bench=bench, code=f"MORE-{at}")
            factories.CallOutFactory(step=factories.StepFactory(project=of), item=rivet)
            factories.stock(factories.LotFactory(bench=bench, item=rivet), 3)

    few = queries_of(lambda: queries.shortfall_of([rivet.pk], as_of=TODAY))
    many()

    assert Project.objects.count() == 8
    assert queries_of(lambda: queries.shortfall_of([rivet.pk], as_of=TODAY)) == few == 17


@pytest.mark.parametrize("text", ["MS20470AD4-6", "R7", "Hangar/Rack 1/Drawer 3", "CRATE-7/7A"])
def test_a_code_takes_a_fixed_number_of_queries(scene, bench, rivet, drawer, crate, bag, text):
    factories.PackingLineFactory(crate=crate, bag=bag, item=rivet, number="x")
    few = queries_of(lambda: ask(text))
    for at in range(6):
        factories.stock(factories.LotFactory(bench=bench, item=rivet, code=f"M{at}"), 3, place=drawer)
        factories.CallOutFactory(step=factories.StepFactory(project=scene[0], planned_on=DAY), item=rivet)
        factories.PackingLineFactory(
            crate=crate, bag=factories.BagFactory(crate=crate, parent=bag, name=f"{at}", path=f"7A/{at}"), item=rivet
        )

    assert queries_of(lambda: ask(text)) == few <= 30
