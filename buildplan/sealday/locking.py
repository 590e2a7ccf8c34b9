"""A seal day while it is being written."""

from buildplan.sealday.models import SealDay
from buildplan.sealday.problems import DayOver
from inventory.models import Member
from inventory.workshop import policy


def lock_open(day: SealDay, by: Member, permission: str) -> SealDay:
    """The day as it is now, held until the transaction ends. Refuses one that is over."""
    policy.own(by, day)
    found = SealDay.objects.select_for_update(of=("self",)).select_related("bench__workshop").get(pk=day.pk)
    policy.require(by, permission, found.bench)
    if not found.open:
        what = "closed" if found.closed_at else "called off"
        raise DayOver(f"the seal day of {found.on} is {what}: it is a record and changes no more")
    return found
