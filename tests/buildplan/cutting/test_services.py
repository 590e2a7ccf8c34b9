"""Planning, sawing and spoiling: what moves, what is held, what is refused."""

from datetime import UTC, date, datetime
from decimal import Decimal
from fractions import Fraction
from uuid import UUID, uuid4

import pytest

from buildplan.cutting import queries, services
from buildplan.cutting.models import Cut, CutPiece, Measured
from buildplan.cutting.problems import BlankPromised, CutHere, CutOver, DoesNotFit, NotThatMany, Strands
from buildplan.cutting.services import BlankData, Kept, PlannedPiece
from buildplan.hardware.services import StepDone
from buildplan.records.queries import proposals
from buildplan.shortfall.queries import projects, shortfall
from buildplan.shortfall.trace import why
from inventory.common.problems import FieldProblem
from inventory.models import Holding, Item, Lot, Movement, SetAside
from inventory.shelflife.calc import StatedDate
from inventory.stock import services as stock
from inventory.stock.problems import CutUp, SetAsideForOthers
from inventory.stock.queries import ledger_errors
from inventory.workshop.policy import NotAllowed
from tests import factories

NOW = datetime(2027, 3, 6, 12, tzinfo=UTC)
DAY = date(2027, 3, 6)
pytestmark = pytest.mark.django_db


def plan(blank, lot, by, now=None, later=None, **kwargs):
    return services.plan_cut(
        blank=blank, lot=lot, now=now or {}, later=later or {}, key=kwargs.pop("key", None) or uuid4(), by=by, **kwargs
    )


def saw(cut, drawer, by, kept=(), **kwargs):
    return services.saw_cut(cut=cut, source=drawer, target=drawer, kept=kept, on=DAY, now=NOW, by=by, **kwargs)


def needed(project, item):
    found = {line.item.code: line for line in shortfall(projects([project.code]), before=None, as_of=date(2027, 2, 20)).lines}
    return found.get(item)


class TestPlan:
    def test_plan_holds_the_blank_for_the_step_that_comes_first(self, sheet, lot_of, step, later_step, piece_of, builder):
        lot = lot_of(sheet, 2)
        now, later = piece_of(step, sheet, per_blank=4), piece_of(later_step, sheet, per_blank=4)
        cut = plan(sheet, lot, builder, {now: 2}, {later: 2})
        assert cut.state == "planned"
        assert cut.step == step
        assert list(SetAside.objects.values_list("lot", "ref", "quantity")) == [(lot.pk, f"step:{step.pk}", 1)]
        assert [promise.text for promise in queries.promises([lot.pk])[lot.pk]] == [
            "promised to F3-01 of TERN-1, planned 2027-03-06: 2 of W-31, 2 of W-31"
        ]

    def test_same_key_plans_once(self, sheet, lot_of, step, piece_of, owner):
        lot, piece, key = lot_of(sheet, 2), piece_of(step, sheet, per_blank=4), UUID(int=1)
        assert plan(sheet, lot, owner, {piece: 2}, key=key) == plan(sheet, lot, owner, {piece: 2}, key=key)
        assert CutPiece.objects.count() == 1

    def test_two_cuts_of_one_step_hold_two_blanks_and_give_them_back_one_by_one(self, sheet, lot_of, step, piece_of, owner):
        lot, piece = lot_of(sheet, 2), piece_of(step, sheet, count=8, per_blank=4)
        first, _ = (plan(sheet, lot, owner, {piece: 4}) for _ in range(2))
        assert SetAside.objects.get().quantity == 2
        services.undo_cut(cut=first, now=NOW, by=owner)
        assert SetAside.objects.get().quantity == 1

    def test_refused_is_what_is_not_wanted_not_free_not_to_be_had_or_over(self, sheet, bar, lot_of, step, piece_of, owner, reader, project):
        lot, piece, long = lot_of(sheet), piece_of(step, sheet, per_blank=4, count=6), piece_of(step, bar, "R-2", 3, length=600)
        rail = lot_of(bar, code="A-1")
        for now, error, text in [
            ({}, FieldProblem, "at least one piece"),
            ({piece: 7}, NotThatMany, "7 of W-31 for F3-01 are asked, and 6"),
            ({piece: 5}, DoesNotFit, "doesn't give 5 of W-31"),
            ({long: 1}, FieldProblem, "another blank"),
        ]:
            with pytest.raises(error, match=text):
                plan(sheet, lot, owner, now)
        with pytest.raises(DoesNotFit):
            plan(bar, rail, owner, {long: 2})
        with pytest.raises(FieldProblem, match="is no SHEET-032"):
            plan(sheet, rail, owner, {piece: 1})
        with pytest.raises(NotAllowed):
            plan(sheet, lot, reader, {piece: 1})
        plan(sheet, lot, owner, {piece: 4})
        with pytest.raises(BlankPromised, match="nothing of lot B-1 of SHEET-032 is free: promised to F3-01"):
            plan(sheet, lot, owner, {piece: 2})
        step.done = True
        step.save()
        with pytest.raises(StepDone):
            plan(bar, rail, owner, {long: 1})
        assert Cut.objects.count() == 1

    def test_quarantined_blank_is_not_cut(self, sheet, lot_of, step, piece_of, owner):
        lot = lot_of(sheet, state="quarantined")
        with pytest.raises(BlankPromised, match="only a good lot is cut"):
            plan(sheet, lot, owner, {piece_of(step, sheet, per_blank=4): 1})

    def test_cut_that_strands_names_the_pieces_and_a_better_blank(self, bar, lot_of, step, later_step, piece_of, owner, drawer):
        whole = lot_of(bar, 2, "A-1")
        offcut = lot_of(bar, 1, "A-2", item=bar.offcut)
        services.measure(lot=offcut, said=Kept(length=Fraction(650)), by=owner)
        piece_of(later_step, bar, "W-31", 4, length=500)
        short = piece_of(step, bar, "W-9", 2, length=300)
        with pytest.raises(Strands, match="leaves 1 of the 4 pieces of W-31 for F9-01 without material; cut it from the offcut of lot A-2"):
            plan(bar, whole, owner, {short: 2})
        assert not services.look_at(blank=bar, lot=offcut, now={short: 2}, later={}).stranded.lost
        assert plan(bar, whole, owner, {short: 2}, accept=True).accepted

    def test_undo_is_before_the_saw_alone(self, sheet, lot_of, step, piece_of, owner, drawer):
        lot, piece = lot_of(sheet), piece_of(step, sheet, per_blank=4)
        cut = plan(sheet, lot, owner, {piece: 2})
        services.undo_cut(cut=cut, now=NOW, by=owner)
        assert not SetAside.objects.exists()
        with pytest.raises(CutOver, match="given up"):
            services.undo_cut(cut=cut, now=NOW, by=owner)
        again = plan(sheet, lot, owner, {piece: 2})
        saw(again, drawer, owner)
        with pytest.raises(CutOver, match="sawn on 2027-03-06"):
            services.undo_cut(cut=again, now=NOW, by=owner)


class TestSaw:
    @pytest.fixture
    def half(self, sheet, lot_of, step, later_step, piece_of, owner, made_item):
        """Two of four now, two in two years."""
        lot = lot_of(sheet, 1, made_on=date(2026, 5, 1))
        services.measure(lot=lot, said=Kept(), certificate="EN 10204 3.1 no. 77", by=owner)
        now, later = piece_of(step, sheet, per_blank=4, item=made_item), piece_of(later_step, sheet, per_blank=4)
        return plan(sheet, lot, owner, {now: 2}, {later: 2})

    def test_half_now_half_later_keeps_the_rest_promised(self, half, drawer, builder, made_item, later_step, sheet):
        saw(half, drawer, builder, [Kept(Fraction(600), Fraction(500))])
        made = Lot.objects.get(item=made_item)
        rest = Lot.objects.get(item=sheet.offcut)
        assert {row.lot_id: row.quantity for row in Holding.objects.filter(quantity__gt=0)} == {made.pk: 2, rest.pk: 1}
        assert [(lot.code, lot.made) for lot in (made, rest)] == [("B-1", StatedDate(date(2026, 5, 1), "day"))] * 2
        for lot in (made, rest):
            assert (lot.measured.mother, lot.measured.certificate) == (half.lot, "EN 10204 3.1 no. 77")
        assert (rest.measured.length, rest.measured.width) == (600, 500)
        daughter = Cut.objects.get(mother=half)
        assert (daughter.lot, daughter.step, daughter.state) == (rest, later_step, "planned")
        assert list(SetAside.objects.values_list("lot", "ref")) == [(rest.pk, f"step:{later_step.pk}")]
        assert "F9-01" in queries.promises([rest.pk])[rest.pk][0].text
        assert not ledger_errors()

    def test_movements_name_the_cut_and_are_never_reversed(self, half, drawer, owner):
        saw(half, drawer, owner, [Kept()])
        moved = list(Movement.objects.filter(ref=half.ref))
        assert [(row.source.end, row.target.end) for row in moved] == [("storage", "cut"), ("cut", "storage"), ("cut", "storage")]
        for row in moved:
            with pytest.raises(CutUp, match="a saw cut isn't undone"):
                stock.reverse(movement=row, on=DAY, by=owner)

    def test_sawn_twice_or_without_the_promised_rest_is_refused(self, half, drawer, owner, reader):
        with pytest.raises(FieldProblem, match="2 of W-31 for F9-01 are promised from what is left"):
            saw(half, drawer, owner)
        with pytest.raises(NotAllowed):
            saw(half, drawer, reader, [Kept()])
        assert Cut.objects.get().state == "planned"
        assert SetAside.objects.count() == 1
        saw(half, drawer, owner, [Kept()])
        with pytest.raises(CutOver):
            saw(half, drawer, owner, [Kept()])

    def test_second_half_is_sawn_from_the_offcut(self, half, drawer, owner):
        saw(half, drawer, owner, [Kept()])
        saw(Cut.objects.get(mother=half), drawer, owner)
        assert [one.uncut for one in queries.pieces_of()] == [0, 0]
        assert not SetAside.objects.exists()
        assert not Holding.objects.filter(lot__item__code="SHEET-032-OFFCUT", quantity__gt=0).exists()

    def test_second_half_given_up_can_be_planned_on_the_offcut_again_and_not_on_more(self, half, drawer, owner, sheet):
        saw(half, drawer, owner, [Kept()])
        daughter = Cut.objects.get(mother=half)
        services.undo_cut(cut=daughter, now=NOW, by=owner)
        [later] = [one.piece for one in queries.pieces_of() if one.uncut]
        again = plan(sheet, daughter.lot, owner, {later: 2})
        assert again.lot == daughter.lot

    def test_offcut_larger_than_its_blank_is_refused(self, bar, lot_of, step, piece_of, owner, drawer):
        cut = plan(bar, lot_of(bar), owner, {piece_of(step, bar, length=400): 2})
        with pytest.raises(DoesNotFit, match="larger than the blank"):
            saw(cut, drawer, owner, [Kept(Fraction(200), unit="in")])
        saw(cut, drawer, owner, [Kept(Fraction(20), unit="cm")])
        assert Measured.objects.get().length == 20

    def test_blank_set_aside_by_hand_for_another_step_is_not_taken(self, sheet, lot_of, step, later_step, piece_of, owner, drawer):
        lot, piece = lot_of(sheet, 1), piece_of(step, sheet, per_blank=4)
        cut = plan(sheet, lot, owner, {piece: 2})
        stock.release(lot=lot, ref=f"step:{step.pk}", by=owner)
        stock.set_aside(lot=lot, ref=f"step:{later_step.pk}", quantity=Decimal(1), by=owner)
        with pytest.raises(SetAsideForOthers):
            saw(cut, drawer, owner)

    def test_bar_counted_by_the_metre_gives_its_length(self, workshop, lot_of, step, piece_of, owner, drawer):
        item = factories.ItemFactory(workshop=workshop, code="TUBE", unit="m")
        tube = services.save_blank(item=item, said=BlankData("bar", length=Fraction(2000)), by=owner)
        lot = lot_of(tube, 5, "T-1")
        saw(plan(tube, lot, owner, {piece_of(step, tube, length=700): 2}), drawer, owner, [Kept(Fraction(590))])
        assert Holding.objects.get(lot=lot).quantity == 3


class TestSpoil:
    def test_spoiled_piece_is_wanted_anew_with_its_blank(self, sheet, lot_of, step, piece_of, owner, builder, drawer, made_item, project):
        lot, piece = lot_of(sheet, 1), piece_of(step, sheet, per_blank=4, item=made_item)
        factories.CallOutFactory(step=step, item=made_item, quantity=Decimal(2))
        cut = plan(sheet, lot, owner, {piece: 2})
        saw(cut, drawer, owner)
        assert needed(project, "SHEET-032") is None
        assert needed(project, "W-31").short == 0
        line, key = cut.pieces.get(), UUID(int=2)
        for _ in range(2):
            services.spoil_pieces(line=line, count=1, cause="bent the wrong way", on=DAY, key=key, by=builder)
        found = needed(project, "SHEET-032")
        assert (found.short, found.first_short) == (1, step.planned_on)
        assert any("1 of W-31 to cut (4 from one blank, as stated)" in reason.text for reason in why(found))
        assert needed(project, "W-31").needed == 1  # the other one is cut anew, not ordered
        assert Holding.objects.get(lot__item=made_item).quantity == 1
        [standing] = queries.pieces_of()
        assert (standing.made, standing.spoiled, standing.uncut) == (1, 1, 1)

    def test_no_more_are_spoiled_than_were_sawn(self, sheet, lot_of, step, piece_of, owner, drawer):
        cut = plan(sheet, lot_of(sheet), owner, {piece_of(step, sheet, per_blank=4): 2})
        said = {"line": cut.pieces.get(), "cause": "scratched", "on": DAY, "by": owner}
        with pytest.raises(NotThatMany, match="isn't sawn yet"):
            services.spoil_pieces(**said, count=1, key=uuid4())
        saw(cut, drawer, owner)
        with pytest.raises(NotThatMany, match="3 of W-31 can't be spoiled: 2"):
            services.spoil_pieces(**said, count=3, key=uuid4())


class TestDemand:
    def test_four_from_one_blank_now_and_later_is_one_blank_now(self, sheet, step, later_step, piece_of, project):
        piece_of(step, sheet, per_blank=4)
        piece_of(later_step, sheet, per_blank=4)
        line = needed(project, "SHEET-032")
        assert (line.needed, [need.label for need in line.needs]) == (1, ["F3-01"])

    def test_planned_cut_is_served_by_what_it_holds(self, sheet, lot_of, step, later_step, piece_of, owner, project):
        lot = lot_of(sheet, 1)
        now, later = piece_of(step, sheet, per_blank=4), piece_of(later_step, sheet, per_blank=4)
        cut = plan(sheet, lot, owner, {now: 2}, {later: 2})
        line = needed(project, "SHEET-032")
        assert (line.needed, line.short, line.needs[0].source) == (1, 0, f"cut {cut.pk}, planned")

    def test_planned_blank_that_is_lost_is_wanted_again(self, sheet, lot_of, step, piece_of, owner, project, drawer):
        lot = lot_of(sheet, 1)
        plan(sheet, lot, owner, {piece_of(step, sheet, per_blank=4): 2})
        stock.lose(lot=lot, quantity=Decimal(1), place=drawer, on=DAY, by=owner)
        assert needed(project, "SHEET-032").short == 1

    def test_pieces_by_length_take_as_many_bars_as_a_cut_plan(self, bar, step, later_step, piece_of, project):
        piece_of(step, bar, "R-1", 3, length=600)
        piece_of(later_step, bar, "R-2", 3, length=400)
        line = needed(project, "ANGLE-25")
        assert [(need.label, need.quantity) for need in line.needs] == [("F3-01", 3)]

    def test_unlike_pieces_of_a_stated_cut_share_blanks(self, sheet, step, later_step, piece_of, project):
        piece_of(step, sheet, "W-31", 4, per_blank=2, cut="A")
        piece_of(step, sheet, "W-32", 2, per_blank=1, cut="A")
        piece_of(later_step, sheet, "W-33", 1, per_blank=3)
        line = needed(project, "SHEET-032")
        assert [(need.label, need.quantity) for need in line.needs] == [("F3-01", 2), ("F9-01", 1)]

    def test_pieces_take_three_queries_however_many(self, bar, step, piece_of, lot_of, owner, django_assert_num_queries):
        for many in (1, 6):
            piece = piece_of(step, bar, f"R-{many}", 2 * many, length=100)
            plan(bar, lot_of(bar, 1, f"A-{many}"), owner, {piece: 1})
            for at in range(many):
                piece_of(step, bar, f"R-{many}-{at}", 1, length=100)
            with django_assert_num_queries(3):
                assert queries.wanted({"step": step}, {step.pk: 0}, apart=False).blanks

    def test_finishing_a_step_takes_no_blank(self, sheet, lot_of, step, piece_of):
        lot_of(sheet)
        piece_of(step, sheet, per_blank=4)
        assert proposals(step, on=DAY) == ()


class TestStating:
    def test_blank_makes_an_item_for_its_offcuts(self, sheet):
        assert (sheet.offcut.code, sheet.offcut.unit, sheet.offcut.kind) == ("SHEET-032-OFFCUT", "ea", "sheet")
        assert Item.objects.filter(code="SHEET-032-OFFCUT").count() == 1

    def test_bad_blanks_and_pieces_are_refused_where_they_are_wrong(self, workshop, owner, builder, sheet, bar, step, piece_of):
        item = factories.ItemFactory(workshop=workshop, code="PLATE", kind="sheet")
        one, size = Fraction(1), {"length": Fraction(100), "width": Fraction(50)}
        for said, field in [
            (BlankData("round"), "form"),
            (BlankData("bar", **size), "width"),
            (BlankData("sheet", length=one), "width"),
            (BlankData("bar", unit="furlong"), "unit"),
            (BlankData("bar", length=one, end_trim=one), "end_trim"),
            (BlankData("bar", length=Fraction(1000), unit="m"), "length"),
            (BlankData("sheet", kerf=Fraction(-1)), "kerf"),
        ]:
            with pytest.raises(FieldProblem) as error:
                services.save_blank(item=item, said=said, by=owner)
            assert error.value.field == field, said
        for item, field in [(factories.ItemFactory(workshop=workshop, unit="g"), "item"), (sheet.offcut, "item")]:
            with pytest.raises(FieldProblem) as error:
                services.save_blank(item=item, said=BlankData("sheet"), by=owner)
            assert error.value.field == field
        for blank, fields, field in [
            (bar, {}, "length"),
            (bar, {"length": 1001}, "length"),
            (bar, {"length": 10, "width": 10}, "width"),
            (sheet, {"length": 10, "width": 10}, "per_blank"),
            (bar, {"length": 10, "cut": "A"}, "cut"),
            (bar, {"length": 10, "grain": "length"}, "grain"),
            (bar, {"per_blank": 2, "code": ""}, "code"),
            (bar, {"per_blank": 2, "hand": "both"}, "hand"),
        ]:
            with pytest.raises(FieldProblem) as error:
                piece_of(step, blank, **fields)
            assert error.value.field == field, fields
        with pytest.raises(NotAllowed):
            services.save_blank(item=item, said=BlankData("sheet"), by=builder)

    def test_what_was_cut_stays(self, sheet, lot_of, step, piece_of, owner):
        piece = piece_of(step, sheet, per_blank=4)
        plan(sheet, lot_of(sheet), owner, {piece: 2})
        with pytest.raises(CutHere):
            services.remove_piece(piece=piece, by=owner)
        with pytest.raises(CutHere):
            services.remove_blank(blank=sheet, by=owner)
        with pytest.raises(CutHere):
            services.put_pieces(project=step.project, pieces=[PlannedPiece(step.code, "OTHER", sheet.pk, per_blank=1)], by=owner)
