"""Who may do what: one table, asked by pages, API and commands alike."""

from collections.abc import Mapping

from django.db import models
from django.utils.translation import gettext_noop as _
from django_scopes import scopes_disabled

from inventory.common.problems import Problem
from inventory.workshop.models import Bench, Device, Member, Role, Workshop

_ALL = frozenset(Role)
_HANDS = frozenset({Role.OWNER, Role.STOREKEEPER, Role.BUILDER})

PERMISSIONS: Mapping[str, frozenset[str]] = {
    "read": _ALL,
    "use_stock": _HANDS,  # finish a step, take it back, use, move
    "plan": _HANDS,  # dates of steps, set-asides
    "write_log": _HANDS,  # entries, hours and photos of the builder's log
    "sign_log": frozenset({Role.OWNER, Role.INSPECTOR}),  # the owner only where nobody is inspector
    "tally": _HANDS,  # count what came
    "log_temperatures": _HANDS,  # of a place; correcting a log takes keep_stock
    "keep_stock": frozenset({Role.OWNER, Role.STOREKEEPER}),  # receive, count and correct, scrap
    "order": frozenset({Role.OWNER, Role.STOREKEEPER}),
    "judge_lots": frozenset({Role.OWNER, Role.STOREKEEPER, Role.INSPECTOR}),
    "notices": frozenset({Role.OWNER, Role.STOREKEEPER, Role.INSPECTOR}),  # of makers: write down, sweep, write the letters
    "look_into": frozenset({Role.OWNER, Role.STOREKEEPER, Role.BUILDER, Role.INSPECTOR}),  # what a notice asks to look at
    "accept": frozenset({Role.INSPECTOR}),  # that one thing may serve for another in a step; that a lot past its life may be used
    "settle": frozenset({Role.OWNER, Role.INSPECTOR, Role.BUILDER}),  # what text and drawing disagree on; a builder at their bench
    "close_up": frozenset({Role.OWNER, Role.BUILDER}),  # a section, and open it again; a builder at their bench
    "manage": frozenset({Role.OWNER}),
    "repair": frozenset({Role.OWNER}),  # names and notes of rows, by hand
    "issue_devices": frozenset({Role.OWNER, Role.STOREKEEPER}),  # for oneself
    "all_devices": frozenset({Role.OWNER}),  # see and revoke what is another's
}

# The same in sentences, for the page Roles: each permission has one.
MEANINGS: Mapping[str, str] = {
    "read": _("See everything: stock, plans, crates, who has what."),
    "use_stock": _("Use and carry stock, finish a step and take it back."),
    "plan": _("Set the days of steps, set stock aside, write rivet rows and seams."),
    "write_log": _("Write the builder's log: what was done, hours, photos."),
    "sign_log": _("Sign in the log that they saw it; an owner only where the workshop has no inspector."),
    "tally": _("Count what came."),
    "log_temperatures": _("Write down how warm a place is."),
    "keep_stock": _("Receive goods, count and correct, scrap, keep the catalogue and the places, load lists."),
    "order": _("Order, and claim what came short or damaged."),
    "judge_lots": _("Say that a lot is good, quarantined or failed, and record update tests."),
    "notices": _("Write down makers' notices, sweep for what they mean, and write the letters."),
    "look_into": _("Tick what a maker's notice asks to look at; builders where the bench is theirs to use."),
    "accept": _("Accept that one thing serves for another in a step, and that a lot past its life may be used."),
    "settle": _("Decide which side is right where text and drawing of the plans disagree; builders where the bench is theirs to use."),
    "close_up": _("Close a section of the plans up and open it again; builders where the bench is theirs to use."),
    "manage": _("Invite people, set roles and whose bench is whose, and change the settings."),
    "repair": _("Look at the rows themselves, and put names and notes in them right."),
    "issue_devices": _("Issue a device of one's own: a scanner, a phone, a script."),
    "all_devices": _("See and revoke everybody's devices."),
}
_ANYBODYS = frozenset({"read"})  # what a bench's holders don't keep from other builders

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


def allowed(member: Member, permission: str, bench: Bench | None = None) -> bool:
    """Whether the member's role covers `permission`, and where it is about the stock or plan of a bench, whether they may there."""
    return _covers(member, permission) and (bench is None or permission in _ANYBODYS or _open_to(member, bench))


def require(member: Member, permission: str, bench: Bench | None = None) -> None:
    """Raise `NotAllowed` unless the member's role covers `permission` in the bench's workshop, and the bench is open to them."""
    if bench is not None:
        own(member, bench)
    if not _covers(member, permission):
        roles = ", ".join(role.value for role in Role if role in PERMISSIONS[permission])
        message = f"{member.name} is {member.role} here; this takes one of: {roles}"
        raise NotAllowed(message)
    if bench is not None and permission not in _ANYBODYS and not _open_to(member, bench):
        raise _held_by_others(bench)


def speaks_for(member: Member, bench: Bench) -> bool:
    """Whether the member decides over the bench's things: who keeps the stock does, and a builder unless it has other holders."""
    return _covers(member, "use_stock") and member.workshop_id == bench.workshop_id and _open_to(member, bench)


def require_bench(member: Member, bench_id: int) -> None:
    """The bench rule alone, for who has a bench's id and needs nothing else of it. The row that names it is known to be this workshop's."""
    if member.role == Role.BUILDER and bench_id in _closed_to(member):
        raise _held_by_others(Bench.objects.get(pk=bench_id))


def forget_benches(*members: Member) -> None:
    """Ask anew whose benches are whose, after that was changed."""
    for member in members:
        vars(member).pop(_CLOSED, None)


_CLOSED = "_benches_of_others"


def _covers(member: Member, permission: str) -> bool:
    return member.active and member.role in PERMISSIONS[permission]


def _open_to(member: Member, bench: Bench) -> bool:
    """Of the builders only its holders use a bench that has some. Other roles go by their permissions alone."""
    return member.role != Role.BUILDER or bench.shared or bench.pk not in _closed_to(member)


def _closed_to(member: Member) -> frozenset[int]:
    """The benches that others hold and the member doesn't. One query, kept on the member: a request has its own.

    A holder who left still counts: their things stay theirs until an owner gives the bench to somebody.
    """
    if _CLOSED not in vars(member):
        with scopes_disabled():  # the member names the workshop
            held = Bench.objects.filter(workshop_id=member.workshop_id, shared=False, holders__isnull=False)
            vars(member)[_CLOSED] = frozenset(held.exclude(holders__member=member).values_list("pk", flat=True))
    closed: frozenset[int] = vars(member)[_CLOSED]
    return closed


def _held_by_others(bench: Bench) -> NotAllowed:
    with scopes_disabled():
        names = list(Member.objects.filter(benches__bench=bench).order_by("name", "pk").values_list("name", flat=True))
    return NotAllowed(f"bench {bench.name} is held by {' and '.join(names)}: ask them, or who keeps the stock")


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
