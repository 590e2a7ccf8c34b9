"""Photos that a claim's letter names stay once it is sent: whoever it went to may ask for them."""

from collections.abc import Sequence

from inventory.claims.models import Claim, ClaimState
from inventory.photos.keeping import kind_of, number_of
from inventory.photos.queries import PhotoRow
from inventory.receiving.models import Crate
from inventory.tallying.models import Tally
from inventory.tallying.photos import TALLY


def photos_of_sent(photos: Sequence[PhotoRow], *, hold: bool) -> dict[int, str]:
    """Of photos of crates and their counts, those that a sent letter names, answered or not. Two queries, three with `hold`."""
    counts = {number_of(photo) for photo in photos if photo.ref.startswith(TALLY)}
    crates = {number_of(photo) for photo in photos if kind_of(photo) == "crate"}
    if counts:
        crates |= set(Tally.objects.filter(pk__in=counts).values_list("crate_id", flat=True))
    if hold:  # who sends a claim locks its crate first
        list(Crate.objects.select_for_update(no_key=True).filter(pk__in=crates).order_by("pk"))
    sent = Claim.objects.filter(crate__in=crates).exclude(state=ClaimState.DRAFT).order_by("pk")
    named = {
        photo["id"]: f"the claim sent to {against} on {on} shows this photo, so it stays with the letter: add a further photo if need be"
        for against, on, facts in sent.values_list("against", "sent_on", "facts")
        for photo in facts.get("photos", ())
    }
    return {photo.id: named[photo.id] for photo in photos if photo.id in named}
