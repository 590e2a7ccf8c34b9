"""The first steps of a new workshop, and the page that makes the very first one."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters, sensitive_variables
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildplan.loading import example, first_steps, set_up
from buildplan.loading.set_up_form import SetUpForm
from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest
from inventory.workshop.signing_in import enter


@require_GET
@members_only
def start(request: MemberRequest) -> HttpResponse:
    """From nothing to the first answer: what is there, and what comes next."""
    found = first_steps.first_steps(request.member)
    may = {name: policy.allowed(request.member, right) for name, right in (("load", "keep_stock"), ("manage", "manage"))}
    return render(request, "loading/start.html", {"first": found, "may": may})


@require_POST
@members_only
def load_example(request: MemberRequest) -> HttpResponse:
    """Load the invented scenario into this workshop. Pressed twice, it is there once."""
    policy.require(request.member, "manage")
    try:
        example.load_example(by=request.member, today=timezone.localdate())
        messages.success(request, _("The example is loaded: an invented club with two floatplanes. Look what is short."))
    except example.NotEmpty as problem:
        messages.warning(request, str(problem))
    return redirect("start")


@require_POST
@members_only
def hide(request: MemberRequest) -> HttpResponse:
    """Lead through the steps no more, or again."""
    hidden = request.POST.get("hidden") == "1"
    first_steps.hide(by=request.member, hidden=hidden)
    if hidden:
        messages.info(request, _("The first steps are put away. They stay at %(address)s.") % {"address": reverse("start")})
    return redirect("home" if hidden else "start")


@never_cache
@sensitive_variables("code")
@sensitive_post_parameters("password", "again")
@require_http_methods(["GET", "POST"])
def set_up_page(request: HttpRequest) -> HttpResponse:
    """Make the first workshop and its owner, on a site that has nobody yet; after that the page isn't there."""
    if not set_up.is_open():
        raise Http404
    form = SetUpForm(request.POST or None, initial={"code": request.GET.get("code", "")})
    made = []
    if request.method == "POST" and attempt(form, lambda: made.append(set_up.make_first(**form.given))):
        return enter(request, made[0], reverse("start"))
    return render(request, "loading/set_up.html", {"form": form}, status=UNREADABLE if form.errors else 200)
