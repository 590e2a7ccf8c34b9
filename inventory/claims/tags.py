"""How far crates are counted, with the days left to claim: what pages of lower slices show of it."""

from collections.abc import Iterable, Mapping
from typing import Any

from django import template
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.claims.calc import Deadline
from inventory.claims.queries import Clock, clocks
from inventory.common import filters
from inventory.receiving.models import Crate
from inventory.tallying import queries as tallying
from inventory.tallying.queries import CrateTally

register = template.Library()


@register.filter
def left_words(deadline: Deadline) -> str:
    """How long can still be claimed, in the reader's words."""
    if deadline.lapsed:
        over = -deadline.days_left
        return ngettext("lapsed %(count)s day ago", "lapsed %(count)s days ago", over) % {"count": over}
    return _("%(days)s left") % {"days": filters.days(deadline.days_left)} if deadline.days_left else _("today is the last day")


@register.inclusion_tag("claims/crate_progress.html", takes_context=True)
def crate_progress(context: Mapping[str, Any], crate: Crate, sheet: CrateTally | None = None) -> dict[str, Any]:
    """The bar of one crate, once it is here or something of it is counted. `sheet` is what was counted, where a page has it already."""
    found = sheet.progress if sheet else tallying.progress_of([crate.pk])[crate.pk]
    begun = crate.arrived_on is not None or bool(found.counted)
    known = context.get("clocks")
    running = known if known is not None else clocks(timezone.localdate(), crate=crate) if begun and crate.arrived_on else []
    return {
        "crate": crate,
        "progress": found if begun and found.lines else None,
        "clock": _soonest(running, crate.pk),
        "told": known is not None,
    }


@register.inclusion_tag("claims/crates_progress.html")
def crates_progress() -> dict[str, Any]:
    """The bars of all crates being counted. A fixed number of queries."""
    shown, more = tallying.counting()
    running = clocks(timezone.localdate()) if shown else []
    return {"crates": [(one, _soonest(running, one.id)) for one in shown], "more": more}


def _soonest(running: Iterable[Clock], crate: int) -> Clock | None:
    """The clock of a crate that ends first, of those that haven't; else the one that lapsed last."""
    known = [clock for clock in running if clock.crate_id == crate and clock.deadline is not None]
    left = [clock for clock in known if not clock.lapsed]
    if left:
        return min(left, key=_days_left)
    return max(known, key=_days_left, default=None)


def _days_left(clock: Clock) -> int:
    return clock.days_left or 0
