"""How a member leaves: what they have on loan is settled first, and what they booked is given back."""

from datetime import datetime

from django.db import transaction
from django.utils import timezone

from inventory.common.fields import plain
from inventory.common.problems import Problem
from inventory.pool import booking as bookings
from inventory.pool import queries
from inventory.pool.models import Booking
from inventory.stock import services as stock
from inventory.workshop import memberships, services
from inventory.workshop.models import Member


class StillOut(Problem):
    """Who leaves takes nothing of the pool along."""

    status = 409
    title = "Something is still on loan"


@transaction.atomic
def leave(*, member: Member, forget_name: bool, now: datetime, by: Member) -> Member:
    """End a membership, one's own or, for an owner, another's. Refuses while anything is on loan to them.

    Their bookings end and who waits gets their turn; devices, feed and sessions end; what they did stays in the history, under their name
    or, with `forget_name`, under "a former member".
    """
    memberships.require_end(by, member)
    services.lock(member.workshop)
    _refuse_loans(member)
    _give_back(member, by, now)
    left = memberships.end(member=member, forget_name=forget_name, on=timezone.localdate(now), now=now, by=by)
    if forget_name:
        stock.rename_hands(member=left, name=memberships.FORMER, by=by)
    return left


@transaction.atomic
def forget(*, member: Member, by: Member) -> Member:
    """Forget the name of somebody who left earlier."""
    member = memberships.forget_name(member=member, by=by)
    stock.rename_hands(member=member, name=memberships.FORMER, by=by)
    return member


def _refuse_loans(member: Member) -> None:
    out = queries.loans(member=member)
    if out:
        listed = "; ".join(f"{plain(one.open)} {one.unit} of {one.item} since {one.out_on}" for one in out[:3])
        more = f", and {len(out) - 3} more" if len(out) > 3 else ""  # noqa: PLR2004 - a sentence stays short
        raise StillOut(f"{member.name} still has {listed}{more}: take it in, as returned, lost or worn out, before they leave")


def _give_back(member: Member, by: Member, now: datetime) -> None:
    open_ones = Booking.objects.filter(member=member, ended_at=None, last_day__gte=timezone.localdate(now))
    for booking in open_ones.select_related("item").order_by("item_id", "pk"):
        bookings.cancel(booking=booking, by=by, now=now)
