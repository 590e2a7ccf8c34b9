"""Makers' notices of the demo: one that hits one of two benches, and one of rivets that a step took before anybody kept count."""

from datetime import date, datetime, time, timedelta
from uuid import UUID, uuid5

from django.utils import timezone

from buildplan.trace import services
from buildplan.trace.services import NoticeData
from inventory.models import Item, Member

NAMES = UUID("70ace000-5a17-4000-8000-000000000000")  # keys are made from it, so that making the demo again makes none
MAKER = "Samphire Sealants (invented)"
SEALANT, BATCH = "SEAL-B2", "S-2231"
RIVET, RIVETS = "MS20470AD3-4", "R-320"
BEFORE = timedelta(days=2)
TEXT = (
    "In batch S-2231 of our two-part sealant the accelerator of some cartons was filled short. Put aside what is left of it. "
    "Look at seams that were made with it: where a thumbnail marks the bead after fourteen days, take it out and seal anew."
)
OTHER = "Rivets of batch R-320 may have a seam at the head. Look at each head with a lens, set or not; replace what shows one."


def make_trace(*, today: date) -> None:
    """Both notices. Made again they are the same."""
    keeper = Member.objects.select_related("workshop").filter(active=True, role="owner").order_by("pk")[0]
    issued = today - BEFORE
    hits = NoticeData(
        reference="SN-14",
        maker=MAKER,
        title="Accelerator filled short",
        text=TEXT,
        issued_on=issued,
        codes=[BATCH],
    )
    unsure = NoticeData(
        reference="RB-3",
        maker="Cordgrass Rivets (invented)",
        title="Seams at rivet heads",
        text=OTHER,
        issued_on=issued - BEFORE,
        codes=[RIVETS],
    )
    _swept(hits, SEALANT, keeper, today, letters=True)
    _swept(unsure, RIVET, keeper, today, letters=False)


def _swept(said: NoticeData, item: str, by: Member, today: date, *, letters: bool) -> None:
    key = uuid5(NAMES, said.reference)
    notice = services.add_notice(workshop=by.workshop, said=said, items=[Item.objects.get(code=item)], key=key, by=by)
    if notice.sweeps.exists():
        return
    now = timezone.make_aware(datetime.combine(today, time(8)))
    services.sweep(notice=notice, by=by, now=now)
    if letters:
        services.write_letters(notice=notice, by=by, now=now)
