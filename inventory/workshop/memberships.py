"""The only writer of roles, of whose bench is whose, and of how a membership ends."""

from collections.abc import Sequence
from datetime import date, datetime

from django.db import transaction

from inventory.common.history import changed_by
from inventory.common.problems import FieldProblem, Problem
from inventory.common.texts import filled
from inventory.workshop import feeds, policy, queries, services, sessions
from inventory.workshop.models import Bench, BenchHolder, Device, Invitation, Member, Role

FORMER = "a former member"
MOST_NAME = 120


class NotAPerson(Problem):
    """The workshop's own hand has no role to be changed, and can't leave."""

    title = "This is nobody who signs in"


class StillHere(Problem):
    """Only the name of who left is forgotten."""

    status = 409
    title = "They are still a member"


@transaction.atomic
def change_member(*, member: Member, name: str, role: str, by: Member) -> Member:
    """Give a member another name or role. Refuses to take the role from the last owner; who left comes back by an invitation."""
    policy.own(by, member)
    policy.require(by, "manage")
    if role not in Role.values:
        raise FieldProblem("role", f"{role!r} is no role: there are {', '.join(Role.values)}")
    name = filled("name", name, MOST_NAME)
    member = _locked(member)
    if not member.active:
        raise FieldProblem("role", f"{member.name} has left: invite them to have them back")
    if role != Role.OWNER:
        services.refuse_last_owner(member)
    if (member.name, member.role) != (name, role):
        member.name, member.role = name, role
        changed_by(member, by).save(update_fields=["name", "role"])
    return member


@transaction.atomic
def set_holders(*, bench: Bench, members: Sequence[Member], by: Member) -> list[BenchHolder]:
    """Say whose a bench is: of the builders only its holders use its stock then. Nobody makes it anybody's."""
    policy.own(by, bench, *members)
    policy.require(by, "manage")
    if bench.shared and members:
        raise FieldProblem("members", f"{bench.name} is shared: a shared bench is everybody's, and has no holders")
    for member in members:
        refuse_as_holder(member.name, member.role, left=not member.active, field="members")
    Bench.objects.select_for_update(no_key=True).get(pk=bench.pk)
    _put_holders(bench, {member.pk: member for member in members}, by)
    policy.forget_benches(by, *members)
    return list(BenchHolder.objects.filter(bench=bench).select_related("member").order_by("member__name", "pk"))


def refuse_as_holder(name: str, role: str, *, left: bool = False, field: str) -> None:
    """Raise a `FieldProblem` where somebody of this role, or who left, can't hold a bench."""
    if left:
        raise FieldProblem(field, f"{name} has left: a bench is held by somebody who is here")
    if role not in policy.PERMISSIONS["use_stock"]:
        raise FieldProblem(field, f"{name} is {role}, who uses no stock: give the bench to a builder, a storekeeper or an owner")


def _put_holders(bench: Bench, wanted: dict[int, Member], by: Member) -> None:
    held = {row.member_id: row for row in BenchHolder.objects.filter(bench=bench)}
    for pk, row in held.items():
        if pk not in wanted:
            changed_by(row, by).delete()
    for pk, member in wanted.items():
        if pk not in held:
            changed_by(BenchHolder(workshop_id=bench.workshop_id, bench=bench, member=member), by).save()


@transaction.atomic
def end(*, member: Member, forget_name: bool, on: date, now: datetime, by: Member) -> Member:
    """End a membership: devices, feed, mails and invitations of theirs end, and the sessions where this was their last workshop.

    What they did stays, under their name or under "a former member". It doesn't ask what they still have on loan: the pool does
    (`inventory.pool.leaving`), which is how one leaves. Again changes nothing.
    """
    require_end(by, member)
    member = _locked(member)
    if not member.active:
        return member
    services.refuse_last_owner(member)
    _end_reach(member, now, by)
    member.active, member.left_on = False, on
    changed_by(member, by).save(update_fields=["active", "left_on"])
    if forget_name:
        _forget(member, by)
    _end_sessions(member)
    return member


def require_end(by: Member, member: Member) -> None:
    """Raise `NotAllowed` unless it is one's own membership, or one manages them all."""
    policy.own(by, member)
    if by.pk != member.pk:
        policy.require(by, "manage")


@transaction.atomic
def forget_name(*, member: Member, by: Member) -> Member:
    """Call somebody who left "a former member" everywhere, in the history too."""
    policy.own(by, member)
    policy.require(by, "manage")
    member = _locked(member)
    if member.active:
        raise StillHere(f"{member.name} is still a member: a name is forgotten once its owner has left")
    _forget(member, by)
    return member


def _locked(member: Member) -> Member:
    """As it is now, with the workshop held: two owners who demote each other at once leave one."""
    if member.user_id is None:
        raise NotAPerson(f"{member.name} is the workshop's own hand: it stays as it is")
    services.lock(member.workshop)
    return Member.objects.select_for_update(of=("self",)).select_related("user", "workshop").get(pk=member.pk)


def _end_reach(member: Member, now: datetime, by: Member) -> None:
    for device in Device.objects.filter(member=member, revoked_at=None).order_by("pk"):
        device.revoked_at = now
        changed_by(device, by).save(update_fields=["revoked_at"])
    feeds.end_all(member=member, by=by)
    for invitation in Invitation.objects.filter(by=member, used_at=None, withdrawn_at=None).order_by("pk"):
        invitation.withdrawn_at = now
        changed_by(invitation, by).save(update_fields=["withdrawn_at"])


def _end_sessions(member: Member) -> None:
    """A session works in each workshop of its person's. Here it finds no membership any more; without another it ends."""
    if member.user is not None and not queries.memberships(member.user):
        sessions.end_all(user=member.user)


def _forget(member: Member, by: Member) -> None:
    """The rows stay theirs; what they read as is "a former member", in earlier versions too."""
    member.name = FORMER
    changed_by(member, by).save(update_fields=["name"])
    Member.history.filter(id=member.pk).update(name=FORMER)
    invited = Invitation.objects.filter(used_by=member)
    Invitation.history.filter(id__in=list(invited.values_list("pk", flat=True))).update(name=FORMER, email="")
    invited.update(name=FORMER, email="")
