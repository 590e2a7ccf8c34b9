"""The page of archives: ask for one, follow it while it is written, download it."""

from dataclasses import dataclass
from typing import cast
from uuid import uuid4

from django.contrib import messages
from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildplan.archive import services
from buildplan.archive.forms import AskForm
from buildplan.archive.models import SavedArchive, SavedState
from buildplan.archive.saving import rows_of
from buildplan.loading import worker
from inventory.common.pages import UNREADABLE
from inventory.common.problems import Problem
from inventory.models import Photo
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

MOST_LISTED = 20
_OPEN = frozenset({SavedState.WAITING, SavedState.RUNNING})


@dataclass(frozen=True, slots=True)
class Listed:
    """An archive as the page shows it."""

    row: SavedArchive
    kept: bool
    interrupted: bool
    written: int

    @classmethod
    def of(cls, row: SavedArchive) -> "Listed":
        """With what its file and its lock say."""
        return cls(row, services.is_kept(row), services.is_interrupted(row), min(services.rows_written(row), row.rows))


@require_http_methods(["GET", "POST"])
@members_only
def archives(request: MemberRequest) -> HttpResponse:
    """What an archive holds, the form that asks for one, and the latest ones."""
    policy.require(request.member, "manage")
    form = AskForm(request.POST if request.method == "POST" else None, initial={"key": uuid4()})
    if request.method != "POST":
        return _page(request, form)
    if not form.is_valid():
        return _page(request, form, UNREADABLE)
    row = services.ask(key=form.cleaned_data["key"], by=request.member, now=timezone.now())
    if services.is_small(row) and row.state in _OPEN:
        services.run(pk=row.pk, clock=timezone.now)
        _tell(request, row)
    return redirect("archives")


@require_POST
@members_only
def archive_now(request: MemberRequest, pk: int) -> HttpResponse:
    """Write one that waits, or was interrupted, while the page waits."""
    row = _found(request, pk)
    services.run(pk=row.pk, clock=timezone.now)
    _tell(request, row)
    return redirect("archives")


@require_POST
@members_only
def remove_archive(request: MemberRequest, pk: int) -> HttpResponse:
    """Take one away before its time."""
    try:
        services.remove(archive=_found(request, pk), by=request.member)
    except policy.NotAllowed:
        raise
    except Problem as problem:
        messages.error(request, str(problem))
    else:
        messages.success(request, _("The archive is gone from here. Copies that were downloaded are not."))
    return redirect("archives")


@require_GET
@never_cache
@members_only
def archive_file(request: MemberRequest, pk: int) -> HttpResponse:
    """The file itself."""
    row = _found(request, pk)
    if not services.is_kept(row):
        raise services.FileGone
    name = f"{request.member.workshop.code}-{row.made_at:%Y-%m-%d}.zip"
    answer = FileResponse(services.path_of(row).open("rb"), as_attachment=True, filename=name, content_type="application/zip")
    return cast("HttpResponse", answer)  # it is sent piece by piece, which the type of our pages doesn't say


def _found(request: MemberRequest, pk: int) -> SavedArchive:
    row = get_object_or_404(SavedArchive, pk=pk)
    policy.require(request.member, "manage")
    return row


def _tell(request: HttpRequest, row: SavedArchive) -> None:
    row.refresh_from_db()
    if row.state == SavedState.DONE:
        messages.success(request, _("The archive is ready: download it, and keep it on another machine."))
    elif row.state == SavedState.FAILED:
        messages.error(request, row.why)


def _page(request: MemberRequest, form: AskForm, status: int = 200) -> HttpResponse:
    listed = [Listed.of(row) for row in SavedArchive.objects.select_related("by").order_by("-made_at", "-pk")[:MOST_LISTED]]
    going = any(one.row.state in _OPEN and not one.interrupted for one in listed)
    context = {
        "form": form,
        "archives": listed,
        "going": going,
        "worker": worker.is_present(),
        "rows": rows_of(request.member.workshop),
        "photos": Photo.objects.values("digest").distinct().count(),
        "days": services.KEPT.days,
    }
    return render(request, "archive/archives.html", context, status=status)


__all__ = ["archive_file", "archive_now", "archives", "remove_archive"]
