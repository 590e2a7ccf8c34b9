from datetime import date

import pytest

from buildplan.fitting import services
from tests import factories

TODAY = date(2027, 2, 20)
READINGS = {
    "title": "hand of the rib",
    "kind": "hand",
    "text_says": "rivet the left rib",
    "text_where": "page 12",
    "drawing_says": "the right rib is drawn",
    "drawing_where": "sheet 4, view B",
}


@pytest.fixture
def step(project):
    return factories.StepFactory(project=project, code="F1", hand="left")


@pytest.fixture
def conflict(step, builder):
    """An open conflict that the step rests on."""
    return services.record_conflict(project=step.project, **READINGS, steps=[step], by=builder)


@pytest.fixture
def inspector(workshop):
    return factories.MemberFactory(workshop=workshop, role="inspector")


@pytest.fixture
def assembly(project, builder):
    """Skin and stiffener 7 and 8, nothing marked yet."""
    made = services.make_assembly(project=project, name="Bottom skin", by=builder)
    services.add_positions(assembly=made, parts=["skin", "stiffener"], first=7, last=8, by=builder)
    return made
