"""Which lots count, and until when. Pure: the rule of a lot's life as netting applies it."""

from datetime import date

from buildplan.shortfall.calc import ItemFacts
from inventory.shelflife.calc import Limit, StatedDate, last_usable_day, limits


def ending(item: ItemFacts, made: StatedDate | None, expires: StatedDate | None, opened: date | None) -> Limit | None:
    """What ends a lot's life first, as far as its dates are known; None where none is."""
    if made is None and expires is None and opened is None:
        return None
    return last_usable_day(
        limits(
            made=made,
            life_months=item.life_months,
            expires=expires,
            opened=opened,
            open_life_days=item.open_life_days,
        ),
    )


def unknown(item: ItemFacts, made: StatedDate | None, expires: StatedDate | None) -> bool:
    """Whether a lot on hand must not count because nobody knows when it dies: never guess a missing date."""
    return item.timed and expires is None and (made is None or item.life_months is None)
