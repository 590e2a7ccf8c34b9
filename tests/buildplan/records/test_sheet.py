"""A step's sheet: rows, checks, tools, clecos, seams and sealants, each with its reasons."""

from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest

from buildplan.models import Substitution
from buildplan.records import services
from buildplan.records.services import Use
from buildplan.records.sheet import sheet_on
from tests import factories
from tests.factories import DAY


@pytest.fixture
def rivet(workshop):
    return factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", kind="rivet", diameter=Fraction(1, 8))


@pytest.fixture
def cleco(workshop):
    return factories.ItemFactory(workshop=workshop, code="CLECO-4", kind="cleco", diameter=Fraction(1, 8))


@pytest.fixture
def sealant(workshop):
    known = {"gravity": Decimal("1.55"), "base": Decimal(100), "accelerator": Decimal(10)}
    return factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g", **known)


@pytest.fixture
def shown(step):
    return lambda: sheet_on(step, DAY)


def texts(reasons):
    return " | ".join(f"{reason.text} [{reason.source}]" for reason in reasons)


class TestRows:
    def test_row_agrees_with_its_call_out(self, step, rivet, shown):
        factories.RivetRowFactory(step=step, code="KEEL", rivet=rivet, holes=40, grip=Fraction("0.1875"))

        (row,) = shown().rows
        assert (row.code, row.rivet, row.holes, row.quantity) == ("KEEL", "MS20470AD4-6", 40, 40)
        assert (row.reckoned, row.question) == (Fraction(6, 16), "")
        assert "grip 0.1875 + 1.5 x D 0.125 = 0.375 in [NAVEDTRA 14018 fig. 13-43]" in texts(row.why)
        assert "the call-out of the plans is as long" in texts(row.why)

    def test_row_asks_where_grip_and_call_out_differ_and_corrects_nothing(self, step, rivet, shown):
        factories.RivetRowFactory(step=step, rivet=rivet, grip=Fraction("0.25"))

        (row,) = shown().rows
        assert row.rivet == "MS20470AD4-6"
        assert row.reckoned == Fraction(7, 16)
        assert row.question.endswith("The call-out on the plans wins: is the grip right?")

    def test_row_rounds_by_the_workshop_s_own_policy(self, step, rivet, shown):
        factories.RivetRowFactory(step=step, rivet=rivet, grip=Fraction("0.064"))
        assert shown().rows[0].sixteenths == Fraction("4.5")

        step.project.bench.workshop.rivet_rounding = "up_whole"
        assert shown().rows[0].sixteenths == 5

    def test_row_without_a_grip_is_not_reckoned(self, step, rivet, shown):
        factories.RivetRowFactory(step=step, rivet=rivet)

        (row,) = shown().rows
        assert (row.reckoned, row.question) == (None, "")
        assert "no grip is given" in texts(row.why)

    def test_row_counts_the_loss_of_its_size(self, step, rivet, workshop, shown):
        factories.RivetRowFactory(step=step, rivet=rivet, holes=40)
        workshop.rivet_losses.create(diameter=Fraction(1, 8), percent=Decimal(5))

        (row,) = shown().rows
        assert (row.quantity, row.note) == (42, "40 holes + 5 % loss = 42, rounded up")

    def test_row_s_bar_is_as_long_and_thick_as_the_rivet(self, step, rivet, shown):
        factories.RivetRowFactory(step=step, rivet=rivet)

        (bar,) = shown().bars
        assert (bar.width, bar.height) == ("9.525", "3.175")

    def test_rows_of_one_rivet_have_one_bar(self, step, rivet, workshop, shown):
        short = factories.ItemFactory(workshop=workshop, code="MS20470AD4-4", kind="rivet", diameter=Fraction(1, 8))
        for item in (rivet, short, rivet):
            factories.RivetRowFactory(step=step, rivet=item)

        assert [bar.length for bar in shown().bars] == [Fraction(4, 16), Fraction(6, 16)]

    def test_row_reads_a_length_off_another_code_of_the_item(self, step, workshop, shown):
        item = factories.ItemFactory(workshop=workshop, code="BIN-R06", kind="rivet", diameter=Fraction(1, 8), identifiers=["AN470AD4-6"])
        factories.RivetRowFactory(step=step, rivet=item)

        assert shown().bars[0].length == Fraction(6, 16)

    def test_row_of_a_code_that_tells_no_length_says_so(self, step, workshop, shown):
        item = factories.ItemFactory(workshop=workshop, code="BLIND-4", kind="rivet", diameter=Fraction(1, 8))
        factories.RivetRowFactory(step=step, rivet=item, grip=Fraction("0.1"))

        (row,) = shown().rows
        assert (row.bar, row.reckoned) == (None, None)
        assert "the code BLIND-4 doesn't tell a length" in texts(row.why)
        assert [check.diameter for check in shown().checks] == [Fraction(1, 8)]

    def test_row_shows_the_rivet_that_an_inspector_accepted(self, step, rivet, workshop, shown):
        thicker = factories.ItemFactory(workshop=workshop, code="MS20470AD5-6", kind="rivet", diameter=Fraction(5, 32))
        factories.RivetRowFactory(step=step, rivet=rivet, grip=Fraction("0.1875"))
        inspector = factories.MemberFactory(workshop=workshop, role="inspector")
        Substitution.objects.create(workshop=workshop, step=step, wanted=rivet, served_by=thicker, by=inspector, note="the maker agrees")

        found = shown()
        (row,) = found.rows
        assert (row.rivet, row.instead_of, row.bar.diameter) == ("MS20470AD5-6", "MS20470AD4-6", Fraction(5, 32))
        assert [check.diameter for check in found.checks] == [Fraction(5, 32)]
        assert "#21" in [tool.name for tool in found.tools]


class TestChecksAndTools:
    def test_checks_give_head_edge_and_pitch_with_their_source(self, step, rivet, shown):
        for _ in range(2):
            factories.RivetRowFactory(step=step, rivet=rivet)

        (check,) = shown().checks
        sizes = {figure.name: figure.value for figure in check.figures}
        assert (sizes["driven_width"], sizes["edge_distance"], sizes["pitch_floor"]) == (Fraction(3, 16), Fraction(1, 4), Fraction(3, 8))
        assert "AC 43.13-1B" in check.sources

    def test_tools_stand_in_the_order_used(self, step, rivet, workshop, shown):
        flush = factories.ItemFactory(workshop=workshop, code="MS20426AD3-3.5", kind="rivet", diameter=Fraction(3, 32))
        for item in (flush, rivet):
            factories.RivetRowFactory(step=step, rivet=item)

        assert [tool.use for tool in shown().tools] == ["pilot", "pilot", "final", "final", "deburr", "countersink or dimple"]

    def test_dies_are_the_catalogue_s_tools_of_the_size(self, step, rivet, workshop, outsider, shown):
        die = factories.ItemFactory(workshop=workshop, code="DIE-4", kind="tool", diameter=Fraction(1, 8))
        factories.ItemFactory(workshop=workshop, code="DIE-3", kind="tool", diameter=Fraction(3, 32))
        factories.ItemFactory(workshop=outsider, code="OUTSIDE-DIE", kind="tool", diameter=Fraction(1, 8))
        factories.RivetRowFactory(step=step, rivet=rivet)
        assert [(one.item, one.called_out) for one in shown().dies] == [("DIE-4", False)]

        factories.CallOutFactory(step=step, item=die)
        assert [(one.item, one.called_out) for one in shown().dies] == [("DIE-4", True)]


class TestClecos:
    def test_clecos_have_count_spacing_colour_and_the_step_that_frees_them(self, step, rivet, cleco, shown):
        later = factories.StepFactory(project=step.project, code="F3-06")
        row = {"step": step, "rivet": rivet, "holes": 20, "cleco_every": 3, "cleco": cleco}
        factories.RivetRowFactory(code="KEEL", clecos_until=later, **row)
        factories.RivetRowFactory(code="CHINE", **row)

        first, second = shown().clecos
        assert (first.item, first.count, first.every, first.colour, first.until) == ("CLECO-4", 8, 3, "copper", "F3-06")
        assert second.until == ""
        assert "they come off with this step" in texts(second.reasons)

    def test_cleco_of_a_size_without_a_usual_colour_has_none(self, step, rivet, cleco, shown):
        cleco.diameter = Fraction(1, 4)
        cleco.save()
        factories.RivetRowFactory(step=step, rivet=rivet, cleco_every=1, cleco=cleco)

        assert (shown().clecos[0].colour, shown().colours) == ("", False)


class TestSealants:
    def test_sealant_adds_up_its_seams_and_its_call_out(self, step, sealant, shown):
        factories.SeamFactory(step=step, code="KEEL", sealant=sealant)
        factories.SeamFactory(step=step, code="CHINE", sealant=sealant, leg_b=Fraction(12))
        factories.CallOutFactory(step=step, item=sealant, quantity=Decimal(10))

        found = shown()
        (product,) = found.products
        assert [seam.grams for seam in found.seams] == [Decimal("27.900"), Decimal("55.800")]
        assert (product.seams, product.total, product.faults) == (Decimal("83.7"), Decimal("93.7"), ())
        assert "triangle: a b / 2 x length" in texts(found.seams[0].reasons)
        assert "10 g as the plans say [call-out of the plan]" in texts(product.reasons)

    def test_sealant_called_out_in_ounces_is_weighed_in_grams(self, step, sealant, shown):
        sealant.unit = "oz"
        sealant.save()
        factories.CallOutFactory(step=step, item=sealant, quantity=Decimal(1))

        assert shown().products[0].total == Decimal("28.350")

    def test_seam_of_a_sealant_without_gravity_is_not_known_and_no_number(self, step, sealant, shown):
        sealant.gravity = None
        sealant.save()
        factories.SeamFactory(step=step, code="KEEL", sealant=sealant)

        found = shown()
        assert (found.seams[0].grams, found.seams[0].fault) == (None, "gravity: not known: read it off the data sheet")
        assert (found.products[0].total, found.cautions) == (None, True)
        assert found.products[0].faults == ("seam KEEL: gravity: not known: read it off the data sheet",)

    def test_sealant_by_volume_has_no_grams(self, step, sealant, shown):
        sealant.unit = "mL"
        sealant.save()
        factories.CallOutFactory(step=step, item=sealant, quantity=Decimal(60))

        (product,) = shown().products
        assert product.total is None
        assert product.faults == ("60 mL are called out: how many grams that is isn't known",)

    def test_sealant_shows_the_workshop_s_own_figure_beside_the_formula(self, step, sealant, bench, drawer, builder, shown):
        factories.SeamFactory(step=step, sealant=sealant)
        assert shown().products[0].own == ""

        for used in (29, 36):
            done = factories.StepFactory(project=step.project)
            factories.SeamFactory(step=done, sealant=sealant)
            lot = factories.LotFactory(bench=bench, item=sealant, expires_on=date(2028, 1, 1))
            factories.stock(lot, 100, drawer)
            services.finish_step(step=done, on=DAY, uses=[Use(lot, drawer, Decimal(used))], by=builder)

        (product,) = shown().products
        assert product.own == "formula 27.9 g; your own 2 steps used 1.16 times that (1.04-1.29): 32.5 g"
        assert product.total == Decimal("27.900")


class TestNeeds:
    def test_needs_say_where_things_lie_and_what_is_short(self, step, stocked, lot, drawer, shown):
        (need,) = shown().needs
        assert (need.quantity, need.short, need.lies) == (100, 0, (f"{lot.code} in {drawer.path}",))
        assert f"100 of 130 ea from {lot.code} in {drawer.path}" in texts(need.reasons)

    def test_needs_say_what_does_not_count(self, step, wanted, bench, item, shown):
        factories.stock(factories.LotFactory(bench=bench, item=item, code="Q", state="quarantined"), 10)

        (need,) = shown().needs
        assert need.short == 100
        assert "10 ea don't count, quarantined" in texts(need.reasons)

    def test_done_step_still_shows_what_it_needed(self, step, wanted, rivet, sealant, cleco):
        factories.RivetRowFactory(step=step, rivet=rivet, holes=20, cleco_every=3, cleco=cleco)
        factories.SeamFactory(step=step, sealant=sealant)
        step.done = True
        step.save()

        found = sheet_on(step, DAY)
        assert {need.item: need.quantity for need in found.needs} == {
            wanted.item.code: 100,
            "CLECO-4": 8,
            "MS20470AD4-6": 20,
            "SEAL-B2": Decimal("27.9"),
        }
        assert (len(found.rows), len(found.seams), found.products[0].total) == (1, 1, Decimal("27.9"))
        assert all(not need.lies for need in found.needs)

    def test_step_without_anything_is_empty(self, step, shown):
        found = shown()
        assert (found.needs, found.rows, found.products, found.cautions) == ((), (), (), False)


@pytest.mark.parametrize("done", [False, True])
def test_sheet_takes_the_same_queries_at_one_row_and_at_many(step, workshop, bench, drawer, django_assert_max_num_queries, done):
    def grow():
        rivet = factories.ItemFactory(workshop=workshop, kind="rivet", diameter=Fraction(1, 8))
        sealant = factories.ItemFactory(workshop=workshop, kind="sealant", unit="g", gravity=Decimal("1.5"))
        factories.ItemFactory(workshop=workshop, kind="tool", diameter=Fraction(1, 8))
        cleco = factories.ItemFactory(workshop=workshop, kind="cleco", diameter=Fraction(1, 8))
        factories.CallOutFactory(step=step, item=factories.ItemFactory(workshop=workshop))
        factories.RivetRowFactory(
            step=step, rivet=rivet, cleco=cleco, cleco_every=2, clecos_until=factories.StepFactory(project=step.project)
        )
        factories.SeamFactory(step=step, sealant=sealant)
        for item in (rivet, sealant):
            factories.stock(factories.LotFactory(bench=bench, item=item, expires_on=date(2028, 1, 1)), 5, drawer)

    def count():
        with django_assert_max_num_queries(24) as found:
            sheet_on(step, DAY)
        return len(found)

    grow()
    step.done = done
    step.save()
    few = count()
    for _ in range(8):
        grow()
    assert count() == few
