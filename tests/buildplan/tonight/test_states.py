"""The plan by sections, and a step in its place: by the rule of the evening, on the pages that show them."""

import re
from decimal import Decimal
from fractions import Fraction
from types import SimpleNamespace

import pytest
import time_machine
from django.urls import reverse

from buildplan.cutting.models import Blank, Piece
from buildplan.plan import queries as plan
from buildplan.shortfall.reading import read_beside
from buildplan.tonight import states
from buildplan.tonight.calc import Verdict
from buildplan.tonight.states import State, in_plan, state_of, verdicts_of_plan
from tests import factories
from tests.buildplan.tonight.conftest import NOW
from tests.factories import DAY

READY, NOT_READY = Verdict((), ()), SimpleNamespace(ready=False)


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel(DAY, tick=False):
        yield


def words(page):
    return " ".join(re.sub(r"<[^>]+>", " ", page.content.decode()).split())


@pytest.mark.parametrize(
    ("done", "waits", "verdict", "state"),
    [
        (True, True, NOT_READY, State.DONE),
        (False, True, None, State.BLOCKED),
        (False, False, NOT_READY, State.BLOCKED),
        (False, False, READY, State.READY),
        (False, False, None, State.LATER),
    ],
)
def test_state_of_a_step(done, waits, verdict, state):
    assert state_of(done=done, waits=waits, verdict=verdict) == state


class TestSections:
    def test_sections_count_steps_and_minutes_by_the_rule_of_the_evening(self, project, steps, workshop):
        wings = factories.SectionFactory(project=project, name="Wings", position=2)
        spar = factories.StepFactory(project=project, section=wings, code="W1", minutes=30, people=4)
        factories.CallOutFactory(step=spar, item=steps.spar)
        factories.StepFactory(project=project, section=wings, code="W2", minutes=20, people=4)
        factories.StepFactory(project=project, section=wings, code="W3", minutes=10, done=True)

        verdicts = verdicts_of_plan(project, today=DAY, now=NOW)
        floats, of_wings = states.sections(plan.sections(project), verdicts)
        assert (floats.done, floats.ready, floats.blocked, floats.later, floats.steps) == (1, 1, 1, 0, 3)
        assert (floats.minutes_done, floats.minutes, floats.unsaid) == (0, 90, 2)
        assert (of_wings.done, of_wings.ready, of_wings.blocked) == (1, 1, 1)  # four people are no obstacle, a spar that isn't there is
        assert (of_wings.minutes_done, of_wings.minutes, of_wings.unsaid) == (10, 60, 0)
        total = states.whole([floats, of_wings], "All")
        assert (total.done, total.ready, total.blocked, total.steps, total.minutes) == (2, 2, 2, 6, 150)

    def test_plan_s_page_draws_sections_and_says_why_a_step_is_blocked(self, as_member, reader, project, steps):
        factories.CallOutFactory(step=factories.StepFactory(project=project, code="F9"), item=steps.spar)
        page = as_member(reader).get(reverse("plan", args=[project.code]))

        assert "In all 1 are done, 1 ready, 2 blocked." in words(page)
        assert "Floats 1 1 2 4 0 of 90 3 steps without" in words(page)
        assert "Blocked: SPAR: takes 1 ea, 0 usable today" in words(page)
        assert " style=" not in page.content.decode()

    def test_plan_s_page_takes_the_same_queries_whatever_its_size(self, queries_of, reader, project, bench, steps):
        address = reverse("plan", args=[project.code])
        few = queries_of(reader, address)
        for _ in range(8):
            call_out = factories.CallOutFactory(step=factories.StepFactory(project=project))
            factories.stock(factories.LotFactory(bench=bench, item=call_out.item), 1)
        assert queries_of(reader, address) == few


class TestPlace:
    def test_cards_say_how_each_step_stands_and_how_far(self, project, steps):
        found = in_plan(steps.third, today=DAY, now=NOW)
        cards = {card.step.code: (card.far, card.state.value, card.waits_for) for card in found.cards.values()}
        assert cards == {"F1": (-2, "done", ()), "F2": (-1, "ready", ()), "F3": (0, "blocked", ("F2",))}

    def test_cards_say_what_the_plan_s_page_says_where_a_step_s_page_has_read_plans_and_stock(self, project, steps):
        factories.RivetRowFactory(step=steps.first, rivet=steps.rivet, cleco=steps.cleco, cleco_every=1, holes=25, clecos_until=steps.third)
        said = verdicts_of_plan(project, today=DAY, now=NOW)

        for step in (steps.first, steps.second, steps.third):
            found = in_plan(step, today=DAY, now=NOW, beside=read_beside(step.pk, DAY))
            assert {pk: card.verdict for pk, card in found.cards.items() if card.verdict} == said
        assert any("CLECO-4" in block.text for block in said[steps.second.pk].blocks)  # F1 holds 25 of 30

    def test_what_is_read_serves_a_step_without_blanks_and_one_that_takes_some_asks_for_their_stock(self, project, steps, bench, workshop):
        bar = factories.ItemFactory(workshop=workshop, code="BAR")
        blank = Blank.objects.create(workshop=workshop, item=bar, form="bar", length=Fraction(3000), unit="mm")
        piece = {"item": steps.spar, "blank": blank, "code": "P1", "length": Fraction(900), "unit": "mm", "count": 1}
        Piece.objects.create(workshop=workshop, step=steps.second, position=0, **piece)
        factories.stock(factories.LotFactory(bench=bench, item=bar, code="B-1"), 2)

        known = read_beside(steps.third.pk, DAY)
        assert bar.pk not in known.read.items
        assert in_plan(steps.third, today=DAY, now=NOW, beside=known).cards[steps.second.pk].state == State.READY

    def test_step_s_page_draws_its_place_with_a_list(self, as_member, reader, project, steps):
        page = as_member(reader).get(reverse("step", args=[project.code, "F2"]))
        text = words(page)

        assert "What F2 waits for, and what waits for it" in text
        assert "F3 Close : blocked, waits for F2" in text
        assert "F1 Deburr : done" in text
        assert page.content.decode().count('class="box ') == 3

    def test_step_without_neighbours_says_so(self, as_member, reader, project):
        factories.StepFactory(project=project, code="F9")
        assert "It waits for no step, and no step waits for it." in words(as_member(reader).get(reverse("step", args=[project.code, "F9"])))

    def test_step_s_page_takes_the_same_queries_however_many_are_around(self, queries_of, reader, project, bench, steps):
        address = reverse("step", args=[project.code, "F2"])
        few = queries_of(reader, address)
        for _ in range(6):
            before = factories.StepFactory(project=project)
            factories.CallOutFactory(step=before, item=steps.rivet, quantity=Decimal(1))
            factories.StepFactory(project=project, after=[steps.second])
            factories.StepFactory(project=project, after=[before])
        assert queries_of(reader, address) == few
