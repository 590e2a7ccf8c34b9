"""The only writer of photos: a picture made anew in the folder of uploads, and its row.

The file is written before the row. Where the row can't be, the file is taken away again; so none of the two is ever without the other,
save that a crash between them may leave a file that nothing names.
"""

import hashlib
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from uuid import uuid4

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction

from inventory.common.pictures import LARGEST, BadPicture, as_jpeg, open_picture
from inventory.common.problems import Problem
from inventory.common.texts import optional
from inventory.photos import queries
from inventory.photos.keeping import why_staying
from inventory.photos.models import Photo
from inventory.workshop import policy
from inventory.workshop.models import Member, Workshop
from inventory.workshop.services import lock

MOST_CAPTION = 200
MOST_PHOTOS = 500  # of one thing: far more than a claim takes, far less than a disk
_MB = 1024 * 1024


class PhotoStays(Problem):
    """Something that was signed, closed up or sent rests on the photo."""

    status = 409
    title = "This photo stays"


class TooManyPhotos(Problem):
    """A thing has as many photos as it may."""

    status = 409
    title = "Enough photos"


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture that may be kept: already made anew."""

    jpeg: bytes
    width: int
    height: int


def read_picture(data: bytes) -> Picture:
    """Make a picture anew from what was sent. Refuses what is none (`BadPicture`); nothing is kept yet."""
    jpeg = as_jpeg(open_picture(data))
    made = open_picture(jpeg)
    return Picture(jpeg, made.width, made.height)


def read_upload(file: "UploadedFile[bytes]") -> Picture:
    """The same of a file of a form, looked at by its size before it is read."""
    if (file.size or 0) > LARGEST:
        raise BadPicture(f"The file is over {LARGEST // _MB} MB, which is the most that is taken. Send a smaller picture.")
    return read_picture(file.read())


def keep(*, ref: str, picture: Picture, caption: str = "", at: datetime, by: Member) -> Photo:
    """Keep a picture of what `ref` names, for a caller who has asked whether `by` may.

    The same one again of the same thing is the first one's: a form sent twice keeps it once. It is a transaction of its own, never part
    of another: only then is it known whether the file must go again.
    """
    caption, name = optional("caption", caption, MOST_CAPTION), f"{by.workshop_id}/{uuid4().hex}.jpg"
    photo = Photo(workshop_id=by.workshop_id, ref=ref, file=name, caption=caption, by=by, at=at)
    photo.width, photo.height, photo.digest = picture.width, picture.height, hashlib.sha256(picture.jpeg).hexdigest()
    return _keep(photo, picture.jpeg, by.workshop)


def _keep(photo: Photo, jpeg: bytes, workshop: Workshop) -> Photo:
    path = path_of(photo)
    kept = None
    try:
        with transaction.atomic(durable=True):
            lock(workshop)
            kept = Photo.objects.filter(ref=photo.ref, digest=photo.digest).first()
            if kept is None:
                _refuse_many(photo.ref)
                _write(path, jpeg)
                photo.save(force_insert=True)
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return kept or photo


def _refuse_many(ref: str) -> None:
    if Photo.objects.filter(ref=ref).count() >= MOST_PHOTOS:
        raise TooManyPhotos(f"this has {MOST_PHOTOS} photos, which are the most: remove one first")


def _write(path: Path, jpeg: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("xb") as file:
        file.write(jpeg)


def remove(*, photo: Photo, by: Member) -> None:
    """Take a photo away: who took it may, and who may correct stock. Its file goes once the row is gone for certain.

    Refused where what it shows was signed, closed up or sent, as its keeper says (`keeping`).
    """
    policy.own(by, photo)
    if photo.by_id != by.pk or not by.active:
        policy.require(by, "keep_stock")
    path = path_of(photo)
    with transaction.atomic():
        _refuse_staying(photo)
        Photo.objects.filter(pk=photo.pk).delete()
        transaction.on_commit(lambda: path.unlink(missing_ok=True))


def _refuse_staying(photo: Photo) -> None:
    row = queries.row_of(photo.pk)
    if row is not None and (why := why_staying([row], hold=True)):
        raise PhotoStays(why[row.id])


def path_of(photo: Photo) -> Path:
    """Where its file lies."""
    return Path(settings.MEDIA_ROOT) / photo.file
