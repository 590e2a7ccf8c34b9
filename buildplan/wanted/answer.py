"""What a code is, and the order of counting, as other programs read it."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from buildplan.wanted.calc import BagInOrder
from buildplan.wanted.queries import BagSeen, Found, LotSeen
from buildplan.wanted.steps import WantedStep
from inventory.common.fields import plain
from inventory.common.reasons import Reason
from inventory.models import Crate, Item, Lot, Place
from inventory.receiving.queries import InTransit


def as_object(found: Found) -> dict[str, Any]:
    """What a code reads as and what it is. Quantities are decimal strings in the stock unit, days ISO; what it is not is null."""
    return {
        "code": found.text,
        "kind": str(found.reading.kind),
        "fields": dict(found.reading.fields),
        "problems": list(found.reading.problems),
        "means": found.kind,
        "item": found.item and _item(found.item),
        "lot": found.lot and _named_lot(found.lot),
        "bag": found.bag and _bag(found.bag),
        "place": found.place and _place(found.place),
        "crate": found.crate and _crate(found.crate),
        "lots": [_lot(lot) for lot in found.lots],
        "more_lots": found.more_lots,
        "coming": [_coming(line) for line in found.coming],
        "wanted": [_step(step) for step in found.wanted.steps],
        "more_wanted": found.wanted.more,
        "left_out": list(found.wanted.left_out),
    }


def order_object(crate: Crate, bags: Iterable[BagInOrder], as_of: date) -> dict[str, Any]:
    """The order in which to count a crate. A worth is in whatever money the list is in."""
    return {"crate": crate.code, "as_of": as_of.isoformat(), "bags": [_turn(bag) for bag in bags]}


def _turn(bag: BagInOrder) -> dict[str, Any]:
    return {
        "bag": bag.id,
        "path": bag.path,
        "lines": bag.lines,
        "claim_until": bag.last_day and bag.last_day.isoformat(),
        "needed_on": bag.needed_on and bag.needed_on.isoformat(),
        "needed_by": bag.needed_by or None,
        "worth": plain(bag.worth),
        "unpriced": bag.unpriced,
        "trace": _trace(bag.trace),
    }


def _trace(reasons: Iterable[Reason]) -> list[dict[str, str]]:
    return [{"text": reason.text, "source": reason.source} for reason in reasons]


def _item(item: Item) -> dict[str, Any]:
    return {"id": item.pk, "code": item.code, "name": item.name, "kind": item.kind, "unit": item.unit}


def _named_lot(lot: Lot) -> dict[str, Any]:
    return {"id": lot.pk, "code": lot.code or None}


def _place(place: Place) -> dict[str, Any]:
    return {"id": place.pk, "path": place.path}


def _crate(crate: Crate) -> dict[str, Any]:
    return {"id": crate.pk, "code": crate.code}


def _bag(seen: BagSeen) -> dict[str, Any]:
    bag = seen.bag
    return {
        "id": bag.pk,
        "crate": bag.crate.code,
        "crate_id": bag.crate_id,
        "path": bag.path,
        "place": bag.place.path if bag.place else None,
        "counted_on": bag.counted_on and bag.counted_on.isoformat(),
        "found_lines": seen.found_lines,
        "open": [
            {
                "line": line.line_id,
                "bag": line.bag,
                "number": line.number,
                "item": line.item,
                "name": line.name,
                "unit": line.unit,
                "listed": plain(line.listed),
                "found": plain(line.found),
                "left": plain(line.left),
            }
            for line in seen.lines
        ],
    }


def _lot(lot: LotSeen) -> dict[str, Any]:
    limit = lot.life.limit
    return {
        "id": lot.id,
        "code": lot.code or None,
        "named": lot.named,
        "item": lot.item,
        "bench": lot.bench,
        "state": lot.state,
        "quantity": plain(lot.quantity),
        "unit": lot.unit,
        "set_aside": plain(lot.set_aside),
        "last_usable_day": lot.life.last_day and lot.life.last_day.isoformat(),
        "life_known": lot.life.known,
        "limit": limit.rule if limit else None,
        "places": [{"place": path, "quantity": plain(quantity)} for path, quantity in lot.places],
        "trace": _trace(lot.trace),
    }


def _coming(line: InTransit) -> dict[str, Any]:
    return {
        "crate": line.crate,
        "crate_id": line.crate_id,
        "bag": line.bag or None,
        "number": line.number,
        "due_on": line.due_on and line.due_on.isoformat(),
        "quantity": plain(line.still_open),
        "unit": line.unit,
    }


def _step(step: WantedStep) -> dict[str, Any]:
    return {
        "project": step.project,
        "step": step.step,
        "title": step.title,
        "day": step.day.isoformat(),
        "item": step.item,
        "unit": step.unit,
        "needed": plain(step.needed),
        "here": None if step.here is None else plain(step.here),
        "coming": None if step.coming is None else plain(step.coming),
        "short": plain(step.short),
        "trace": _trace(step.trace),
    }
