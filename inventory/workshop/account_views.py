"""One's own account: the second step, where one is signed in, a forgotten password."""

from typing import Any, cast

import segno
from axes.helpers import get_lockout_response
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.contrib.auth.views import INTERNAL_RESET_SESSION_TOKEN, PasswordResetConfirmView, PasswordResetView
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse_lazy
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_variables
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inventory.common.pages import UNREADABLE
from inventory.workshop import second_step, services, sessions
from inventory.workshop.forms import AppCodeForm, CodeForm, ForgottenForm
from inventory.workshop.models import SignedIn, User
from inventory.workshop.request import site
from inventory.workshop.signing_in import gives_code, is_locked, sign_in, waiting

MAIL_EVERY = 300  # seconds between two mails to one address: a starting value of ours


def _person(request: HttpRequest) -> User:
    return cast("User", request.user)  # these pages take a signed-in person


# The second step


@never_cache
@sensitive_variables("code")
@require_http_methods(["GET", "POST"])
def sign_in_code(request: HttpRequest) -> HttpResponse:
    """Ask for the code after the password or the link. Nobody is signed in before it."""
    found = waiting(request)
    if found is None:
        messages.warning(request, _("Sign in with your password, then give the code: it waits for ten minutes."))
        return redirect("sign-in")
    user, then = found
    if is_locked(request, user):
        return cast("HttpResponse", get_lockout_response(request, credentials={"username": user.email}))
    form = CodeForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and gives_code(request, user, form):
        return sign_in(request, user, then)
    return render(request, "workshop/code.html", {"form": form}, status=UNREADABLE if form.errors else None)


@require_GET
@never_cache
@login_required
def account(request: HttpRequest) -> HttpResponse:
    """How one signs in, and where one is signed in now."""
    user = _person(request)
    places = [(row, sessions.named(row.agent), row.key == request.session.session_key) for row in sessions.of(user)]
    context = {"places": places, "two_step": second_step.is_on(user), "codes_left": second_step.codes_left(user)}
    return render(request, "workshop/account.html", context)


@never_cache
@sensitive_variables()
@require_http_methods(["GET", "POST"])
@login_required
def two_step(request: HttpRequest) -> HttpResponse:
    """Set two-step sign-in up: a POST makes the app's secret, which is shown until a code confirms it."""
    user = _person(request)
    if second_step.is_on(user):
        return render(request, "workshop/two_step.html", {"form": CodeForm(), "codes_left": second_step.codes_left(user)})
    if request.method == "POST":
        second_step.start(user=user)
        return redirect("two-step")
    return _setting_up(request, AppCodeForm())


def _setting_up(request: HttpRequest, form: CodeForm) -> HttpResponse:
    begun = second_step.pending(_person(request))
    if begun is None:
        return render(request, "workshop/two_step_off.html")
    address = begun.config_url
    picture = segno.make(address, error="m").svg_data_uri(scale=5, border=4, light="#fff", dark="#000")
    context = {"form": form, "picture": picture, "key": second_step.readable_key(begun), "address": address}
    return render(request, "workshop/two_step_setup.html", context, status=UNREADABLE if form.errors else None)


@never_cache
@sensitive_variables()
@require_POST
@login_required
def confirm_two_step(request: HttpRequest) -> HttpResponse:
    """Turn it on by a code of the app. The answer alone shows the backup codes."""
    form = AppCodeForm(request.POST)
    if not form.is_valid():
        return _setting_up(request, form)
    try:
        codes = second_step.confirm(user=_person(request), code=form.cleaned_data["code"])
    except second_step.WrongCode as wrong:
        form.add_error("code", str(wrong))
        return _setting_up(request, form)
    return render(request, "workshop/backup_codes.html", {"codes": codes, "new": True})


@never_cache
@sensitive_variables()
@require_POST
@login_required
def renew_codes(request: HttpRequest) -> HttpResponse:
    """New backup codes in place of the old ones, for a code."""
    form = CodeForm(request.POST)
    if (refused := _refuse_without(form, request)) is not None:
        return refused
    return render(request, "workshop/backup_codes.html", {"codes": second_step.renew_codes(user=_person(request)), "new": False})


@never_cache
@sensitive_variables("form")
@require_POST
@login_required
def end_two_step(request: HttpRequest) -> HttpResponse:
    """Turn two-step sign-in off, for a code."""
    form = CodeForm(request.POST)
    if (refused := _refuse_without(form, request)) is not None:
        return refused
    second_step.turn_off(user=_person(request))
    messages.success(request, _("Two-step sign-in is off: your password alone lets you in."))
    return redirect("account")


def _refuse_without(form: CodeForm, request: HttpRequest) -> HttpResponse | None:
    """The page again where the code doesn't do. Codes are guessed here no more often than at signing in."""
    user = _person(request)
    if is_locked(request, user):
        return cast("HttpResponse", get_lockout_response(request, credentials={"username": user.email}))
    if gives_code(request, user, form):
        return None
    context = {"form": form, "codes_left": second_step.codes_left(user)}
    return render(request, "workshop/two_step.html", context, status=UNREADABLE)


# Where one is signed in


@require_POST
@login_required
def end_session(request: HttpRequest, pk: int) -> HttpResponse:
    """Sign oneself out in one place."""
    found = get_object_or_404(SignedIn, pk=pk, user=_person(request))
    sessions.end(signed_in=found)
    messages.success(request, _("You are signed out there."))
    return redirect("account")


@require_POST
@login_required
def end_sessions(request: HttpRequest) -> HttpResponse:
    """Sign oneself out everywhere else, or here as well."""
    if "here" in request.POST:
        sessions.end_all(user=_person(request))
        request.session.flush()
        return redirect("sign-in")
    ended = sessions.end_all(user=_person(request), but=request.session.session_key or "")
    said = ngettext(
        "You are signed out everywhere else: in %(ended)s place.", "You are signed out everywhere else: in %(ended)s places.", ended
    )
    messages.success(request, said % {"ended": ended})
    return redirect("account")


# A forgotten password


class _Afterwards(HttpResponseRedirect):
    """Sends the mail once the answer has gone out: how long it took doesn't tell whether an address is known."""

    def __init__(self, to: str, send: Any) -> None:
        """`send` is called when the answer is closed."""
        super().__init__(to)
        self._send = send

    def close(self) -> None:
        """The server calls this last."""
        self._send()
        super().close()


class Forgotten(PasswordResetView):
    """Ask for a link by mail. The answer is the same whoever asks."""

    template_name = "workshop/forgotten.html"
    form_class = ForgottenForm
    success_url = reverse_lazy("password-sent")

    def form_valid(self, form: Any) -> HttpResponse:
        """Mail it to who has that address; one mail in five minutes, so that nobody is buried in them."""
        said: dict[str, Any] = {
            "subject_template_name": "workshop/reset_subject.txt",
            "email_template_name": "workshop/reset_mail.txt",
            "extra_email_context": {"base": site(self.request)},
            "domain_override": self.request.get_host(),
        }
        asked = salted_hmac("inventory.workshop.forgotten", form.cleaned_data["email"].lower()).hexdigest()  # a cache key has no blanks
        first = cache.add(f"reset-{asked}", "sent", timeout=MAIL_EVERY)
        return _Afterwards(str(self.success_url), (lambda: form.save(**said)) if first else (lambda: None))


class Reset(PasswordResetConfirmView):
    """Set a password by a mailed link. It signs nobody in: the second step is asked for at signing in."""

    template_name = "workshop/reset.html"
    success_url = reverse_lazy("sign-in")

    def form_valid(self, form: Any) -> HttpResponse:
        """Set it, which signs them out everywhere."""
        services.set_password(user=form.user, password=form.cleaned_data["new_password1"])
        self.request.session.pop(INTERNAL_RESET_SESSION_TOKEN, None)
        messages.success(self.request, _("Your password is set: sign in with it. You are signed out everywhere else."))
        return redirect(self.get_success_url())
