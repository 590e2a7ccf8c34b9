"""What a code is, and in which order to count a crate, for people."""

from http import HTTPStatus

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildplan.wanted import queries
from buildplan.wanted.forms import LookUpForm, TeachForm
from inventory.catalogue import queries as catalogue
from inventory.catalogue import services
from inventory.catalogue.calc import key
from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE
from inventory.common.problems import FieldProblem
from inventory.common.undo import undoable
from inventory.models import Crate, Identifier, Item
from inventory.scanning.calc import sentences, shown
from inventory.scanning.problems import UnknownCode
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest


@require_http_methods(["GET", "POST"])
@members_only
def code(request: MemberRequest) -> HttpResponse:
    """What a code is, with a box to look up another; of an unknown one, what it may be, and a form that teaches it."""
    if request.method == "POST":
        return _teach(request)
    text = request.GET.get("code", "")
    return _page(request, text) if text.strip() else render(request, "wanted/code.html", {"form": LookUpForm()})


def code_address(text: str) -> str:
    """The page of a code."""
    return f"{reverse('code')}?{urlencode({'code': text})}"


def _page(request: MemberRequest, text: str) -> HttpResponse:
    form = LookUpForm(initial={"code": shown(text)})
    try:
        found = queries.what_is(text, today=timezone.localdate())
    except UnknownCode as problem:
        return _unknown(request, form, problem, _blank(problem), HTTPStatus.NOT_FOUND)
    context = {"form": form, "found": found, "shown": shown(found.text), "faults": sentences(found.reading), "today": timezone.localdate()}
    return render(request, "wanted/code.html", context)


def _blank(problem: UnknownCode) -> TeachForm:
    teach = problem.members["teach"]
    return TeachForm(initial={"code": problem.members["code"], "text": teach and teach["body"]["text"]})


def _unknown(request: MemberRequest, form: LookUpForm, problem: UnknownCode, teach: TeachForm, status: int) -> HttpResponse:
    may_teach = problem.members["teach"] is not None and policy.allowed(request.member, "keep_stock")
    fields = [(name, shown(value)) for name, value in problem.members["fields"].items() if name != "text"]
    context = {
        "form": form,
        "unknown": problem,
        "shown": shown(problem.members["code"]),
        "fields": fields,
        "near": problem.members["near"],
        "teach": teach if may_teach else None,
    }
    return render(request, "wanted/code.html", context, status=status)


def _teach(request: MemberRequest) -> HttpResponse:
    form = TeachForm(request.POST)
    if attempt(form, lambda: _write(form, request)):
        return redirect(code_address(form.cleaned_data["code"]))
    text = request.POST.get("code", "")
    try:
        queries.what_is(text, today=timezone.localdate())
    except UnknownCode as problem:
        return _unknown(request, LookUpForm(initial={"code": shown(text)}), problem, form, UNREADABLE)
    messages.error(request, " ".join(str(error) for errors in form.errors.values() for error in errors))
    return redirect(code_address(text))  # somebody taught it meanwhile


def _write(form: TeachForm, request: MemberRequest) -> None:
    given = form.cleaned_data
    item = _item(request, given["item"])
    known = Identifier.objects.filter(key=key(given["text"])).exists()
    row = services.add_identifier(item=item, text=given["text"], by=request.member)
    said = _("%(code)s means %(item)s from now on.") % {"code": shown(given["text"]), "item": item.code}
    if known:
        messages.success(request, said)
    else:
        undoable(request, said, "forget-code", row.pk)


@require_POST
@members_only
def forget_code(request: MemberRequest, pk: int) -> HttpResponse:
    """A code that was taught by mistake means nothing again."""
    found = get_object_or_404(Identifier.objects.select_related("item"), pk=pk)
    services.remove_identifier(identifier=found, by=request.member)
    messages.success(request, _("%(code)s means %(item)s no more.") % {"code": shown(found.text), "item": found.item.code})
    return redirect(code_address(found.text))


def _item(request: MemberRequest, text: str) -> Item:
    item = catalogue.find(request.workshop, text)
    if item is None:
        raise FieldProblem("item", f"nothing in the catalogue has the code {text}: give a code that means an item")
    return item


@require_GET
@members_only
def crate_order(request: MemberRequest, pk: int) -> HttpResponse:
    """In which order to count the bags of a crate, with the reasons."""
    crate = get_object_or_404(Crate.objects.select_related("bench", "sender"), pk=pk)
    bags = queries.bags_in_order(crate, today=timezone.localdate())
    return render(request, "wanted/order.html", {"crate": crate, "bags": bags})
