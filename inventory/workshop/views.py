"""Signing in and out, choosing a workshop, and the devices that act for its members."""

from typing import Any, cast

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.forms import PasswordChangeForm, SetPasswordForm
from django.contrib.auth.views import LoginView, PasswordChangeView
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse, reverse_lazy
from django.utils import timezone
from django.utils.http import urlsafe_base64_decode
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_variables
from django.views.decorators.http import require_http_methods, require_POST

from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE
from inventory.common.undo import undoable
from inventory.workshop import policy, queries, services, sessions, tokens
from inventory.workshop.access import members_only
from inventory.workshop.forms import IssueForm, NameForm, SignInForm
from inventory.workshop.middleware import SESSION_KEY
from inventory.workshop.models import Device, User
from inventory.workshop.request import MemberRequest
from inventory.workshop.signing_in import enter

GONE = 410


class SignIn(LoginView):
    """By e-mail address and password."""

    template_name = "workshop/sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True

    def form_valid(self, form: Any) -> HttpResponse:
        """Sign in, or ask for the second step."""
        return enter(self.request, form.get_user(), self.get_success_url())


class Password(PasswordChangeView):
    """A password of one's own: who came by a link has none yet, and isn't asked for an old one."""

    template_name = "workshop/password.html"
    success_url = reverse_lazy("home")

    def get_form_class(self) -> type[Any]:
        """Ask for the old password only where there is one."""
        user = cast("User", self.request.user)  # the page takes a signed-in person
        return PasswordChangeForm if user.has_usable_password() else SetPasswordForm

    def form_valid(self, form: Any) -> HttpResponse:
        """Set it. Other devices are signed out, this one stays."""
        key = self.request.session.session_key or ""
        services.set_password(user=form.user, password=form.cleaned_data["new_password1"], but=key)
        update_session_auth_hash(self.request, form.user)
        sessions.forget_dead(user=form.user)  # the session has another key now
        messages.success(self.request, _("Your password is set. Sign in with it from now on."))
        return redirect(self.get_success_url())


@never_cache
@sensitive_variables("token")
def sign_in_link(request: HttpRequest, uidb64: str, token: str) -> HttpResponse:
    """Sign in by a link that works once. Opening it only shows a button, since mail programs open links by themselves."""
    if request.method == "POST":
        return _use_link(request, _uid(uidb64), token)
    user = services.owner_of_link(_uid(uidb64), token)
    if user is None:
        return _dead_link(request)
    return render(request, "workshop/sign_in_link.html", {"person": user})


def _use_link(request: HttpRequest, uid: str, token: str) -> HttpResponse:
    user = services.use_sign_in_link(uid, token)
    if user is None:
        return _dead_link(request)
    answer = enter(request, user, reverse("home"))
    if not user.has_usable_password():
        messages.info(request, _("Set a password now, and next time you need no link."))
    return answer


def _dead_link(request: HttpRequest) -> HttpResponse:
    return render(request, "workshop/dead_link.html", status=GONE)


def _uid(text: str) -> str:
    """The user's number, which a link carries as base 64, as Django's own links do, or plainly."""
    try:
        return urlsafe_base64_decode(text).decode("ascii")
    except ValueError:
        return text


@require_POST
@members_only
def choose_workshop(request: MemberRequest) -> HttpResponse:
    """Work in another of one's workshops from now on."""
    code = request.POST.get("workshop", "")
    member = queries.membership(request.user, code, None)
    if member is None:
        raise Http404
    request.session[SESSION_KEY] = member.workshop.code
    messages.success(request, _("You are in %(workshop)s now.") % {"workshop": member.workshop.name})
    return redirect("home")


@never_cache
@sensitive_variables()
@require_http_methods(["GET", "POST"])
@members_only
def devices(request: MemberRequest) -> HttpResponse:
    """List one's devices; a POST issues one, and its answer alone shows the token."""
    if request.method == "GET":
        return _devices_page(request, IssueForm(initial={"start": tokens.make_prefix()}))
    policy.require(request.member, "issue_devices")
    form = IssueForm(request.POST)
    issued: list[tuple[Device, str]] = []
    if not attempt(form, lambda: issued.extend(_issue(form, request))):
        return _devices_page(request, form)
    return _token_page(request, *issued[0]) if issued else redirect("devices")


def _issue(form: IssueForm, request: MemberRequest) -> list[tuple[Device, str]]:
    """The device and its token; nothing where the same form came before."""
    given, by = form.cleaned_data, request.member
    try:
        return [services.issue_device(member=by, name=given["name"], scopes=form.scopes, prefix=given["start"], by=by)]
    except services.AlreadyIssued as problem:
        messages.warning(request, _("Nothing was issued now: %(problem)s.") % {"problem": problem})
        return []


def _devices_page(request: MemberRequest, form: IssueForm) -> HttpResponse:
    found = [(device, policy.scopes(device)) for device in queries.devices(request.member)]
    context = {
        "form": form,
        "active": [(device, scopes) for device, scopes in found if device.revoked_at is None],
        "revoked": [device for device, _ in found if device.revoked_at is not None],
        "may_issue": policy.allowed(request.member, "issue_devices"),
        "sees_all": policy.allowed(request.member, "all_devices"),
    }
    return render(request, "workshop/devices.html", context, status=UNREADABLE if form.errors else None)


@sensitive_variables("token", "context")
def _token_page(request: MemberRequest, device: Device, token: str) -> HttpResponse:
    context = {"device": device, "token": token, "scopes": policy.scopes(device), "address": request.build_absolute_uri(reverse("api-me"))}
    return render(request, "workshop/token.html", context)


@require_http_methods(["GET", "POST"])
@members_only
def device(request: MemberRequest, pk: int) -> HttpResponse:
    """Show one device, call it something else, and ask before it is revoked."""
    found = get_object_or_404(queries.devices(request.member), pk=pk)
    form = NameForm(request.POST if request.method == "POST" else None, initial={"name": found.name})
    if request.method == "POST" and attempt(form, lambda: _rename(form, found, request)):
        return redirect("devices")
    context = {"form": form, "device": found, "scopes": policy.scopes(found)}
    return render(request, "workshop/device.html", context, status=UNREADABLE if form.errors else None)


def _rename(form: NameForm, found: Device, request: MemberRequest) -> None:
    before = found.name
    kept = services.rename_device(device=found, name=form.cleaned_data["name"], by=request.member)
    undoable(request, _("The device is called %(kept)s now.") % {"kept": kept.name}, "device", kept.pk, fields={"name": before})


@require_POST
@members_only
def revoke_device(request: MemberRequest, pk: int) -> HttpResponse:
    """End a device's token."""
    found = get_object_or_404(queries.devices(request.member), pk=pk)
    services.revoke_device(device=found, now=timezone.now(), by=request.member)
    messages.success(request, _("%(found)s is revoked: its token is refused from now on.") % {"found": found.name})
    return redirect("devices")
