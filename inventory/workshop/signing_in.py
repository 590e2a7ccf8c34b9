"""What a password, a link and an invitation lead to: signed in, or asked for the second step first."""

from dataclasses import asdict, dataclass
from datetime import timedelta

from axes.handlers.proxy import AxesProxyHandler
from django.contrib.auth import login
from django.contrib.auth.signals import user_login_failed
from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.crypto import constant_time_compare

from inventory.workshop import second_step, sessions
from inventory.workshop.models import User

BACKEND = "django.contrib.auth.backends.ModelBackend"
WAITS = timedelta(minutes=10)  # from the password to the code: a starting value of ours
_KEPT = "second-step"


@dataclass(frozen=True, slots=True)
class _Waiting:
    """Who gave the first of the two. `proof` dies with the password, as a session's does."""

    user: int
    proof: str
    since: float
    then: str


def enter(request: HttpRequest, user: User, then: str) -> HttpResponse:
    """Sign `user` in and go on to `then`; who has two-step sign-in is asked for a code first, and signed in by it alone."""
    if not second_step.is_on(user):
        return sign_in(request, user, then)
    waiting = _Waiting(user.pk, user.get_session_auth_hash(), timezone.now().timestamp(), then)
    request.session[_KEPT] = asdict(waiting)
    return redirect("sign-in-code")


def sign_in(request: HttpRequest, user: User, then: str) -> HttpResponse:
    """Start the session. All that was to be shown has been shown."""
    request.session.pop(_KEPT, None)
    login(request, user, backend=BACKEND)
    sessions.forget_dead(user=user)
    return redirect(then)


def waiting(request: HttpRequest) -> tuple[User, str] | None:
    """Who waits for the second step in this browser, and where they go on to; None where nobody does, or not any more."""
    kept = request.session.get(_KEPT)
    if kept is None:
        return None
    asked = _Waiting(**kept)
    user = User.objects.filter(pk=asked.user, is_active=True).first()
    late = timezone.now().timestamp() - asked.since > WAITS.total_seconds()
    if user is None or late or not constant_time_compare(asked.proof, user.get_session_auth_hash()):
        return None
    return user, asked.then


def is_locked(request: HttpRequest, user: User) -> bool:
    """Whether too many wrong passwords and codes came from here for this person."""
    return not AxesProxyHandler.is_allowed(request, {"username": user.email})


def gives_code(request: HttpRequest, user: User, form: Form) -> bool:
    """Whether the form's code lets `user` in. A wrong one counts towards the lock-out, as a wrong password does.

    That is written whatever becomes of the request, so this is no part of `attempt`, which takes back what a refused form wrote.
    """
    if not form.is_valid():
        return False
    if second_step.check(user=user, code=form.cleaned_data["code"]):
        return True
    user_login_failed.send(sender=__name__, credentials={"username": user.email}, request=request)
    form.add_error("code", str(second_step.WrongCode()))
    return False
