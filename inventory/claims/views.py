"""Senders and their clocks, what is known of a crate's journey, and claims from the draft to the answer."""

from collections.abc import Sequence
from datetime import date
from itertools import count
from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.http import HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inventory.claims import pdf, queries, services
from inventory.claims.forms import AnswerForm, ChooseForm, DraftForm, JourneyForm, RuleForm, SenderForm, SendForm
from inventory.claims.models import Claim, ClaimRule, ClaimState, Fault
from inventory.claims.queries import Claimable
from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE, way_back
from inventory.common.undo import as_it_stands, undoable
from inventory.receiving import views as receiving
from inventory.receiving.models import Crate, Sender
from inventory.receiving.queries import crates as crates_to_come
from inventory.tallying import queries as tallying
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

MOST_CHOICES = 200  # differences with a form on one page: Django reads 1000 fields of a form at most
JOURNEY = ("order_code", "carrier", "ordered_on", "shipped_on", "due_on", "arrived_on")


# Senders


@require_http_methods(["GET", "POST"])
@members_only
def senders(request: MemberRequest) -> HttpResponse:
    """Who sends crates; a new one is added here."""
    may_order = policy.allowed(request.member, "order")
    if request.method == "POST":
        policy.require(request.member, "order")
    form = SenderForm(request.POST if request.method == "POST" else None) if may_order else None
    if form is not None and request.method == "POST" and attempt(form, lambda: _save_sender(form, None, request)):
        return redirect("senders")
    context = {"senders": queries.senders(), "form": form}
    return render(request, "claims/senders.html", context, status=UNREADABLE if form and form.errors else None)


def _save_sender(form: SenderForm, sender: Sender | None, request: MemberRequest) -> None:
    before = None if sender is None else as_it_stands(SenderForm(initial=_said(sender)))
    kept = services.save_sender(sender=sender, **form.cleaned_data, by=request.member)
    if before is None:
        messages.success(request, _("%(kept)s is saved.") % {"kept": kept.name})
    else:
        undoable(request, _("%(kept)s is saved.") % {"kept": kept.name}, "sender", kept.pk, fields=before)


def _said(sender: Sender) -> dict[str, str]:
    return {"name": sender.name, "address": sender.address, "email": sender.email}


@require_http_methods(["GET", "POST"])
@members_only
def sender(request: MemberRequest, pk: int) -> HttpResponse:
    """One sender: its address, and how long what can be claimed."""
    found = get_object_or_404(Sender, pk=pk)
    if request.method == "POST":
        policy.require(request.member, "order")
    form = SenderForm(request.POST if request.method == "POST" else None, initial=_said(found))
    if request.method == "POST" and attempt(form, lambda: _save_sender(form, found, request)):
        return redirect("sender", found.pk)
    return _sender_page(request, pk, form, RuleForm(auto_id="rule-%s"))


@require_POST
@members_only
def set_rule(request: MemberRequest, pk: int) -> HttpResponse:
    """Set a claim clock of a sender."""
    found = get_object_or_404(Sender, pk=pk)
    policy.require(request.member, "order")
    form = RuleForm(request.POST, auto_id="rule-%s")
    if attempt(form, lambda: _save_rule(form, found, request)):
        return redirect("sender", found.pk)
    return _sender_page(request, pk, SenderForm(initial=_said(found)), form)


def _save_rule(form: RuleForm, sender: Sender, request: MemberRequest) -> None:
    before = ClaimRule.objects.filter(sender=sender, fault=form.cleaned_data["fault"]).first()
    rule = services.save_rule(sender=sender, **form.cleaned_data, by=request.member)
    said = _("The clock for %(fault)s is set.") % {"fault": rule.get_fault_display()}
    if before is None:
        undoable(request, said, "remove-claim-rule", rule.pk)
    else:
        undoable(request, said, "set-claim-rule", sender.pk, fields=_as_set(before))


def _as_set(rule: ClaimRule) -> dict[str, object]:
    """What the form of a clock sends to set it as `rule` has it."""
    return as_it_stands(RuleForm(initial={name: getattr(rule, name) for name in RuleForm.base_fields}))


def _sender_page(request: MemberRequest, pk: int, form: SenderForm, rule_form: RuleForm) -> HttpResponse:
    found = get_object_or_404(Sender, pk=pk)  # as it is kept: a form that failed has changed nothing of it
    known = {rule.fault: rule for rule in ClaimRule.objects.filter(sender=found)}
    context = {
        "sender": found,
        "rules": [(fault.label, known.get(fault.value)) for fault in Fault],
        "may_order": policy.allowed(request.member, "order"),
        "form": form,
        "rule_form": rule_form,
    }
    return render(request, "claims/sender.html", context, status=UNREADABLE if form.errors or rule_form.errors else None)


@require_POST
@members_only
def remove_rule(request: MemberRequest, pk: int) -> HttpResponse:
    """Forget a claim clock."""
    rule = get_object_or_404(ClaimRule, pk=pk)
    before = _as_set(rule)
    services.remove_rule(rule=rule, by=request.member)
    undoable(
        request,
        _("No clock for %(fault)s is known any more.") % {"fault": rule.get_fault_display()},
        "set-claim-rule",
        rule.sender_id,
        fields=before,
    )
    return redirect("sender", rule.sender_id)


# A crate


@require_GET
@members_only
def crates(request: MemberRequest) -> HttpResponse:
    """Every crate that something is still to come of, with how many lines of those that are here are still to count."""
    rows = crates_to_come()
    progress = tallying.progress_of([row.id for row in rows if row.arrived_on])
    return receiving.crates(request, rows=rows, left={pk: one.left for pk, one in progress.items()})


@require_GET
@members_only
def crate(request: MemberRequest, pk: int) -> HttpResponse:
    """One crate as receiving shows it, with its claim clocks."""
    found = _get_crate(pk)
    also = {"clocks": _clocks(found), "may_order": policy.allowed(request.member, "order")}
    return receiving.crate(request, pk, counted=tallying.found_in([found.pk]), also=also)


@require_http_methods(["GET", "POST"])
@members_only
def crate_details(request: MemberRequest, pk: int) -> HttpResponse:
    """Who sent a crate, and how it came."""
    found = _get_crate(pk)
    policy.require(request.member, "order", found.bench)
    said = {"sender": found.sender.name if found.sender else "", **{name: getattr(found, name) for name in JOURNEY}}
    form = JourneyForm(request.POST if request.method == "POST" else None, today=timezone.localdate(), initial=said)
    back = way_back(request, reverse("crate", args=[found.pk]))
    if request.method == "POST" and attempt(form, lambda: _save_journey(form, found, request)):
        return redirect(back)
    context = {"crate": found, "form": form, "next": back, "senders": queries.sender_names()}
    return render(request, "claims/crate_details.html", context, status=UNREADABLE if form.errors else None)


def _save_journey(form: JourneyForm, crate: Crate, request: MemberRequest) -> None:
    given = dict(form.cleaned_data)
    name = given.pop("sender").strip()
    known = Sender.objects.filter(name__iexact=name).first() if name else None
    new = services.save_sender(name=name, by=request.member) if name and known is None else None
    services.set_sender(crate=crate, sender=known or new, **given, by=request.member)
    messages.success(request, _("The details of crate %(crate)s are saved.") % {"crate": crate.code})
    if new is not None:
        messages.warning(request, _("%(new)s is new among the senders, and no claim clock of it is known: set it.") % {"new": new.name})


def _get_crate(pk: int) -> Crate:
    return get_object_or_404(Crate.objects.select_related("bench", "sender"), pk=pk)


@require_http_methods(["GET", "POST"])
@members_only
def crate_claims(request: MemberRequest, pk: int) -> HttpResponse:
    """What of a crate can be claimed, how long, and what is claimed already; here claims are drafted."""
    found, may_order = _get_crate(pk), policy.allowed(request.member, "order")
    if request.method == "POST":
        policy.require(request.member, "order", found.bench)
    data = request.POST if request.method == "POST" else None
    form = DraftForm(data, initial={"request_key": uuid4()})
    every = data is not None and "all" in data
    choices = _choices(found, None if every else data, may_order=may_order)
    if data is not None and (every or _all_valid(choices)) and attempt(form, lambda: _draft(form, choices, found, request, every=every)):
        return redirect("crate-claims", found.pk)
    asked = sum(choice is not None for _, choice in choices)
    context = {
        "crate": found,
        "choices": choices,
        "form": form,
        "may_order": may_order,
        "may_draft": asked > 0,
        "more": sum(bool(one.left) for one, _ in choices) - asked if may_order else 0,
        "clocks": _clocks(found),
        "claims": queries.claims(timezone.localdate(), crate=found),
    }
    return render(request, "claims/crate_claims.html", context, status=UNREADABLE if data is not None else None)


Choices = Sequence[tuple[Claimable, ChooseForm | None]]


def _choices(crate: Crate, data: QueryDict | None, *, may_order: bool) -> Choices:
    """Every difference, the first ones with a form where something of them is left."""
    left = count()
    return [
        (one, ChooseForm(data, found=one) if may_order and one.left and next(left) < MOST_CHOICES else None)
        for one in queries.claimable(crate)
    ]


def _clocks(crate: Crate) -> list[queries.Clock]:
    """They run once it has arrived."""
    return queries.clocks(timezone.localdate(), crate=crate) if crate.arrived_on else []


def _all_valid(choices: Choices) -> bool:
    """Look at every one, so that each says what is wrong with it."""
    found = [choice.is_valid() for _, choice in _asked(choices)]
    return all(found)


def _draft(form: DraftForm, choices: Choices, crate: Crate, request: MemberRequest, *, every: bool) -> None:
    filled = [(one, choice.cleaned_data) for one, choice in _asked(choices) if not every and choice.cleaned_data["quantity"]]
    chosen = None if every else [_chosen(one, given) for one, given in filled]
    key = form.cleaned_data["request_key"]
    made = services.draft_claims(crate=crate, on=timezone.localdate(), by=request.member, chosen=chosen, request_key=key)
    said = ngettext(
        "%(count)s claim is drafted: look at each letter, send it, then mark it as sent.",
        "%(count)s claims are drafted: look at each letter, send it, then mark it as sent.",
        len(made),
    )
    text = said % {"count": len(made)}
    if len(made) == 1:
        undoable(request, text, "discard-claim", made[0].pk)
    else:
        messages.success(request, text)


def _asked(choices: Choices) -> list[tuple[Claimable, ChooseForm]]:
    return [(one, choice) for one, choice in choices if choice is not None]


def _chosen(one: Claimable, given: dict[str, Any]) -> services.Chosen:
    return services.Chosen(one.line_id, one.item_id, Fault(given.get("fault") or one.fault), given["quantity"], given["note"])


# Claims


@require_GET
@members_only
def claims(request: MemberRequest) -> HttpResponse:
    """Every claim, with its state and its clock."""
    return render(request, "claims/claims.html", {"claims": queries.claims(timezone.localdate())})


@require_GET
@members_only
def claim(request: MemberRequest, pk: int) -> HttpResponse:
    """One claim: its lines, its letter, and what comes next."""
    return _claim_page(request, _get_claim(pk), None)


def _claim_page(request: MemberRequest, found: Claim, form: SendForm | AnswerForm | None) -> HttpResponse:
    today = timezone.localdate()
    if form is None and policy.allowed(request.member, "order"):
        form = _next_form(found.state, today)
    shown = queries.detail(found, today, by=request.member)
    context = {"claim": found, "shown": shown, "form": form, "unshown": pdf.unshown(shown.letter)}
    return render(request, "claims/claim.html", context, status=UNREADABLE if form is not None and form.errors else None)


def _next_form(state: str, today: date) -> SendForm | AnswerForm | None:
    """What is asked next of a claim in this state."""
    if state == ClaimState.DRAFT:
        return SendForm(today=today)
    return AnswerForm(today=today) if state == ClaimState.SENT else None


def _get_claim(pk: int) -> Claim:
    return get_object_or_404(queries.claim_rows(), pk=pk)


@require_GET
@members_only
def letter_pdf(request: MemberRequest, pk: int) -> HttpResponse:
    """The letter as PDF."""
    found = _get_claim(pk)
    letter = queries.letter(found, by=request.member)
    response = HttpResponse(pdf.as_pdf(letter, queries.pictures(letter)), content_type="application/pdf")
    name = f"claim-{found.crate.code}-{found.fault}.pdf"
    response["Content-Disposition"] = content_disposition_header(as_attachment=False, filename=name) or "inline"
    return response


@require_POST
@members_only
def send(request: MemberRequest, pk: int) -> HttpResponse:
    """Mark a claim as sent."""
    found = _get_claim(pk)
    policy.require(request.member, "order", found.crate.bench)
    form = SendForm(request.POST, today=timezone.localdate())
    if attempt(form, lambda: services.send_claim(claim=found, on=form.cleaned_data["on"], by=request.member)):
        messages.success(request, _("The claim is marked as sent; its letter stays as it is."))
        return redirect("claim", found.pk)
    return _claim_page(request, _get_claim(pk), form)


@require_POST
@members_only
def answer(request: MemberRequest, pk: int) -> HttpResponse:
    """Write down what a claim was answered."""
    found = _get_claim(pk)
    policy.require(request.member, "order", found.crate.bench)
    form = AnswerForm(request.POST, today=timezone.localdate())
    if attempt(form, lambda: services.answer_claim(claim=found, **form.cleaned_data, by=request.member)):
        messages.success(request, _("The answer is written down."))
        return redirect("claim", found.pk)
    return _claim_page(request, _get_claim(pk), form)


@require_POST
@members_only
def discard(request: MemberRequest, pk: int) -> HttpResponse:
    """Throw a draft away."""
    found = _get_claim(pk)
    services.discard_claim(claim=found, by=request.member)
    messages.success(request, _("The draft is discarded; what it claimed is left to claim."))
    return redirect("crate-claims", found.crate_id)
