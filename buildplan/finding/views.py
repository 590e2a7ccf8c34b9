"""Finding anything from anywhere, and the words that the pages use."""

from http import HTTPStatus

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET

from buildplan.finding import queries, words
from buildplan.wanted.queries import LONGEST
from inventory.scanning.calc import shown
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest


@require_GET
@members_only
def find(request: MemberRequest) -> HttpResponse:
    """What was found for a text, a kind at a time; the page of the thing itself where the text is its very code or name."""
    found = queries.find(request.GET.get("q", ""), today=timezone.localdate())
    if found.exact:
        return redirect(found.exact.address)
    context = {
        "found": found,
        "shown": shown(found.text),
        "find_text": shown(found.text[:LONGEST]),
        "too_long": len(found.text) > LONGEST,
        "may_teach": found.teach and policy.allowed(request.member, "keep_stock"),
    }
    nothing = bool(found.text) and not found.groups
    return render(request, "finding/find.html", context, status=HTTPStatus.NOT_FOUND if nothing else HTTPStatus.OK)


@require_GET
@members_only
def glossary(request: MemberRequest) -> HttpResponse:
    """What the words on the pages mean."""
    return render(request, "finding/words.html", {"chapters": words.CHAPTERS})
