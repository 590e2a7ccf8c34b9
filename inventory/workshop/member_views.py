"""Who works here, what each may do, whose a bench is, and invitations."""

from collections.abc import Sequence
from typing import cast

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_variables
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE
from inventory.common.undo import as_it_stands, undoable
from inventory.workshop import invitations, memberships, policy, queries, tokens
from inventory.workshop.access import members_only
from inventory.workshop.forms import HoldersForm, InviteForm, JoinForm, MemberForm, NewAccountForm
from inventory.workshop.middleware import SESSION_KEY
from inventory.workshop.models import Bench, Invitation, Member, Role, User
from inventory.workshop.request import MemberRequest, site
from inventory.workshop.signing_in import sign_in


@require_GET
@members_only
def members(request: MemberRequest) -> HttpResponse:
    """Who works here, whose each bench is, and who is invited."""
    now, may_manage = timezone.now(), policy.allowed(request.member, "manage")
    people = queries.people()
    invited = [(row, invitations.state(row, now)) for row in queries.invitations()] if may_manage else []
    context = {
        "here": [person for person in people if person.member.active],
        "left": [person for person in people if not person.member.active],
        "benches": queries.benches(),
        "invited": [row for row, state in invited if state == invitations.OPEN],
        "ended": [(row, state) for row, state in invited if state != invitations.OPEN],
        "may_manage": may_manage,
    }
    return render(request, "workshop/members.html", context)


@require_GET
@members_only
def roles(request: MemberRequest) -> HttpResponse:
    """Who may do what: the table that every page, program and command asks."""
    rows = [(policy.MEANINGS[name], [(role, role in allowed) for role in Role]) for name, allowed in policy.PERMISSIONS.items()]
    return render(request, "workshop/roles.html", {"roles": list(Role), "rows": rows})


@require_http_methods(["GET", "POST"])
@members_only
def member(request: MemberRequest, pk: int) -> HttpResponse:
    """One member; an owner gives them another name or role."""
    found = get_object_or_404(Member.objects.exclude(user=None).select_related("user"), pk=pk)
    may_manage = policy.allowed(request.member, "manage")
    form = MemberForm(request.POST if request.method == "POST" else None, initial={"name": found.name, "role": found.role})
    if request.method == "POST":
        policy.require(request.member, "manage")
        before = as_it_stands(MemberForm(None, initial=form.initial))
        if attempt(form, lambda: memberships.change_member(member=found, **form.cleaned_data, by=request.member)):
            undoable(
                request,
                _("%(name)s is %(role)s now.") % {"name": form.cleaned_data["name"], "role": form.cleaned_data["role"]},
                "member",
                pk,
                fields=before,
            )
            return redirect("members")
    context = {
        "person": found,
        "benches": [row.bench for row in found.benches.select_related("bench").order_by("bench__code")],
        "form": form if may_manage and found.active else None,
        "may_manage": may_manage,
        "may_leave": found.active and (may_manage or found.pk == request.member.pk),
    }
    return render(request, "workshop/member.html", context, status=UNREADABLE if form.errors else None)


@require_http_methods(["GET", "POST"])
@members_only
def bench_holders(request: MemberRequest, pk: int) -> HttpResponse:
    """Say whose a bench is."""
    policy.require(request.member, "manage")
    bench = get_object_or_404(Bench, pk=pk)
    held = list(bench.holders.values_list("member_id", flat=True))
    form = HoldersForm(request.POST if request.method == "POST" else None, initial={"members": held})
    if request.method == "POST" and attempt(form, lambda: _hold(form, bench, held, request)):
        return redirect("members")
    context = {"form": form, "bench": bench, "left": Member.objects.filter(pk__in=held, active=False).order_by("name")}
    return render(request, "workshop/holders.html", context, status=UNREADABLE if form.errors else None)


def _hold(form: HoldersForm, bench: Bench, before: list[int], request: MemberRequest) -> None:
    held = memberships.set_holders(bench=bench, members=list(form.cleaned_data["members"]), by=request.member)
    names = _listed([row.member.name for row in held])
    said = (
        _("%(bench)s is held by %(names)s.") % {"bench": bench.name, "names": names}
        if held
        else _("%(bench)s is held by nobody: every builder may use it.") % {"bench": bench.name}
    )
    undoable(request, said, "bench-holders", bench.pk, fields={"members": before})


def _listed(names: Sequence[str]) -> str:
    if len(names) < 2:  # noqa: PLR2004 - one name alone
        return "".join(names)
    return _("%(names)s and %(last)s") % {"names": ", ".join(names[:-1]), "last": names[-1]}


# Invitations


@never_cache
@sensitive_variables()
@require_http_methods(["GET", "POST"])
@members_only
def invite(request: MemberRequest) -> HttpResponse:
    """Invite somebody; the answer to a POST alone shows the link."""
    policy.require(request.member, "manage")
    posted = request.method == "POST"
    form = InviteForm(request.POST) if posted else InviteForm(initial={"start": tokens.make_prefix(tokens.INVITATION)})
    made: list[tuple[Invitation, str]] = []
    if posted and attempt(form, lambda: made.append(_invite(form, request))):
        return _link_page(request, *made[0], send=form.cleaned_data["send"])
    return render(request, "workshop/invite.html", {"form": form}, status=UNREADABLE if form.errors else None)


def _invite(form: InviteForm, request: MemberRequest) -> tuple[Invitation, str]:
    given = form.cleaned_data
    said = {name: given[name] for name in ("name", "role", "email", "bench")}
    return invitations.invite(**said, prefix=given["start"], now=timezone.now(), by=request.member)


@sensitive_variables()
def _link_page(request: MemberRequest, invitation: Invitation, secret: str, *, send: bool) -> HttpResponse:
    link = site(request) + reverse("join", args=[secret])
    sent = send and invitations.mail(invitation=invitation, link=link)
    context = {"invitation": invitation, "link": link, "send": send, "sent": sent, "days": invitations.LASTS.days}
    return render(request, "workshop/invitation.html", context)


@require_POST
@members_only
def withdraw_invitation(request: MemberRequest, pk: int) -> HttpResponse:
    """Take an invitation back."""
    found = get_object_or_404(Invitation, pk=pk)
    invitations.withdraw(invitation=found, now=timezone.now(), by=request.member)
    messages.success(request, _("The invitation of %(found)s is withdrawn: its link lets nobody in.") % {"found": found.name})
    return redirect("members")


@never_cache
@sensitive_variables()
@require_http_methods(["GET", "POST"])
def join(request: HttpRequest, secret: str) -> HttpResponse:
    """What an invitation's link opens. Looking at it uses nothing up; joining does."""
    signed_in = request.user if request.user.is_authenticated else None
    try:
        invitation = invitations.opened(secret=secret, now=timezone.now())
    except invitations.Gone as gone:
        return _gone(request, secret, gone)
    form_class = JoinForm if signed_in else NewAccountForm
    start = {"name": invitation.name, "email": invitation.email}
    form = form_class(request.POST if request.method == "POST" else None, initial=start)
    joined: list[Member] = []
    if request.method == "POST" and attempt(form, lambda: joined.append(_join(form, request, secret))):
        return _welcome(request, joined[0], new=signed_in is None)
    context = {"form": form, "invitation": invitation, "here": request.get_full_path(), "signed_in": signed_in}
    return render(request, "workshop/join.html", context, status=UNREADABLE if form.errors else None)


def _join(form: JoinForm, request: HttpRequest, secret: str) -> Member:
    given, now = form.cleaned_data, timezone.now()
    if isinstance(form, NewAccountForm):
        return invitations.accept_as_new(secret=secret, **given, now=now)
    return invitations.accept(secret=secret, user=cast("User", request.user), name=given["name"], now=now)


def _welcome(request: HttpRequest, joined: Member, *, new: bool) -> HttpResponse:
    answer = sign_in(request, joined.user, reverse("home")) if new and joined.user else redirect("home")
    request.session[SESSION_KEY] = joined.workshop.code
    messages.success(
        request,
        _("Welcome to %(workshop)s, %(joined)s: you are %(role)s here.")
        % {"workshop": joined.workshop.name, "joined": joined.name, "role": joined.role},
    )
    return answer


def _gone(request: HttpRequest, secret: str, gone: invitations.Gone) -> HttpResponse:
    """Whoever came by it themselves, and pressed twice, is where they wanted to be."""
    found = queries.invitation_of(secret)
    if found is not None and request.user.is_authenticated and queries.came_by(found, request.user):
        return redirect("home")
    return render(request, "problem.html", {"title": gone.title, "detail": str(gone)}, status=gone.status)
