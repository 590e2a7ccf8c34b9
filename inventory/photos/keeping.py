"""Which photos stay: those that something rests on that was signed, closed up or sent.

A photo names what it shows by kind and number (`log:7`), and nothing here reads into it. Who keeps things of a kind says which of their
photos stay: its function stands in the setting `PHOTO_KEEPERS`, so that a slice far above needs no import from here.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Protocol

from django.conf import settings
from django.utils.module_loading import import_string

from inventory.photos.queries import PhotoRow


class Keeper(Protocol):
    """Says of photos of its kinds why they stay, by the photo's id, in a fixed number of queries. One that may go isn't named.

    With `hold` that stays true until the transaction ends: nobody signs, closes up or sends meanwhile.
    """

    def __call__(self, photos: Sequence[PhotoRow], *, hold: bool) -> Mapping[int, str]:
        """Why they stay, and what would do instead."""


def why_staying(photos: Iterable[PhotoRow], *, hold: bool = False) -> dict[int, str]:
    """Why some of these photos can't be taken away, by id. What each keeper asks, and no query where no kind has one."""
    by_keeper: dict[str, list[PhotoRow]] = defaultdict(list)
    for photo in photos:
        if path := settings.PHOTO_KEEPERS.get(kind_of(photo)):
            by_keeper[path].append(photo)
    found: dict[int, str] = {}
    for path, rows in by_keeper.items():
        keeper: Keeper = import_string(path)
        found |= keeper(rows, hold=hold)
    return found


def marked(photos: Sequence[PhotoRow]) -> list[PhotoRow]:
    """The photos, each with why it stays, for a page that offers to remove them."""
    why = why_staying(photos)
    return [replace(photo, stays=why.get(photo.id, "")) for photo in photos]


def kind_of(photo: PhotoRow) -> str:
    """What sort of thing it shows."""
    return photo.ref.partition(":")[0]


def number_of(photo: PhotoRow) -> int:
    """Which of them."""
    return int(photo.ref.partition(":")[2])
