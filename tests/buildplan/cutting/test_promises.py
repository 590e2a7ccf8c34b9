"""Promises rest on offcuts that are large enough, and nothing is kept that wasn't in the blank."""

from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from uuid import uuid4

import pytest

from buildplan.cutting import queries, services
from buildplan.cutting.models import Cut, Measured
from buildplan.cutting.problems import DoesNotFit
from buildplan.cutting.services import BlankData, Kept, Release
from buildplan.shortfall.queries import projects, shortfall
from inventory.common.problems import FieldProblem
from inventory.models import Holding, Lot, SetAside
from inventory.stock.queries import ledger_errors
from inventory.workshop.policy import NotAllowed
from tests import factories

NOW = datetime(2027, 3, 6, 12, tzinfo=UTC)
DAY = date(2027, 3, 6)
F = Fraction
pytestmark = pytest.mark.django_db


@pytest.fixture
def rail(workshop, owner):
    """A bar of 3 m with a kerf and an end trim of its own."""
    item = factories.ItemFactory(workshop=workshop, code="RAIL", kind="other")
    return services.save_blank(item=item, said=BlankData("bar", length=F(3000), kerf=F(2), end_trim=F(10)), by=owner)


@pytest.fixture
def planned(rail, lot_of, step, later_step, piece_of, owner):
    """One of 480 mm now, two later."""
    lot = lot_of(rail)
    now, later = piece_of(step, rail, "S-A", 1, length=480), piece_of(later_step, rail, "S-B", 2, length=480)
    return services.plan_cut(blank=rail, lot=lot, now={now: 1}, later={later: 2}, key=uuid4(), by=owner)


@pytest.fixture
def saw(drawer, owner):
    def saw(cut, *kept, by=owner, **more):
        sizes = [one if isinstance(one, Kept) else Kept(F(one)) for one in kept]
        said = {"on": DAY, "now": NOW} | more
        return services.saw_cut(cut=cut, source=drawer, target=drawer, kept=sizes, by=by, **said)

    return saw


def uncut():
    return {one.piece.code: one.uncut for one in queries.pieces_of()}


def short_of(project, code):
    found = {line.item.code: line for line in shortfall(projects([project.code]), before=None, as_of=date(2027, 2, 20)).lines}
    return found[code].short if code in found else 0


class TestPromise:
    def test_offcut_that_is_too_small_or_not_measured_is_refused(self, planned, saw):
        for kept, text in [
            ([100], "100 mm gives none of the 2; one of 962 mm gives them, 1 saw cut of 2 mm in. Keep one that does, or say why"),
            ([961], "961 mm gives 1 of the 2"),
            ([479, 500], "479 mm and 500 mm give 1 of the 2"),
            ([Kept()], "none of the offcuts is measured; one of 962 mm gives them.*Measure the offcut that is kept"),
            ([], "keep an offcut and write down its size, or say why"),
        ]:
            with pytest.raises(FieldProblem, match=text) as error:
                saw(planned, *kept)
            assert error.value.field == "kept"
        assert Cut.objects.get().state == "planned"
        assert not Measured.objects.exists()

    @pytest.mark.parametrize("kept", [[962], [100, 2400]])
    def test_promise_is_planned_on_the_offcut_that_gives_it(self, planned, saw, kept):
        saw(planned, *kept)
        daughter = Cut.objects.get(mother=planned)
        assert daughter.lot.measured.length == max(kept)
        assert [(line.piece.code, line.count) for line in daughter.pieces.all()] == [("S-B", 2)]
        assert SetAside.objects.get().lot == daughter.lot

    def test_promise_is_shared_among_offcuts_where_none_gives_all(self, planned, saw, drawer, project):
        saw(planned, 500, 480)
        first, second = Cut.objects.filter(mother=planned).order_by("pk")
        assert [cut.pieces.get().count for cut in (first, second)] == [1, 1]
        assert {row.lot_id for row in SetAside.objects.all()} == {first.lot_id, second.lot_id}
        assert uncut() == {"S-A": 0, "S-B": 0}
        saw(first)
        saw(second)
        assert short_of(project, "RAIL") == 0
        assert not ledger_errors()

    @pytest.mark.parametrize("kept", [[100], [Kept()], []])
    def test_reason_gives_the_promise_up_and_its_pieces_are_wanted_at_once(self, planned, saw, kept, project, builder):
        saw(planned, *kept, release="bent in the vice", by=builder)
        gone = Cut.objects.get(mother=planned)
        assert (gone.state, gone.note, gone.undone_by) == ("undone", "bent in the vice", builder)
        assert gone.history.latest().history_change_reason == "bent in the vice"
        assert not SetAside.objects.exists()
        assert uncut() == {"S-A": 0, "S-B": 2}
        assert short_of(project, "RAIL") == 1
        assert Holding.objects.filter(lot__item__code="RAIL-OFFCUT", quantity__gt=0).count() == len(kept)

    def test_reason_where_nothing_is_promised_is_refused(self, rail, lot_of, step, piece_of, owner, saw):
        piece = piece_of(step, rail, "S-A", 1, length=480)
        cut = services.plan_cut(blank=rail, lot=lot_of(rail), now={piece: 1}, later={}, key=uuid4(), by=owner)
        with pytest.raises(FieldProblem, match="promises nothing"):
            saw(cut, release="bent")

    def test_promise_by_yield_needs_no_size(self, sheet, lot_of, step, later_step, piece_of, owner, saw):
        now, later = piece_of(step, sheet, per_blank=4), piece_of(later_step, sheet, per_blank=4)
        cut = services.plan_cut(blank=sheet, lot=lot_of(sheet), now={now: 2}, later={later: 2}, key=uuid4(), by=owner)
        saw(cut, Kept())
        assert Cut.objects.get(mother=cut).state == "planned"


class TestMeasure:
    @pytest.fixture
    def offcut(self, planned, saw):
        saw(planned, 2508)
        return Lot.objects.get(item__code="RAIL-OFFCUT")

    def test_size_that_breaks_a_promise_is_refused(self, offcut, owner):
        for length in (F(1), F(961), None):
            with pytest.raises(FieldProblem, match=r"2 of S-B for F9-01 \(480 mm each\).*one of 962 mm gives them") as error:
                services.measure(lot=offcut, said=Kept(length), by=owner)
            assert error.value.field == "length"
        assert Measured.objects.get(lot=offcut).length == 2508
        assert services.measure(lot=offcut, said=Kept(F(962)), by=owner).length == 962

    def test_reason_gives_the_promise_up(self, offcut, builder, project):
        release = Release("sawn askew", NOW)
        services.measure(lot=offcut, said=Kept(F(900)), release=release, by=builder)
        daughter = Cut.objects.get(lot=offcut)
        assert (daughter.state, daughter.note, daughter.undone_at) == ("undone", "sawn askew", NOW)
        assert Measured.objects.get(lot=offcut).length == 900
        assert not SetAside.objects.exists()
        assert uncut()["S-B"] == 2
        assert short_of(project, "RAIL") == 1

    def test_reason_gives_nothing_up_that_still_fits(self, offcut, owner):
        services.measure(lot=offcut, said=Kept(F(2000)), release=Release("to be sure", NOW), by=owner)
        assert Cut.objects.get(lot=offcut).state == "planned"

    def test_whole_blank_keeps_what_is_planned_on_it_with_its_end_trim(self, planned, owner):
        least = 3 * 480 + 2 * 2 + 10
        with pytest.raises(FieldProblem, match="S-A for F3-01"):
            services.measure(lot=planned.lot, said=Kept(F(least - 1)), by=owner)
        services.measure(lot=planned.lot, said=Kept(F(least)), by=owner)

    def test_who_may_not_use_the_stock_of_the_step_s_bench_gives_nothing_up(self, offcut, reader):
        with pytest.raises(NotAllowed):
            services.measure(lot=offcut, said=Kept(F(1)), release=Release("askew", NOW), by=reader)
        assert Cut.objects.get(lot=offcut).state == "planned"


class TestSaw:
    @pytest.fixture
    def two(self, rail, lot_of, step, piece_of, owner):
        """Two of 480 mm: 2026 mm are left of 3000."""
        piece = piece_of(step, rail, "S-A", 2, length=480)
        return services.plan_cut(blank=rail, lot=lot_of(rail), now={piece: 2}, later={}, key=uuid4(), by=owner)

    def test_offcuts_and_pieces_are_no_more_than_the_blank(self, two, saw):
        for kept in ([2900, 2900, 2990], [2027], [1000, 1025], [Kept(), 2024]):
            with pytest.raises(DoesNotFit, match=r"lot B-1 gives 2990 mm: its offcuts are (less than )?20"):
                saw(two, *kept)
        assert Cut.objects.get().state == "planned"

    @pytest.mark.parametrize("kept", [[2026], [1000, 1024], [Kept(), 2000], []])
    def test_what_is_left_may_all_be_kept(self, two, saw, kept):
        saw(two, *kept)
        assert Lot.objects.filter(item__code="RAIL-OFFCUT").count() == len(kept)

    def test_sheet_keeps_no_more_than_its_area(self, workshop, owner, lot_of, step, piece_of, saw):
        item = factories.ItemFactory(workshop=workshop, code="PLATE", kind="sheet")
        plate = services.save_blank(item=item, said=BlankData("sheet", length=F(900), width=F(600)), by=owner)
        piece = piece_of(step, plate, "W-9", 1, length=300, width=200)
        cut = services.plan_cut(blank=plate, lot=lot_of(plate), now={piece: 1}, later={}, key=uuid4(), by=owner)
        with pytest.raises(DoesNotFit, match="side by side"):
            saw(cut, Kept(F(800), F(500)), Kept(F(300), F(200)))
        with pytest.raises(DoesNotFit, match="measure the offcuts again"):
            saw(cut, *[Kept(F(600), F(200))] * 5)
        saw(cut, Kept(F(600), F(600)), Kept(F(300), F(400)))

    def test_day_to_come_is_refused(self, two, saw):
        with pytest.raises(FieldProblem, match="2027-03-07 is still to come") as error:
            saw(two, on=DAY + timedelta(days=1))
        assert error.value.field == "on"
        saw(two, on=DAY - timedelta(days=1))


def test_cut_whose_blank_is_said_to_be_shorter_says_so(planned, rail, owner):
    services.save_blank(item=rail.item, said=BlankData("bar", length=F(1000), kerf=F(2)), by=owner)
    [row] = queries.cut_rows()
    found = services.shown_of(row, queries.rules())
    assert "lot B-1, 1000 mm, doesn't give" in found.unfit
    assert not services.left_of(row, queries.rules())


def test_offcut_that_was_promised_too_small_before_says_so_and_is_not_sawn(planned, saw, owner):
    saw(planned, 2508)
    daughter = Cut.objects.get(mother=planned)
    Measured.objects.filter(lot=daughter.lot).update(length=F(100))  # as it could be written down once
    assert (
        "the offcut of lot B-1, 100 mm, doesn't give 2 of S-B"
        in services.shown_of(queries.cut_rows().get(pk=daughter.pk), queries.rules()).unfit
    )
    with pytest.raises(DoesNotFit, match="gives 100 mm: measure what was cut again, or give this cut up"):
        saw(daughter)
    services.undo_cut(cut=daughter, now=NOW, by=owner)
    assert uncut()["S-B"] == 2


def test_figures_of_a_bar_are_traced(planned):
    [row] = queries.cut_rows()
    found = services.shown_of(row, queries.rules())
    said = {reason.text: reason.source for reason in found.reasons}
    assert said["lot B-1 is 3000 mm"] == "said of the blank"
    assert said["10 mm end trim comes off first: 2990 mm to cut"] == "said of the blank"
    assert said["the saw takes 2 mm a cut"] == "said of the blank"
    assert (
        "2990 mm less 1 of S-A for F3-01 (480 mm each), 2 of S-B for F9-01 (480 mm each) less 3 saw cuts of 2 mm: 1544 mm left over" in said
    )
    assert not found.unfit
    assert services.left_of(row, queries.rules()).length == 2508
