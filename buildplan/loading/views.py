"""Loading a packing list on a page: look at it, teach what is unknown, load it whole."""

from django.contrib import messages
from django.http import HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from buildplan.loading import kept_files, uploads
from buildplan.loading.forms import PackingForm
from buildplan.loading.uploads import Preview
from inventory.catalogue import queries as catalogue_queries
from inventory.catalogue import services as catalogue
from inventory.common.pages import UNREADABLE
from inventory.common.problems import FieldProblem, Problem
from inventory.models import Bench, Crate
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest


@require_http_methods(["GET", "POST"])
@members_only
def load_crate(request: MemberRequest) -> HttpResponse:
    """The form; sent, what the list would do; and with no fault left in it, its loading."""
    policy.require(request.member, "keep_stock")
    by, now = request.member, timezone.now()
    if request.method != "POST":
        return _page(request, PackingForm(initial={"crate": request.GET.get("crate", ""), "bench": _only_bench()}, by=by, now=now))
    form = PackingForm(request.POST, request.FILES, by=by, now=now)
    if not form.is_valid():
        made = _pressed_before(request, form)
        return redirect("crate", made.pk) if made else _page(request, form, status=UNREADABLE)
    try:
        return _sent(request, form)
    except Problem as problem:
        form.add_error(problem.field if isinstance(problem, FieldProblem) and problem.field in form.fields else None, str(problem))
        return _page(request, form, status=UNREADABLE)


def _only_bench() -> Bench | None:
    """The only bench of the workshop in scope; None where there are several to choose from. One query."""
    found = list(Bench.objects.all()[:2])
    return found[0] if len(found) == 1 else None


def _pressed_before(request: MemberRequest, form: PackingForm) -> Crate | None:
    """What the same press has loaded: the file is then gone."""
    key, code = form.cleaned_data.get("request_key"), form.cleaned_data.get("crate")
    return uploads.loaded_before(key, code) if request.POST.get("do") == "load" and key and code else None


def _sent(request: MemberRequest, form: PackingForm) -> HttpResponse:
    if teach := request.POST.get("teach"):
        teach_code(request, teach)
    elif request.POST.get("do") == "load" and not form.sent_now and (crate := _load(request, form)):
        return redirect("crate", crate.pk)
    found = uploads.preview(form.upload, form.asked, by=request.member, today=timezone.localdate())
    return _page(request, form, found, UNREADABLE if found.outcome.errors else 200)


def teach_code(request: MemberRequest, asked: str) -> None:
    """One press: a code of the list means an item from now on. Pressed twice, it is taught once."""
    named = QueryDict(asked)
    item, text = catalogue_queries.find(request.workshop, named.get("item", "")), named.get("text", "")
    if item is None:
        raise FieldProblem("file", f"nothing in the catalogue has the code {named.get('item')}: look at the list again")
    catalogue.add_identifier(item=item, text=text, by=request.member)
    messages.success(request, _("%(text)s means %(item)s from now on.") % {"text": text, "item": item.code})


def _load(request: MemberRequest, form: PackingForm) -> Crate | None:
    given, now = form.cleaned_data, timezone.now()
    key, today = given["request_key"], timezone.localdate()
    outcome, crate = uploads.load_upload(upload=form.upload, asked=form.asked, request_key=key, by=request.member, today=today)
    if crate is not None:
        kept_files.forget(given["kept"], now=now, by=request.member)
    if crate is not None and outcome.loaded:
        messages.success(request, _told(crate, outcome.loaded["lines"], outcome.loaded["bags"]))
    return crate


def _told(crate: Crate, lines: int, bags: int) -> str:
    within = ngettext("in %(bags)s bag", "in %(bags)s bags", bags) % {"bags": bags}
    listed = ngettext(
        "%(lines)s line %(within)s is listed in %(crate)s now.", "%(lines)s lines %(within)s are listed in %(crate)s now.", lines
    ) % {"lines": lines, "within": within, "crate": crate.code}
    return format_html('{} <a href="{}">{}</a>', listed, reverse("crate-order", args=[crate.pk]), _("Which bag to count first"))


def _page(request: MemberRequest, form: PackingForm, found: Preview | None = None, status: int = 200) -> HttpResponse:
    return render(request, "loading/packing.html", {"form": form, "found": found}, status=status)
