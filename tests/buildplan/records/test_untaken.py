"""Needs that nobody took: which count, and what stands in for them."""

from datetime import UTC, datetime
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from buildplan.hardware.services import accept_substitution
from buildplan.records.services import Use, finish_step, take_back
from buildplan.records.untaken import untaken
from tests import factories
from tests.factories import DAY

NOW = datetime(2027, 3, 6, 10, tzinfo=UTC)


@pytest.fixture
def rivets(workshop, bench, drawer):
    """Two rivets, some of each in stock."""
    items = [factories.ItemFactory(workshop=workshop, code=code, kind="rivet") for code in ("MS20470AD5-7", "MS20470D4-6")]
    lots = [factories.LotFactory(bench=bench, item=item) for item in items]
    for lot in lots:
        factories.stock(lot, 100, drawer)
    return lots


@pytest.fixture
def step(project, rivets):
    """A step with a call-out of the first rivet, a row of the second, and a cleco that comes back."""
    step = factories.StepFactory(project=project)
    factories.CallOutFactory(step=step, item=rivets[0].item, quantity=Decimal(4))
    factories.RivetRowFactory(step=step, rivet=rivets[1].item)
    factories.CallOutFactory(step=step, item=factories.ItemFactory(workshop=project.workshop, code="CLECO-1/8", kind="cleco"))
    return step


def finish(step, builder, drawer, *lots):
    return finish_step(step=step, on=DAY, uses=[Use(lot, drawer, Decimal(4)) for lot in lots], by=builder)


def test_untaken_names_what_was_left_blank_and_never_what_comes_back(step, rivets, builder, drawer):
    assert untaken([step.pk]) == {}
    finish(step, builder, drawer, rivets[0])

    assert untaken([step.pk]) == {step.pk: ("MS20470D4-6",)}


def test_untaken_says_nothing_where_all_was_taken(step, rivets, builder, drawer):
    finish(step, builder, drawer, *rivets)

    assert untaken([step.pk]) == {}


def test_step_page_names_what_was_left_blank(step, rivets, builder, drawer, as_member):
    finish(step, builder, drawer, rivets[0])
    page = as_member(builder).get(reverse("step", args=[step.project.code, step.code])).content.decode()

    assert "Nothing was taken of MS20470D4-6, which the plan names for it." in page


def test_untaken_forgets_a_finish_taken_back(step, rivets, builder, drawer):
    finish(step, builder, drawer, rivets[0])
    take_back(step=step, on=DAY, now=NOW, by=builder)

    assert untaken([step.pk]) == {}


def test_untaken_counts_an_accepted_substitute_for_what_it_stands_in_for(step, rivets, builder, drawer, workshop):
    inspector = factories.MemberFactory(workshop=workshop, role="inspector")
    hard, soft = (lot.item for lot in rivets)
    accept_substitution(step=step, wanted=soft, served_by=hard, note="the maker's letter", now=NOW, by=inspector)
    finish(step, builder, drawer, rivets[0])

    assert untaken([step.pk]) == {}


def test_untaken_takes_as_many_queries_for_many_steps_as_for_one(project, rivets, builder, drawer):
    counts = []
    for more in (1, 5):
        for _ in range(more):
            step = factories.StepFactory(project=project)
            for lot in rivets:
                factories.CallOutFactory(step=step, item=lot.item, quantity=Decimal(4))
            finish(step, builder, drawer, rivets[0])
        steps = list(project.steps.values_list("pk", flat=True))
        with CaptureQueriesContext(connection) as seen:
            assert len(untaken(steps)) == len(steps)
        counts.append(len(seen))

    assert counts == [7, 7]
