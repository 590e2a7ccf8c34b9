"""Reads of what is dying on the shelf."""

from dataclasses import dataclass
from datetime import date

from inventory.common.reasons import Reason
from inventory.stock.queries import Held, holdings


@dataclass(frozen=True, slots=True)
class Expiry:
    """What one place holds of a lot that is dead by a day, or of which nobody knows when it dies (`last_usable_day` None)."""

    held: Held
    last_usable_day: date | None
    limit: str | None
    trace: tuple[Reason, ...]


def expiries(*, before: date) -> list[Expiry]:
    """Lots on hand of any state whose last usable day is on or before `before`, by that day, then item; unknown lives last. Two queries."""
    found = [_expiry(held) for held in holdings()]
    dying = [one for one in found if not one.held.life.known or (one.last_usable_day is not None and one.last_usable_day <= before)]
    return sorted(dying, key=lambda one: (one.last_usable_day or date.max, one.held.item, one.held.lot, one.held.place))


def _expiry(held: Held) -> Expiry:
    life = held.life
    if not life.known:
        unknown = Reason("no printed expiry and no day of make with a life is recorded", f"the dates of the lot and of {held.item}")
        return Expiry(held, None, None, (unknown, *_reasons(held)))
    return Expiry(held, life.last_day, life.limit.rule if life.limit else None, _reasons(held))


def _reasons(held: Held) -> tuple[Reason, ...]:
    return tuple(Reason(f"{limit.rule}: usable through {limit.last_day}", limit.source) for limit in held.life.limits)
