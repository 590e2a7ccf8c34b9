"""The list of what is due, the calendar feed of a member, and who wants it by mail."""

from collections.abc import Iterable

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.cache import cache_control, never_cache
from django.views.decorators.debug import sensitive_variables
from django.views.decorators.http import require_GET, require_POST, require_safe
from django_scopes import scope

from buildplan.reminders import queries
from buildplan.reminders.calc import Reminder
from buildplan.reminders.feed import MEDIA_TYPE, calendar
from buildplan.reminders.forms import DAYS, DaysForm
from buildplan.reminders.queries import Due
from inventory.common.undo import undoable
from inventory.labels.views import base_of
from inventory.models import DigestMail, FeedAddress
from inventory.workshop import feeds, tokens
from inventory.workshop.access import members_only
from inventory.workshop.queries import feed_of
from inventory.workshop.reading import by_clock_of
from inventory.workshop.request import MemberRequest

PAGE = 50
FEED_DAYS = 366  # a calendar shows a year


@never_cache  # the form carries the start of the next secret
@require_GET
@members_only
def reminders(request: MemberRequest) -> HttpResponse:
    """What is due, with reasons; below it the feed and the mail."""
    form = DaysForm(request.GET if "days" in request.GET else None)
    days = form.cleaned_data["days"] if form.is_valid() else DAYS
    found = queries.due(today=timezone.localdate(), days=days, member=request.member)
    page = Paginator(found.reminders, PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "due": found,
        "page": page,
        "parts": [
            (title, _rows(page.object_list, found, over=over))
            for title, over in ((_("Overdue"), True), (_("Within %(days)s days") % {"days": days}, False))
        ],
        "start": tokens.make_prefix(tokens.FEED),
        "feed": FeedAddress.objects.filter(member=request.member).exclude(prefix=None).first(),
        "mail": DigestMail.objects.filter(member=request.member, wanted=True).first(),
    }
    return render(request, "reminders/reminders.html", context)


def _rows(shown: Iterable[Reminder], found: Due, *, over: bool) -> list[tuple[Reminder, str]]:
    return [(one, time_left(one.days_left(found.as_of))) for one in shown if (one.day < found.as_of) is over]


def time_left(days: int) -> str:
    """How long is left, as the reader's language says it."""
    if days == 0:
        return _("today")
    if days > 0:
        return ngettext("in %(counter)s day", "in %(counter)s days", days) % {"counter": days}
    return ngettext("%(counter)s day ago", "%(counter)s days ago", -days) % {"counter": -days}


@never_cache
@sensitive_variables()
@require_POST
@members_only
def new_feed(request: MemberRequest) -> HttpResponse:
    """Make the feed a new address, which ends the old one. The answer alone shows it."""
    try:
        secret = feeds.make_feed_address(
            member=request.member, prefix=request.POST.get("start", ""), now=timezone.now(), by=request.member
        )[1]
    except feeds.AlreadyMade as problem:
        messages.warning(request, _("No address was made now: %(problem)s.") % {"problem": problem})
        return redirect("reminders")
    return render(request, "reminders/address.html", {"address": base_of(request) + reverse("feed", args=[secret])})


@require_POST
@members_only
def end_feed(request: MemberRequest) -> HttpResponse:
    """End the feed."""
    if feeds.end_feed_address(member=request.member, by=request.member):
        messages.success(request, _("Your calendar feed is ended: its address is refused from now on."))
    return redirect("reminders")


@require_POST
@members_only
def digest(request: MemberRequest) -> HttpResponse:
    """Ask for the mail, or ask no longer."""
    wanted = request.POST.get("wanted") == "1"
    feeds.want_digest(member=request.member, wanted=wanted, by=request.member)
    coming = _("What is due comes to %(mail)s, once a day at most.") % {"mail": request.user.email}
    said = coming if wanted else _("You get no more mail of what is due.")
    undoable(request, said, "digest", fields={"wanted": int(not wanted)})
    return redirect("reminders")


@sensitive_variables("secret")
@require_safe
@cache_control(private=True, no_cache=True)
def feed(request: HttpRequest, secret: str) -> HttpResponse:
    """The calendar that a secret opens, whoever asks: calendars don't sign in. It reads its member's workshop alone."""
    address = feed_of(secret)
    if address is None:
        raise Http404
    now = timezone.now()
    with scope(workshop=address.workshop), by_clock_of(address.workshop):
        found = queries.due(today=timezone.localdate(now), days=FEED_DAYS, member=address.member)
    content = calendar(address.workshop, found.reminders, base=base_of(request), now=now)
    return HttpResponse(content, content_type=MEDIA_TYPE, headers={"Content-Disposition": 'inline; filename="rivetloft.ics"'})
