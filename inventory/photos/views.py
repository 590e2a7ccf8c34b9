"""A picture itself, and taking one away. Each slice shows its own photos (`templates/photos/list.html`)."""

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from inventory.common.pages import way_back
from inventory.common.pictures import as_jpeg, open_picture
from inventory.photos import services
from inventory.photos.models import Photo
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

MONTH = 30 * 24 * 3600  # seconds; a photo never changes
SMALL = 480  # pixels of the longer side, for a list of photos on a phone


@require_GET
@members_only
def photo(request: MemberRequest, pk: int) -> HttpResponse:
    """The picture itself; with `small` one for a list, which weighs little."""
    found = get_object_or_404(Photo, pk=pk)
    try:
        data = services.path_of(found).read_bytes()
    except FileNotFoundError as error:
        raise Http404 from error
    if "small" in request.GET:
        data = as_jpeg(open_picture(data), SMALL)
    response = HttpResponse(data, content_type="image/jpeg")
    response["Cache-Control"] = f"private, max-age={MONTH}, immutable"
    return response


@require_POST
@members_only
def remove_photo(request: MemberRequest, pk: int) -> HttpResponse:
    """Take a photo away, and go back to the page that showed it (`next`)."""
    services.remove(photo=get_object_or_404(Photo, pk=pk), by=request.member)
    messages.success(request, _("The photo is gone."))
    return redirect(way_back(request, reverse("shelves")))
