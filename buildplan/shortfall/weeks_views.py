"""Stock against need by week: an item of a project on a page of its own."""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_GET

from buildplan.shortfall import queries, weeks
from buildplan.shortfall.forms import DemandForm
from buildplan.shortfall.trace import why
from buildplan.shortfall.views import netted
from buildplan.shortfall.weeks_chart import weeks_chart
from inventory.catalogue.models import RETURNED
from inventory.models import Item
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest


@require_GET
@members_only
def stock_by_week(request: MemberRequest, project: str, item: int) -> HttpResponse:
    """What of an item is there each week, and what the steps want of it. The demand is the order sheet's."""
    projects, siblings = netted(request, project)
    shown = get_object_or_404(Item, pk=item)
    form = DemandForm(request.GET, siblings=siblings)
    form.is_valid()
    before, today = form.cleaned_data.get("before"), timezone.localdate()
    line = queries.line_of(projects, shown.pk, before=before, as_of=today)
    found = weeks.weeks(line) if line else ()
    context = {
        "project": projects[0],
        "projects": projects,
        "item": shown,
        "returned": shown.kind in RETURNED,
        "form": form,
        "before": before,
        "today": today,
        "line": line,
        "chart": weeks_chart(found) if found else None,
        "rows": weeks.rows(found),
        "reasons": (*weeks.why(line, found), *why(line)) if line else (),
    }
    return render(request, "shortfall/stock.html", context)
