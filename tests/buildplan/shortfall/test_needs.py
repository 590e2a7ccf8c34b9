"""What rivet rows and seams add to a demand."""

from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest

from buildplan.models import RivetLoss, Step
from buildplan.shortfall import queries
from buildplan.shortfall.needs import SeamNotKnown
from buildplan.shortfall.trace import why
from tests import factories

AS_OF = date(2027, 2, 20)
DAY = date(2027, 3, 6)
SIZE = Fraction(1, 8)


def lines(project, before=None, as_of=AS_OF):
    found = queries.shortfall(queries.projects([project.code]), before=before, as_of=as_of)
    return {line.item.code: line for line in found.lines}


@pytest.fixture
def step(project):
    return factories.StepFactory(project=project, code="F3-04", planned_on=DAY)


@pytest.fixture
def later(project, step):
    return factories.StepFactory(project=project, code="F3-09", planned_on=DAY + timedelta(days=2), after=[step])


@pytest.fixture
def rivet(workshop):
    return factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", kind="rivet", diameter=SIZE)


@pytest.fixture
def cleco(workshop):
    return factories.ItemFactory(workshop=workshop, code="CLECO-4", kind="cleco", diameter=SIZE)


def test_row_needs_a_rivet_a_hole(project, step, rivet):
    factories.RivetRowFactory(step=step, rivet=rivet, holes=84, code="R1")
    line = lines(project)["MS20470AD4-6"]
    assert line.needed == 84
    assert any(reason.source == "row R1" and "84 holes" in reason.text for reason in why(line))


def test_row_adds_the_loss_of_its_size_and_rounds_up(project, workshop, step, rivet):
    RivetLoss.objects.create(workshop=workshop, diameter=SIZE, percent=Decimal(5))
    RivetLoss.objects.create(workshop=workshop, diameter=Fraction(3, 32), percent=Decimal(50))
    factories.RivetRowFactory(step=step, rivet=rivet, holes=84)
    line = lines(project)["MS20470AD4-6"]
    assert line.needed == 89  # 84 x 1.05 = 88.2
    assert any("84 holes + 5 % loss = 89, rounded up" in reason.text for reason in why(line))


def test_loss_leaves_a_call_out_as_written(project, workshop, step, rivet):
    RivetLoss.objects.create(workshop=workshop, diameter=SIZE, percent=Decimal(5))
    factories.CallOutFactory(step=step, item=rivet, quantity=Decimal(84))
    assert lines(project)["MS20470AD4-6"].needed == 84


def test_row_and_call_out_of_one_rivet_add_up(project, step, rivet):
    factories.CallOutFactory(step=step, item=rivet, quantity=Decimal(16))
    factories.RivetRowFactory(step=step, rivet=rivet, holes=84)
    assert lines(project)["MS20470AD4-6"].needed == 100


def test_row_takes_its_size_from_the_rivet_s_code(project, workshop, step):
    RivetLoss.objects.create(workshop=workshop, diameter=Fraction(3, 32), percent=Decimal(10))
    coded = factories.ItemFactory(workshop=workshop, code="MS20426AD3-3.5", kind="rivet")
    factories.RivetRowFactory(step=step, rivet=coded, holes=100)
    assert lines(project)["MS20426AD3-3.5"].needed == 110


def test_row_holds_clecos_on_its_day_alone(project, step, later, rivet, cleco):
    factories.RivetRowFactory(step=step, rivet=rivet, holes=84, cleco_every=3, cleco=cleco)
    factories.RivetRowFactory(step=later, rivet=rivet, holes=30, cleco_every=1, cleco=cleco)
    line = lines(project)["CLECO-4"]
    assert line.needed == 30  # 84 holes at every third, ends filled: 29 on the first day, 30 on the later one
    assert line.steps == ("F3-04", "F3-09")


def test_row_holds_clecos_through_the_step_that_frees_them(project, step, later, rivet, cleco):
    factories.RivetRowFactory(step=step, rivet=rivet, holes=84, cleco_every=3, cleco=cleco, clecos_until=later)
    factories.RivetRowFactory(step=later, rivet=rivet, holes=30, cleco_every=1, cleco=cleco)
    line = lines(project)["CLECO-4"]
    assert line.needed == 59
    assert any("through 2027-03-08" in reason.text and "one hole in 3 of 84" in reason.text for reason in why(line))


def test_done_row_still_holds_clecos_until_that_step_is_done(project, step, later, rivet, cleco):
    factories.RivetRowFactory(step=step, rivet=rivet, holes=84, cleco_every=3, cleco=cleco, clecos_until=later)
    factories.RivetRowFactory(step=later, rivet=rivet, holes=30, cleco_every=1, cleco=cleco)
    Step.objects.filter(pk=step.pk).update(done=True)
    line = lines(project)["CLECO-4"]
    assert line.needed == 59
    assert any("F3-04 is done, but its clecos stay until F3-09" in reason.text for reason in why(line))
    Step.objects.filter(pk=later.pk).update(done=True)
    assert lines(project) == {}


def test_done_row_without_a_step_that_frees_it_holds_nothing(project, step, later, rivet, cleco):
    factories.RivetRowFactory(step=step, rivet=rivet, holes=84, cleco_every=3, cleco=cleco)
    Step.objects.filter(pk=step.pk).update(done=True)
    assert lines(project) == {}


def test_clecos_freed_by_a_step_without_a_day_stay_to_the_end(project, step, rivet, cleco):
    undated = factories.StepFactory(project=project, code="F9-01")
    last = factories.StepFactory(project=project, code="F4-01", planned_on=DAY + timedelta(days=300))
    factories.RivetRowFactory(step=step, rivet=rivet, holes=10, cleco_every=1, cleco=cleco, clecos_until=undated)
    factories.RivetRowFactory(step=last, rivet=rivet, holes=10, cleco_every=1, cleco=cleco)
    line = lines(project, before=DAY + timedelta(days=300))["CLECO-4"]
    assert line.needed == 20
    assert any("and on, since the step that frees them has no day" in reason.text for reason in why(line))


def test_row_without_spacing_holds_no_clecos(project, step, rivet, cleco):
    factories.RivetRowFactory(step=step, rivet=rivet)
    assert "CLECO-4" not in lines(project)


def test_row_leaves_dies_to_the_call_outs(project, workshop, step, rivet):
    factories.ItemFactory(workshop=workshop, code="DIMPLE-4", kind="tool", diameter=SIZE)
    factories.RivetRowFactory(step=step, rivet=rivet)
    assert "DIMPLE-4" not in lines(project)


def test_seam_needs_grams_by_its_shape(project, step):
    """REFERENCE: 6x6 triangle at 1.55 -> 27.90 g/m (computed)."""
    seam = factories.SeamFactory(step=step, code="S1")
    line = lines(project)[seam.sealant.code]
    assert line.needed == Decimal("27.9")
    assert any(reason.source == "seam S1" and "triangle" in reason.text for reason in why(line))


def test_seam_in_inches_and_ounces_converts_exactly(project, workshop, step):
    sealant = factories.ItemFactory(workshop=workshop, kind="sealant", unit="oz", gravity=Decimal("1.55"))
    factories.SeamFactory(step=step, sealant=sealant, length=Fraction(1000, 254) * 10, unit="in", size_unit="mm")
    line = lines(project)[sealant.code]
    assert line.needed == Decimal("0.984")  # 27.9 g / 28.349523125
    assert any("rounded half up" in reason.text for reason in why(line))


def test_seam_whose_gravity_was_taken_away_is_told(project, step):
    seam = factories.SeamFactory(step=step, code="S1")
    seam.sealant.gravity = None
    seam.sealant.save()
    with pytest.raises(SeamNotKnown, match=r"seam S1 of F3-04, .*: gravity: not known: read it off the data sheet"):
        lines(project)


def test_seam_of_a_done_step_needs_nothing(project, step):
    factories.SeamFactory(step=step)
    Step.objects.filter(pk=step.pk).update(done=True)
    assert lines(project) == {}


def test_rows_of_the_outsider_count_for_nothing(project, outsider, step):
    factories.RivetRowFactory(step=factories.StepFactory(project=factories.ProjectFactory(bench__workshop=outsider)))
    assert lines(project) == {}
