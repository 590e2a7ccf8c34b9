"""What must be ordered, by when, and why; then it is ordered, and no longer short."""

from datetime import timedelta
from decimal import Decimal

from django.utils import timezone

from inventory.models import Crate
from tests import factories


def furnish(workshop):
    """80 rivets lie there, 240 are needed in three weeks; a pack holds 100 and takes 4 days to come."""
    bench = factories.BenchFactory(workshop=workshop)
    project = factories.ProjectFactory(bench=bench, code="TERN-1", name="Tern one")
    day = timezone.localdate() + timedelta(days=21)
    step = factories.StepFactory(project=project, code="F2", title="Rivet the skin", planned_on=day)
    rivet = factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", name="Rivet", kind="rivet", pack=Decimal(100), lead_days=4)
    factories.CallOutFactory(step=step, item=rivet, quantity=Decimal(240))
    factories.stock(factories.LotFactory(bench=bench, item=rivet, code="R7"), 80)
    return factories.MemberFactory(workshop=workshop, role="storekeeper", name="Ada")


def order_what_is_short(hands):
    hands.start()
    hands.follow("Order sheet", exact=True)
    hands.at("Order sheet of Tern one")
    hands.sees("1 short", "160", "200 ea", "2 × 100")
    hands.unfold("Why MS20470AD4-6")
    hands.sees("F2")
    hands.unfold("Ordered MS20470AD4-6")
    hands.say_day("Due", timezone.localdate() + timedelta(days=5))
    hands.press("Mark as ordered")
    hands.sees("Nothing is short", "On its way to")


def check(workshop):
    [line] = Crate.objects.get().lines.all()
    assert line.open_quantity == 200


def test_what_is_short_is_explained_and_marked_as_ordered(each_way):
    each_way(furnish, order_what_is_short, check)
