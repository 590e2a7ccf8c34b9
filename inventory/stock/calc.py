"""Until when a lot serves. Pure: no Django, no clock."""

from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from inventory.shelflife.calc import Limit, StatedDate, last_usable_day, limits


@dataclass(frozen=True, slots=True)
class LifeRule:
    """What an item's data sheet says of every lot: `timed` where no lot counts without a known end."""

    life_months: int | None = None
    open_life_days: int | None = None
    min_life_days: int = 0
    timed: bool = False
    extend_part: Fraction | None = None  # of the original life, for each passed update test; None: it can't be extended


@dataclass(frozen=True, slots=True)
class Life:
    """What ends a lot's life. Without a limit nothing does, unless `known` is False: then nobody can say.

    `accepted` is an inspector's acceptance where it stands over all other limits; it is one of `limits`.
    """

    limits: tuple[Limit, ...]
    known: bool
    accepted: Limit | None = None

    @property
    def limit(self) -> Limit | None:
        """The limit that ends first, or the acceptance that stands over it."""
        return self.accepted or last_usable_day(self.limits)

    @property
    def last_day(self) -> date | None:
        """The last usable day."""
        return self.limit.last_day if self.limit else None


UNDATED = Life((), known=False)
ENDLESS = Life((), known=True)


ACCEPTED = "accepted"


def life(  # noqa: PLR0913 - what a row of a lot says, in the order of its columns
    rule: LifeRule,
    made: StatedDate | None,
    expires: StatedDate | None,
    opened: date | None,
    passes: int = 0,
    storage: date | None = None,
    why: str = "",
    accepted: date | None = None,
) -> Life:
    """The life of a lot with these dates. Raises `ValueError` where they make no sense together.

    `passes` are its passed update tests; `storage` is the day that an excursion set, `why` tells of it. An acceptance stands over
    whatever else would refuse the lot before that day.
    """
    if made is None and expires is None and opened is None and storage is None and accepted is None:
        return UNDATED if rule.timed else ENDLESS
    found = limits(
        made=made,
        life_months=rule.life_months,
        expires=expires,
        opened=opened,
        open_life_days=rule.open_life_days,
        passes=passes if rule.extend_part is not None else 0,
        extend_part=rule.extend_part,
    )
    if storage is not None:
        found = (*found, Limit("storage", storage, why or "a storage excursion"))
    known = expires is not None or (made is not None and rule.life_months is not None) or not rule.timed
    return Life(found, known) if accepted is None else _accepted(rule, Life(found, known), accepted)


def _accepted(rule: LifeRule, found: Life, until: date) -> Life:
    """The life with its acceptance, where it would else not serve until that day."""
    if found.known and (found.limit is None or (found.limit.last_day - until).days >= rule.min_life_days):
        return found
    accepted = Limit(ACCEPTED, until, f"an inspector accepted it through {until}")
    return Life((*found.limits, accepted), known=True, accepted=accepted)


def days_to_keep(limit: Limit, min_life_days: int) -> int:
    """The days that must be left of a limit on the day of use: none of an acceptance, which says itself until when."""
    return 0 if limit.rule == ACCEPTED else min_life_days


def why_not(rule: LifeRule, found: Life, on: date) -> str | None:
    """Why a lot of this life doesn't serve on a day, as half a sentence; None where it does."""
    if not found.known:
        return "has no known end of life: set the date on its label first"
    if found.limit is None or (found.limit.last_day - on).days >= days_to_keep(found.limit, rule.min_life_days):
        return None
    last = f"has {found.limit.last_day} as its last usable day ({found.limit.source})"
    if found.limit.last_day < on:
        return f"{last}, before {on}"
    return f"{last}: on {on} that is less than the {rule.min_life_days} days it must have left"


def lifts(rule: LifeRule, found: Life) -> str:
    """What would lift `why_not`, as a sentence."""
    if not found.known:
        return "Setting that date, or an inspector's recorded acceptance, would lift this"
    if rule.extend_part is not None and rule.life_months is not None and _by_dates(found):
        return "An update test that it passes, or an inspector's recorded acceptance, would lift this"
    return "Only an inspector's recorded acceptance would lift this"


def _by_dates(found: Life) -> bool:
    """Whether what a test adds to would change the day: no pass lengthens an opened life or undoes an excursion."""
    return found.limit is not None and found.limit.rule in {"expires", "life"}
