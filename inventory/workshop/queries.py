"""Reads of who works where."""

from typing import Any

from django_scopes import scopes_disabled

from inventory.workshop.models import Member


def membership(user: Any, named: str | None, chosen: str | None) -> Member | None:
    """The active membership that a request acts under, with its workshop. One query.

    `named` (a workshop code in the address) wins and must be one of theirs, else there is no membership: a foreign workshop
    looks like one that doesn't exist. `chosen` is the session's; where it is gone, the first membership serves.
    """
    if not user.is_authenticated:
        return None
    with scopes_disabled():  # a person's memberships are found across workshops, before any is the scope
        found = list(
            Member.objects.filter(user_id=user.pk, active=True).select_related("workshop").order_by("workshop__code"),
        )
    by_code = {member.workshop.code.upper(): member for member in found}
    if named is not None:
        return by_code.get(named.upper())
    return by_code.get((chosen or "").upper()) or (found[0] if found else None)
