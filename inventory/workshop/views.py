"""Signing in and out, and choosing a workshop."""

from typing import Any, cast

from django.contrib import messages
from django.contrib.auth import login, update_session_auth_hash
from django.contrib.auth.forms import PasswordChangeForm, SetPasswordForm
from django.contrib.auth.views import LoginView, PasswordChangeView
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse_lazy
from django.utils.http import urlsafe_base64_decode
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_variables
from django.views.decorators.http import require_POST

from inventory.workshop import queries, services
from inventory.workshop.access import members_only
from inventory.workshop.forms import SignInForm
from inventory.workshop.middleware import SESSION_KEY
from inventory.workshop.models import User
from inventory.workshop.request import MemberRequest

BACKEND = "django.contrib.auth.backends.ModelBackend"
GONE = 410


class SignIn(LoginView):
    """By e-mail address and password."""

    template_name = "workshop/sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True


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
        services.set_password(user=form.user, password=form.cleaned_data["new_password1"])
        update_session_auth_hash(self.request, form.user)
        messages.success(self.request, "Your password is set. Sign in with it from now on.")
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
    login(request, user, backend=BACKEND)
    if not user.has_usable_password():
        messages.info(request, "You are signed in. Set a password now, and next time you need no link.")
    return redirect("home")


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
    messages.success(request, f"You are in {member.workshop.name} now.")
    return redirect("home")
