"""What a scan that asks "what is this?" is told."""

from collections.abc import Sequence
from typing import Any

from django.db.models import Count

from inventory.catalogue.models import Item
from inventory.common.fields import plain
from inventory.pool.models import Loan, Thing
from inventory.receiving.models import Bag, PackingLine
from inventory.stock import queries as stock_queries
from inventory.stock.batch import Batch
from inventory.stock.models import Holding, Lot, Place
from inventory.stock.queries import NOTHING

MOST_HERE = 50  # lots listed of one place


def item_answer(item: Item, lots: Sequence[Lot], stock: Batch) -> dict[str, Any]:
    """An item with where each of its lots lies."""
    lies = [here for lot in lots for here in _lies(lot, stock)]
    total = sum((quantity for lot in lots for quantity in stock.lies(lot).values()), NOTHING)
    text = f"{item.code} {item.name}: {plain(total)} {item.unit} on hand" + _where(lies)
    return {"text": text, "item": item.code, "name": item.name, "quantity": plain(total), "unit": item.unit, "lies": lies}


def lot_answer(lot: Lot, stock: Batch) -> dict[str, Any]:
    """A lot with where it lies."""
    found = item_answer(lot.item, [lot], stock)
    named = f"lot {lot.code}" if lot.code else "a lot without a code"
    return {**found, "text": f"{named} of {found['text']}", "lot": lot.pk, "lot_code": lot.code or None}


def single_answer(thing: Thing, lot: Lot, loan: Loan | None, stock: Batch) -> dict[str, Any]:
    """A single thing of the pool with who has it, or where it lies."""
    found = lot_answer(lot, stock)
    if loan is not None:
        where = f"{loan.member.name} has it" + (f", back by {loan.due_on}" if loan.due_on else "")
    else:
        where = f"it lies{_where(found['lies'])}" if found["lies"] else "nothing of it is on hand"
    retired = f", retired on {thing.retired_at:%Y-%m-%d}" if thing.retired_at else ""
    return {**found, "text": f"{single_name(thing, lot)}, {lot.item.name}{retired}: {where}"}


def single_name(thing: Thing, lot: Lot) -> str:
    """How people call a single thing that has a serial number."""
    return f"{lot.item.code} {thing.serial}"


def place_answer(place: Place) -> dict[str, Any]:
    """A place with what lies in it. One query."""
    rows = Holding.objects.filter(place=place, quantity__gt=0).select_related("lot__item", "place").order_by("lot__item__code", "lot_id")
    found = list(rows[: MOST_HERE + 1])
    lies = [lying(row.lot, place, plain(row.quantity)) | {"item": row.lot.item.code} for row in found[:MOST_HERE]]
    many = f"{len(lies)} lots" if len(found) <= MOST_HERE else f"more than {MOST_HERE} lots"
    return {"text": f"{place.path}: {many if lies else 'nothing lies here'}", "place": place.path, "lies": lies}


def bag_answer(bag: Bag) -> dict[str, Any]:
    """A bag with where it lies and how many lines it has. One query."""
    lines = PackingLine.objects.filter(bag=bag).aggregate(count=Count("pk"))["count"]
    path = f"{bag.crate.code}/{bag.path}"
    state = f"counted on {bag.counted_on}" if bag.counted_on else "not counted to the end yet"
    lies = f", lies in {bag.place.path}" if bag.place else ""
    return {"text": f"bag {path}: {lines} packing lines, {state}{lies}", "bag": path, "place": bag.place.path if bag.place else None}


def _lies(lot: Lot, stock: Batch) -> list[dict[str, Any]]:
    return [lying(lot, stock.places[at], plain(quantity)) for at, quantity in stock.lies(lot).items()]


def lying(lot: Lot, place: Place, quantity: str) -> dict[str, Any]:
    """What one place holds of a lot."""
    return {
        "lot": lot.pk,
        "lot_code": lot.code or None,
        "place": place.path,
        "quantity": quantity,
        "unit": lot.item.unit,
        "state": lot.state,
        "last_usable_day": last_day(lot),
    }


def _where(lies: Sequence[dict[str, Any]]) -> str:
    places = dict.fromkeys(here["place"] for here in lies)
    return f" in {', '.join(list(places)[:3])}{' ...' if len(places) > 3 else ''}" if places else ""  # noqa: PLR2004 - a sentence, not a list


def last_day(lot: Lot) -> str | None:
    """The last day on which a lot serves, ISO; None where nothing ends it or nobody can say."""
    try:
        last = stock_queries.life_of(lot).last_day
    except ValueError:
        return None
    return last.isoformat() if last else None
