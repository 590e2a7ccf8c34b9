"""Until when a lot serves. Pure: no Django, no clock."""

from dataclasses import dataclass
from datetime import date

from inventory.shelflife.calc import Limit, StatedDate, last_usable_day, limits


@dataclass(frozen=True, slots=True)
class LifeRule:
    """What an item's data sheet says of every lot: `timed` where no lot counts without a known end."""

    life_months: int | None = None
    open_life_days: int | None = None
    min_life_days: int = 0
    timed: bool = False


@dataclass(frozen=True, slots=True)
class Life:
    """What ends a lot's life. Without a limit nothing does, unless `known` is False: then nobody can say."""

    limits: tuple[Limit, ...]
    known: bool

    @property
    def limit(self) -> Limit | None:
        """The limit that ends first."""
        return last_usable_day(self.limits)

    @property
    def last_day(self) -> date | None:
        """The last usable day."""
        return self.limit.last_day if self.limit else None


UNDATED = Life((), known=False)
ENDLESS = Life((), known=True)


def life(rule: LifeRule, made: StatedDate | None, expires: StatedDate | None, opened: date | None) -> Life:
    """The life of a lot with these dates. Raises `ValueError` where they make no sense together."""
    if made is None and expires is None and opened is None:
        return UNDATED if rule.timed else ENDLESS
    found = limits(
        made=made,
        life_months=rule.life_months,
        expires=expires,
        opened=opened,
        open_life_days=rule.open_life_days,
    )
    known = expires is not None or (made is not None and rule.life_months is not None)
    return Life(found, known or not rule.timed)


def why_not(rule: LifeRule, found: Life, on: date) -> str | None:
    """Why a lot of this life doesn't serve on a day, as half a sentence; None where it does."""
    if not found.known:
        return "has no known end of life: set the date on its label first"
    if found.limit is None or (found.limit.last_day - on).days >= rule.min_life_days:
        return None
    last = f"has {found.limit.last_day} as its last usable day ({found.limit.source})"
    if found.limit.last_day < on:
        return f"{last}, before {on}"
    return f"{last}: on {on} that is less than the {rule.min_life_days} days it must have left"
