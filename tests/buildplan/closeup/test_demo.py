"""The demo's practice tank."""

from buildplan.closeup.calc import Verdict
from buildplan.closeup.queries import gate_view
from buildplan.loading.demo_closeup import make_closeup
from buildplan.plan.models import Section
from tests import factories
from tests.buildplan.closeup.conftest import NOW
from tests.factories import DAY


def test_practice_tank_is_almost_through_with_one_leak_test_and_made_again_it_is_the_same(workshop, bench):
    factories.MemberFactory(workshop=workshop, name="Wren of Tern", role="builder")
    for _ in range(2):
        make_closeup(today=DAY)

    view = gate_view(Section.objects.select_related("project__bench__workshop").get(), now=NOW)
    assert [point.name for point in view.open_points] == ["inside", "photos", "seen"]
    assert not any(point.turned for point in view.points)
    assert [(leak.verdict, len(leak.readings)) for leak in view.leaks] == [(Verdict.WITHIN, 4)]
    assert not view.section.project.steps.filter(done=False).exists()
