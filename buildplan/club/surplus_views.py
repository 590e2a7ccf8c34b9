"""The page of what a bench has and doesn't need."""

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from buildplan.club.surplus import bench_asked, surplus
from inventory.models import Bench
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

PAGE = 50


@require_GET
@members_only
def surplus_page(request: MemberRequest) -> HttpResponse:
    """What could be offered of one's own bench, or asked of another; `bench` is its code."""
    benches = list(Bench.objects.select_related("workshop").order_by("name", "pk"))
    bench = bench_asked(request.GET.get("bench", ""), benches, request.member)
    found = None if bench is None else surplus(bench, as_of=timezone.localdate())
    context = {
        "benches": benches,
        "found": found,
        "page": Paginator(found.spares if found else (), PAGE).get_page(request.GET.get("page")),
        "bench": bench,
        "speaks": bench is not None and policy.speaks_for(request.member, bench),
        "may_ask": policy.allowed(request.member, "use_stock"),
    }
    return render(request, "club/surplus.html", context)
