"""The scan page: typed codes and photos without JavaScript, and what the page needs that does the rest in the browser."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

from csp.constants import SELF, WASM_UNSAFE_EVAL
from csp.decorators import csp_update
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views.decorators.cache import cache_control, never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE
from inventory.scanning import offline, standing
from inventory.scanning.decoding import Found, codes_in
from inventory.scanning.forms import ACTIONS, LastForm, PhotoForm, ScanForm
from inventory.scanning.models import Scan
from inventory.scanning.problems import TYPE, UuidReused
from inventory.scanning.script_words import page_texts
from inventory.scanning.services import Answer, ScanData, act, undo
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

STANDING = ("action", "place", "bag")
STAYS = ("find", "open", "return")  # what can't be undone
NO_UUID = "00000000-0000-0000-0000-000000000000"  # the page's script puts a scan's own in its place
_JAVASCRIPT = "text/javascript; charset=utf-8"


@never_cache
@require_http_methods(["GET", "POST"])
@members_only
def scan(request: MemberRequest) -> HttpResponse:
    """The page; and one typed scan, which is acted on as the API does."""
    if request.method == "POST":
        return _typed(request)
    return _page(request, ScanForm(initial=_stands(request.GET)), last=_last(request))


def _last(request: MemberRequest) -> UUID | None:
    """The scan that the page has just been sent, if there is something to undo of it."""
    form = LastForm(request.GET)
    uuid = form.cleaned_data["last"] if form.is_valid() else None
    found = uuid and Scan.objects.filter(uuid=uuid, outcome=Scan.Outcome.DONE, undone_at=None).exclude(action__in=STAYS).exists()
    return uuid if found else None


def _typed(request: MemberRequest) -> HttpResponse:
    form = ScanForm(request.POST)
    if not form.is_valid():
        return _page(request, form)
    address = code_address(form.cleaned_data["code"])
    if form.cleaned_data["action"] == "find" and address:
        return HttpResponseRedirect(address)
    answer = _act(request, form.cleaned_data)
    if answer.outcome == Scan.Outcome.DONE:
        messages.success(request, f"{answer.body['text']}.")
        return redirect(f"{reverse('scan')}?{urlencode({**_stands(request.POST), 'last': str(answer.uuid)})}")
    return _refused(request, form, answer)


def _act(request: MemberRequest, given: Mapping[str, Any]) -> Answer:
    """It is scanned as it comes in: a page has no clock of its own. Sent twice, it was scanned when it first came."""
    answer = _sent(request, given, timezone.now())
    if answer.body.get("type") != TYPE + UuidReused.kind:
        return answer
    first = Scan.objects.values_list("asked__at", flat=True).get(uuid=answer.uuid)
    return _sent(request, given, datetime.fromisoformat(first))


def _sent(request: MemberRequest, given: Mapping[str, Any], at: datetime) -> Answer:
    now = timezone.now()
    names = ("uuid", "code", "action", "place", "bag", "lot", "quantity")
    scans = [ScanData(at=at, device_time=now, **{name: given[name] for name in names})]
    return act(scans=scans, by=request.member, device=None, now=now)[0]


def _refused(request: MemberRequest, form: ScanForm, answer: Answer) -> HttpResponse:
    """The form with what was typed and why it is not done. What is put right is another scan, so it gets another uuid."""
    form.data = request.POST.copy()
    form.data["uuid"] = str(uuid4())
    form.add_error(None, f"{answer.body['title']}: {answer.body['detail']}")
    choices = [_choice(request, choice) for choice in answer.body.get("choices", [])]
    teach = code_address(form.cleaned_data["code"]) if answer.outcome == Scan.Outcome.UNKNOWN else ""
    return _page(request, form, choices=choices, teach=teach)


def _choice(request: MemberRequest, choice: Mapping[str, Any]) -> dict[str, Any]:
    """One of several things that may be meant, as a form that sends the same scan with it named."""
    named = {name: choice[name] for name in ("lot", "place", "bag") if choice.get(name)}
    facts = (choice.get("lot_code") and _("lot %(code)s") % {"code": choice["lot_code"]}, choice.get("bag"), choice.get("place"))
    held = f"{choice['quantity']} {choice['unit']}" if "quantity" in choice else ""
    typed = {name: request.POST.get(name, "") for name in ("code", "quantity", *STANDING)}
    return {"text": ", ".join(filter(None, (*facts, held))), "fields": {**typed, **named, "uuid": uuid4()}}


@require_POST
@members_only
def undo_scan(request: MemberRequest, uuid: UUID) -> HttpResponse:
    """Take back what a scan did."""
    found = get_object_or_404(Scan, uuid=uuid)
    undo(scan=found, by=request.member, now=timezone.now())
    messages.success(request, _("Undone: %(what)s.") % {"what": found.answer["text"]})
    return redirect(f"{reverse('scan')}?{urlencode(_stands({'action': found.action, **found.asked}))}")


def _stands(given: Mapping[str, str]) -> dict[str, str]:
    return {name: given[name] for name in STANDING if given.get(name)}


def _page(request: MemberRequest, form: ScanForm, photo_form: PhotoForm | None = None, **context: Any) -> HttpResponse:
    photo_form = photo_form or PhotoForm()
    context |= {"form": form, "photo_form": photo_form, "addresses": _addresses(), "script_texts": page_texts()}
    context |= {"places": standing.places(), "bags": standing.bags(), "lots": standing.lots()}
    wrong = form.errors or photo_form.errors
    answer = render(request, "scanning/scan.html", context, status=UNREADABLE if wrong else None)
    answer["Scan-Version"] = offline.version()
    return answer


def _addresses() -> dict[str, str]:
    """What the page's script asks, by name; blank where there is no such address."""
    names = {"scans": "api-scans", "decode": "api-decode", "code": "code", "page": "scan"}
    return {key: _address(name) for key, name in names.items()} | {"undo": _address("api-scan-undo", NO_UUID)}


def _address(name: str, *args: str) -> str:
    try:
        return reverse(name, args=args)
    except NoReverseMatch:
        return ""


def code_address(code: str) -> str:
    """Where a page tells what this code is; that page is not of this app."""
    page = _address("code")
    return page and f"{page}?{urlencode({'code': code})}"


@require_http_methods(["GET", "POST"])
@members_only
def photo(request: MemberRequest) -> HttpResponse:
    """The codes in a photo, each with a button that does what was chosen with it."""
    if request.method == "GET":
        return redirect("scan")
    form = PhotoForm(request.POST, request.FILES)
    found: list[Found] = []
    if not attempt(form, lambda: found.extend(codes_in(form.cleaned_data["photo"].read()))):
        typed = {name: request.POST.get(name, "") for name in ("code", "quantity", *STANDING)}
        return _page(request, ScanForm(initial=typed), form)
    given = {name: request.POST.get(name, "") for name in ("quantity", "place", "bag")}
    context = {"codes": [{"found": code, "uuid": uuid4()} for code in found], "given": given, "action": _action(request)}
    return render(request, "scanning/photo.html", context)


def _action(request: MemberRequest) -> tuple[str, str | Promise]:
    """What was chosen, and how it is called."""
    asked = request.POST.get("action")
    return next((choice for choice in ACTIONS if choice[0] == asked), ACTIONS[0])


@require_GET
@cache_control(no_cache=True)
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker's script. Open to everyone: browsers look for a newer one whoever is signed in, and it tells nothing."""
    del request
    return HttpResponse(offline.worker(), content_type=_JAVASCRIPT)


@require_GET
@cache_control(no_cache=True)
@csp_update({"script-src": [SELF, WASM_UNSAFE_EVAL]})
def decoder(request: HttpRequest) -> HttpResponse:
    """The worker that reads pictures. A worker's policy is that of its script: it alone may compile WebAssembly, no page may."""
    del request
    return HttpResponse(offline.decoder(), content_type=_JAVASCRIPT)
