"""Shelf life: a timeline of what dies, and what could still use it."""

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_GET

from buildplan.ageing import queries
from buildplan.ageing.answer import as_csv
from buildplan.ageing.chart import timeline
from buildplan.ageing.forms import WITHIN, ShelfLifeForm
from inventory.common.problems import Problem
from inventory.stock.queries import place_paths
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

PAGE = 25


@require_GET
@members_only
def shelf_life(request: MemberRequest) -> HttpResponse:
    """Lots by their last usable day, with the needs of the plans on them; above, what dies soon and what could use it."""
    form, found = _asked(request)
    page = Paginator(found.rows, PAGE).get_page(request.GET.get("page"))
    rows = list(page.object_list)
    context = {
        "form": form,
        "found": found,
        "page": page,
        "rows": rows,
        "dying": found.dying[:PAGE],
        "timeline": timeline(rows, found.today),
        "filtered": any(form.cleaned_data.get(name) for name in ("place", "item", "state")),
        "places": place_paths(),
        "asked": request.GET.urlencode(),
        "today": found.today,
    }
    return render(request, "ageing/shelf_life.html", context)


@require_GET
@members_only
def shelf_life_csv(request: MemberRequest) -> HttpResponse:
    """All rows of the page as a file."""
    form, found = _asked(request)
    if form.errors:
        raise Problem(" ".join(f"{name}: {error}" for name, errors in form.errors.items() for error in errors))
    response = HttpResponse(as_csv(found.rows), content_type="text/csv; charset=utf-8")
    name = f"shelf-life-{found.today}.csv"
    response["Content-Disposition"] = content_disposition_header(as_attachment=True, filename=name) or "attachment"
    return response


def _asked(request: MemberRequest) -> tuple[ShelfLifeForm, queries.ShelfLife]:
    """Read the filters. What can't be read is said by the form, and doesn't filter."""
    form = ShelfLifeForm(request.GET)
    form.is_valid()
    given = form.cleaned_data
    asked = queries.Asked(given.get("place", ""), given.get("item", ""), given.get("state", ""))
    return form, queries.shelf_life(asked, days=given.get("days") or WITHIN, today=timezone.localdate())
