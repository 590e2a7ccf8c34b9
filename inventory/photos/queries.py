"""Reads of photos."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from inventory.photos.models import Photo

PHOTO_COLUMNS = ("pk", "ref", "caption", "width", "height", "by__name", "at")


@dataclass(frozen=True, slots=True)
class PhotoRow:
    """A photo as lists name it. `stays` says why it can't be taken away, where somebody asked."""

    id: int
    ref: str
    caption: str
    width: int
    height: int
    by: str
    at: datetime
    stays: str = ""


def row_of(pk: int) -> PhotoRow | None:
    """One photo; None where it is gone. One query."""
    found = Photo.objects.filter(pk=pk).values_list(*PHOTO_COLUMNS).first()
    return PhotoRow(*found) if found else None


def of(refs: Iterable[str]) -> dict[str, list[PhotoRow]]:
    """The photos of each of these things, the oldest first. One query."""
    found: dict[str, list[PhotoRow]] = defaultdict(list)
    rows = Photo.objects.filter(ref__in=list(refs)).order_by("pk")
    for row in rows.values_list(*PHOTO_COLUMNS):
        found[row[1]].append(PhotoRow(*row))
    return found
