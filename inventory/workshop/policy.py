"""Who may do what: one table, asked by pages, API and commands alike."""

from collections.abc import Mapping

from django.db import models

from inventory.common.problems import Problem
from inventory.workshop.models import Bench, Device, Member, Role, Workshop

_ALL = frozenset(Role)
_HANDS = frozenset({Role.OWNER, Role.STOREKEEPER, Role.BUILDER})

PERMISSIONS: Mapping[str, frozenset[str]] = {
    "read": _ALL,
    "use_stock": _HANDS,  # finish a step, take it back, use, move
    "plan": _HANDS,  # dates of steps, set-asides
    "tally": _HANDS,  # count what came
    "log_temperatures": _HANDS,  # of a place; correcting a log takes keep_stock
    "keep_stock": frozenset({Role.OWNER, Role.STOREKEEPER}),  # receive, count and correct, scrap
    "order": frozenset({Role.OWNER, Role.STOREKEEPER}),
    "judge_lots": frozenset({Role.OWNER, Role.STOREKEEPER, Role.INSPECTOR}),
    "accept": frozenset({Role.INSPECTOR}),  # that one thing may serve for another in a step; that a lot past its life may be used
    "manage": frozenset({Role.OWNER}),
    "issue_devices": frozenset({Role.OWNER, Role.STOREKEEPER}),  # for oneself
    "all_devices": frozenset({Role.OWNER}),  # see and revoke what is another's
}

# What a device's token may be allowed, and what each covers.
SCOPES: Mapping[str, frozenset[str]] = {
    "read": frozenset({"read"}),
    "scan": frozenset({"scan"}),
    "manage": frozenset({"read", "scan", "manage"}),
}
ANY = "any"  # what a token of whatever scope may


class NotAllowed(Problem):
    """The member's role doesn't cover this."""

    status = 403
    title = "Not allowed"


def allowed(member: Member, permission: str) -> bool:
    """Whether the member's role covers `permission`."""
    return member.active and member.role in PERMISSIONS[permission]


def require(member: Member, permission: str, bench: Bench | None = None) -> None:
    """Raise `NotAllowed` unless the member's role covers `permission` in the bench's workshop."""
    if bench is not None:
        own(member, bench)
    if not allowed(member, permission):
        roles = ", ".join(role.value for role in Role if role in PERMISSIONS[permission])
        message = f"{member.name} is {member.role} here; this takes one of: {roles}"
        raise NotAllowed(message)


def own(member: Member, *rows: models.Model) -> None:
    """Raise `NotAllowed` where a row belongs to another workshop. It is not named: who isn't a member there learns nothing of it."""
    for row in rows:
        owner = row.pk if isinstance(row, Workshop) else row.workshop_id  # type: ignore[attr-defined]
        if owner != member.workshop_id:
            raise NotAllowed(f"this {row._meta.verbose_name} is another workshop's")  # noqa: SLF001 - Django's documented API


def scopes(device: Device) -> tuple[str, ...]:
    """What a device's token is allowed."""
    return tuple(name for name in SCOPES if getattr(device, f"may_{name}"))


def require_scope(device: Device, wanted: str) -> None:
    """Raise `NotAllowed` unless the device's token covers `wanted`. What its member may do is another question, which `require` asks."""
    has = scopes(device)
    if wanted != ANY and not any(wanted in SCOPES[name] for name in has):
        message = f"the token of {device.name} is for {' and '.join(has)}; this takes {wanted}"
        raise NotAllowed(message)
