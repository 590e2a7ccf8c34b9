"""Reads of who works where."""

from typing import Any

from django_scopes import scopes_disabled

from inventory.common.problems import Problem
from inventory.workshop.models import Member, User, Workshop


def membership(user: Any, named: str | None, chosen: str | None) -> Member | None:
    """The active membership that a request acts under, with its workshop. One query.

    `named` (a workshop code in the address) wins and must be one of theirs, else there is no membership: a foreign workshop
    looks like one that doesn't exist. `chosen` is the session's; where it is gone, the first membership serves.
    """
    if not user.is_authenticated:
        return None
    found = memberships(user)
    by_code = {member.workshop.code.upper(): member for member in found}
    if named is not None:
        return by_code.get(named.upper())
    return by_code.get((chosen or "").upper()) or (found[0] if found else None)


def memberships(user: User) -> list[Member]:
    """Where a person is a member, with the workshops, by their codes. One query."""
    with scopes_disabled():  # they are found across workshops, before any is the scope
        return list(Member.objects.filter(user_id=user.pk, active=True).select_related("workshop").order_by("workshop__code"))


def workshop_of(code: str | None) -> Workshop:
    """The workshop of a code (any case), or the only one. Raises a `Problem` that lists them. One query."""
    found = {workshop.code.upper(): workshop for workshop in Workshop.objects.order_by("code")}
    if code is None and len(found) == 1:
        return next(iter(found.values()))
    if code is None or code.strip().upper() not in found:
        listed = ", ".join(workshop.code for workshop in found.values()) or "none yet"
        what = "name the workshop with --workshop" if code is None else f"no workshop {code}"
        raise Problem(f"{what}: the workshops are {listed}")
    return found[code.strip().upper()]
