"""What was mixed is needed no more: order sheet, step page and netting of one item agree."""

from datetime import UTC, date, datetime
from decimal import Decimal
from fractions import Fraction
from uuid import uuid4

import pytest

from buildplan.models import Step
from buildplan.records import queries as records
from buildplan.sealing import services
from buildplan.sealing.services import Take
from buildplan.shortfall import queries
from buildplan.shortfall.trace import why
from inventory.stock.queries import on_hand
from tests import factories

AS_OF = date(2027, 3, 1)
DAY = date(2027, 3, 6)
AT = datetime(2027, 3, 6, 9, 0, tzinfo=UTC)


@pytest.fixture
def sealant(workshop):
    return factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g", gravity=Decimal("1.55"))


@pytest.fixture
def steps(project, sealant):
    """One needs 20 g by call-out and 27.9 g by a seam, one 50 g, and a later one 60 g."""
    steps = [factories.StepFactory(project=project, code=f"F{number}", planned_on=DAY) for number in (1, 2, 3)]
    Step.objects.filter(pk=steps[2].pk).update(planned_on=date(2027, 5, 1))
    for step, grams in zip(steps, (20, 50, 60), strict=True):
        factories.CallOutFactory(step=step, item=sealant, quantity=Decimal(grams))
    factories.SeamFactory(step=steps[0], sealant=sealant, length=Fraction(1))  # 6 x 6 / 2 mm2 x 1 m x 1.55 g/cm3 = 27.9 g
    return steps


@pytest.fixture
def lots(bench, sealant, drawer):
    lots = [factories.LotFactory(bench=bench, item=sealant, code=code, expires_on=date(2027, 6, day)) for day, code in ((1, "A"), (2, "B"))]
    for lot in lots:
        factories.stock(lot, 60, place=drawer)
    return lots


@pytest.fixture
def mix(sealant, drawer, builder):
    def mix(takes, shares):
        total = sum(Decimal(grams) for _, grams in shares)
        return services.record_mix(
            item=sealant,
            key=uuid4(),
            takes=[Take(lot, drawer, Decimal(grams)) for lot, grams in takes],
            shares=[(step, Decimal(grams)) for step, grams in shares],
            base=total - 1,
            accelerator=Decimal(1),
            mixed_at=AT,
            mixed_by="Ada",
            on=DAY,
            temperature_f=None,
            life_hours=None,
            by=builder,
        )

    return mix


def line(project, **said):
    found = queries.shortfall([project], before=None, as_of=AS_OF, **said).lines
    return found[0] if found else None


def short_by_step(found):
    """What each step gets too little of, from what was served."""
    served = {}
    for need, _, quantity in found.served:
        served[need.label] = served.get(need.label, Decimal(0)) + quantity
    wanted = {}
    for need in found.needs:
        wanted[need.label] = wanted.get(need.label, Decimal(0)) + need.quantity
    return {label: quantity - served.get(label, Decimal(0)) for label, quantity in wanted.items()}


def test_mixing_what_was_planned_leaves_the_shortage_of_other_steps_as_it_was(project, steps, lots, mix):
    before = line(project)
    mix([(lots[0], "47.9")], [(steps[0], "47.9")])  # what netting would have given it: the lot that expires first
    after = line(project)

    assert (before.needed, before.usable, before.short) == (Decimal("157.9"), 120, Decimal("37.9"))
    assert (after.needed, after.usable, after.short) == (110, Decimal("72.1"), Decimal("37.9"))
    assert {label: short for label, short in short_by_step(before).items() if label != "F1"} == short_by_step(after)
    assert (before.first_short, before.order_by, before.buy) == (after.first_short, after.order_by, after.buy)


def test_part_of_a_need_is_taken_off_and_the_trace_says_so(project, steps, lots, mix):
    mix([(lots[0], 30)], [(steps[0], 30)])
    found = line(project)

    (left,) = [need for need in found.needs if need.label == "F1"]  # the call-out is mixed whole, the seam in part
    assert (left.quantity, left.mixed) == (Decimal("17.9"), 10)
    assert left.source.startswith("seam ")
    assert left.note.endswith("; 10 g of it are mixed")
    assert any("10 g of it are mixed" in reason.text for reason in why(found))


def test_more_than_needed_leaves_no_need_and_takes_nothing_off_another(project, steps, lots, mix):
    mix([(lots[0], 60), (lots[1], 5)], [(steps[1], 65)])

    assert line(project).needed == Decimal("107.9")
    assert {need.label for need in line(project).needs} == {"F1", "F3"}


def test_item_that_all_was_mixed_of_is_no_line_any_more(project, steps, lots, mix):
    Step.objects.filter(pk__in=[steps[1].pk, steps[2].pk]).update(done=True)
    mix([(lots[0], 48)], [(steps[0], 48)])

    assert line(project) is None


def test_step_s_page_and_the_item_s_netting_agree_with_the_sheet(project, steps, lots, mix, sealant):
    mix([(lots[0], 30)], [(steps[1], 30)])
    sheet = line(project)
    ((_, touched),) = queries.shortfall_of([sealant.pk], before=None, as_of=AS_OF).found
    (proposal,) = records.proposals(steps[1], on=DAY)

    assert touched.lines == (sheet,)
    assert proposal.needed == sum(need.quantity for need in sheet.needs if need.label == "F2") == 20
    assert sum(choice.proposed for choice in proposal.choices) == 20


def test_step_that_is_mixed_through_shows_a_need_of_nothing_and_proposes_nothing(steps, lots, mix):
    mix([(lots[0], 50)], [(steps[1], 50)])
    (proposal,) = records.proposals(steps[1], on=DAY)

    assert (proposal.needed, proposal.line.short, [choice.proposed for choice in proposal.choices]) == (0, 0, [0, 0])
    assert [need.mixed for need in proposal.line.needs] == [50]


def test_done_step_is_shown_with_all_that_it_needed(steps, lots, mix):
    mix([(lots[0], 50)], [(steps[1], 50)])
    Step.objects.filter(pk=steps[1].pk).update(done=True)
    steps[1].refresh_from_db()

    ((_, needs),) = records.needed(steps[1], on=DAY)
    assert [(need.quantity, need.mixed) for need in needs] == [(50, 0)]


def test_product_in_kilograms_is_taken_off_in_kilograms(project, workshop, bench, drawer, builder):
    kilo = factories.ItemFactory(workshop=workshop, kind="sealant", unit="kg")
    step = factories.StepFactory(project=project, planned_on=DAY)
    factories.CallOutFactory(step=step, item=kilo, quantity=Decimal("0.250"))
    lot = factories.LotFactory(bench=bench, item=kilo, expires_on=DAY)
    factories.stock(lot, 1, place=drawer)
    services.record_mix(
        item=kilo,
        key=uuid4(),
        takes=[Take(lot, drawer, Decimal(100))],
        shares=[(step, Decimal(100))],
        base=Decimal(90),
        accelerator=Decimal(10),
        mixed_at=AT,
        mixed_by="Ada",
        on=DAY,
        temperature_f=None,
        life_hours=None,
        by=builder,
    )

    found = line(project)
    assert (found.needed, on_hand(lot)) == (Decimal("0.150"), Decimal("0.900"))
    assert found.needs[0].note == "0.1 kg of it are mixed"
