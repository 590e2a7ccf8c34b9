"""What other pages say of cutting: a step's pieces, and what a lot is promised to."""

from collections.abc import Mapping
from typing import Any

from django import template

from buildplan.cutting import queries
from buildplan.cutting.models import Measured
from buildplan.cutting.queries import Promise
from buildplan.plan.models import Step
from inventory.common.exact import decimal_text
from inventory.models import SetAside
from inventory.workshop import policy

register = template.Library()


@register.inclusion_tag("cutting/of_step.html", takes_context=True)
def pieces_of_step(context: Mapping[str, Any], step: Step) -> dict[str, Any]:
    """A step's pieces with how far each is and what is done to them. Four queries, one without pieces."""
    member = context["request"].member
    found = queries.pieces_of(step=step)
    worked = queries.operations([one.piece.pk for one in found]) if found else {}
    may_plan = policy.allowed(member, "plan", step.project.bench) and not step.done and step.section.closed_at is None
    rows = [(one, worked.get(one.piece.pk, ())) for one in found]
    return {"step": step, "rows": rows, "may_plan": may_plan, "uncut": any(one.uncut for one in found)}


@register.simple_tag(takes_context=True)
def promised_to(context: Mapping[str, Any], lot: int) -> tuple[Promise, ...]:
    """For which steps a lot is held. Four queries a page, however often it is asked."""
    request = context["request"]
    found: Mapping[int, tuple[Promise, ...]] | None = getattr(request, "promised_lots", None)
    if found is None:
        lots = set(SetAside.objects.values_list("lot_id", flat=True))
        found = request.promised_lots = queries.promises(lots)
    return found.get(lot, ())


@register.inclusion_tag("cutting/of_lot.html", takes_context=True)
def measured_lot(context: Mapping[str, Any], lot: Any) -> dict[str, Any]:
    """How large a lot is, what it was cut from, what was cut from it, and whom it is promised to. Six queries at most."""
    found = Measured.objects.filter(lot=lot).select_related("mother__item", "cut").first()
    daughters = list(Measured.objects.filter(mother=lot).select_related("lot__item").order_by("pk"))
    blank = queries.blank_of(lot.item_id)
    may_use = policy.allowed(context["request"].member, "use_stock", lot.bench)
    return {
        "lot": lot,
        "measured": found,
        "daughters": daughters,
        "blank": blank,
        "promises": queries.promises([lot.pk]).get(lot.pk, ()),
        "may_use": may_use,
    }


@register.filter
def sized(row: Any) -> str:
    """The sizes of a blank, a piece or a lot as people write them."""
    sides = [decimal_text(side) for side in (row.length, row.width) if side is not None]
    return f"{' x '.join(sides)} {row.unit or 'mm'}" if sides else ""


@register.filter
def exactly(size: Any) -> str:
    """A size as people write it."""
    return "" if size is None else decimal_text(size)
