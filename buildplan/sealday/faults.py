"""What doesn't fit about a seal day, in sentences: each says what is wrong. Reads nothing."""

from collections.abc import Iterator
from datetime import date
from fractions import Fraction

from buildplan.sealday.order import Order
from buildplan.sealday.planning import Planned
from buildplan.sealday.reading import Facts
from inventory.common.exact import decimal_text


def day_faults(facts: Facts, own: Planned, order: Order, today: date) -> Iterator[str]:
    """Of a day that is still to be done; one that is over has none."""
    if not facts.day.open:
        return
    if facts.day.on < today:
        yield f"the day is past ({facts.day.on}): close it, move it or call it off"
    yield from _people(own)
    yield from _time(facts, own)
    yield from _steps(facts, order)


def _people(own: Planned) -> Iterator[str]:
    if not own.there.hands:
        yield "nobody is there: say who comes and when"
    if any(product.batches for product in own.products):
        for start, end in own.there.gaps:
            yield f"nobody is there from {start:%H:%M} to {end:%H:%M}: what is mixed before must be placed by {start:%H:%M}"


def _time(facts: Facts, own: Planned) -> Iterator[str]:
    """Work that doesn't go into the hours of those present: by the steps' own minutes, and by what they place in an hour."""
    hours = Fraction(sum(row.step.minutes or 0 for row in facts.own_steps if not row.step.done), 60)
    if own.there.hands and hours > own.there.together:
        yield f"the steps take {_hours(hours)} of work by the plan, and the people are there for {_hours(own.there.together)} in all"
    grams = sum((Fraction(batch.grams) for product in own.products for batch in product.batches), Fraction(0))
    if grams and facts.day.pace:
        placing = grams / (facts.day.pace * own.there.hands)
        if placing > own.there.hours:
            yield f"placing {decimal_text(grams, 1)} g takes {_hours(placing)}, and somebody is there for {_hours(own.there.hours)} only"


def _hours(hours: Fraction) -> str:
    return f"{decimal_text(hours, 1)} h"


def _steps(facts: Facts, order: Order) -> Iterator[str]:
    for row in facts.own_steps:
        if not row.step.done and row.step.planned_on != facts.day.on:
            said = f"planned for {row.step.planned_on}" if row.step.planned_on else "not planned for any day"
            yield f"{row.step.code} is {said}, and not for this day: move one of the two"
    for pk in order.in_order(order.before):
        planned = facts.plan[pk].planned
        if planned is not None and planned > facts.day.on:
            waiting = [row.step.code for row in facts.own_steps if pk in order.all_before(row.step_id)]
            yield f"{facts.plan[pk].label} must be done before {' and '.join(waiting)}, and is planned for {planned}, after this day"
    for pk in order.in_order(order.later):
        planned = facts.plan[pk].planned
        if planned is not None and planned < facts.day.on:
            codes = [row.step.code for row in facts.own_steps if row.step_id in order.all_before(pk) and not row.step.done]
            said = f"{facts.plan[pk].label} comes after {' and '.join(codes)}, and is planned for {planned}, before this day"
            yield f"{said}: by then the order sheet wants all of it"
