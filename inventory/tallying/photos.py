"""Photos of a crate and of what a count found."""

from datetime import datetime

from inventory.common.problems import Problem
from inventory.photos import services as photos
from inventory.photos.models import Photo
from inventory.photos.services import Picture
from inventory.receiving.models import Crate
from inventory.tallying.models import Tally
from inventory.workshop import policy
from inventory.workshop.models import Member

TALLY = "tally:"


class OtherCrate(Problem):
    """The count is of another crate than the photo."""

    title = "This count is of another crate"


def ref_of_crate(crate: int) -> str:
    """How a photo names a crate."""
    return f"crate:{crate}"


def ref_of_tally(tally: int) -> str:
    """How a photo names a count."""
    return f"{TALLY}{tally}"


def tally_of(ref: str) -> int:
    """The count that `ref_of_tally` named."""
    return int(ref.removeprefix(TALLY))


def keep_picture(  # noqa: PLR0913 - what is said of a photo
    *, crate: Crate, tally: Tally | None = None, picture: Picture, caption: str = "", at: datetime, by: Member
) -> Photo:
    """Keep a picture of a crate, or of what one count found. A form sent twice keeps it once. A transaction of its own."""
    policy.own(by, crate, *([tally] if tally else []))
    policy.require(by, "tally", crate.bench)
    if tally is not None and tally.crate_id != crate.pk:
        raise OtherCrate("this count is of another crate: give the photo to the crate alone")
    ref = ref_of_tally(tally.pk) if tally else ref_of_crate(crate.pk)
    return photos.keep(ref=ref, picture=picture, caption=caption, at=at, by=by)
