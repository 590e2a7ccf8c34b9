"""What a code is and which step wants it next; in which order to count a crate. A fixed number of queries, whatever the size."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from itertools import groupby

from django.db.models import Q

from buildplan.shortfall import queries as shortfall
from buildplan.shortfall.calc import Line, Need
from buildplan.shortfall.queries import Touched
from buildplan.wanted.calc import BagFacts, BagInOrder, ClockFacts, LineFacts, order_bags
from buildplan.wanted.steps import NOBODY, NextSteps, next_steps
from inventory.catalogue.models import Item
from inventory.claims.queries import clocks
from inventory.common.problems import Problem
from inventory.common.reasons import Reason
from inventory.models import Bag, Crate, Lot, Place, Thing
from inventory.pool.queries import ThingRow, things
from inventory.receiving.queries import InTransit, in_transit
from inventory.scanning import lookups
from inventory.scanning.calc import Reading, sentences
from inventory.scanning.lookups import Meaning
from inventory.scanning.problems import Choose, UnknownCode
from inventory.stock.calc import Life
from inventory.stock.queries import NOTHING, Held, holdings, life_of
from inventory.tallying import queries as tallying
from inventory.tallying.queries import LineTally

LONGEST = 4000  # characters of a code; no symbol that people print holds more
TEACHABLE = lookups.MOST_KEY
MOST_LOTS = 50


class LongCode(Problem):
    """Nothing that anybody prints is as long."""

    status = 422
    title = "This is too long for a code"
    kind = "long-code"


@dataclass(frozen=True, slots=True)
class LotSeen:
    """A lot with where it lies. `named`: the code names this very lot."""

    id: int
    code: str
    item: str
    unit: str
    bench: str
    state: str
    quantity: Decimal
    set_aside: Decimal
    places: tuple[tuple[str, Decimal], ...]
    life: Life
    named: bool = False

    @property
    def trace(self) -> tuple[Reason, ...]:
        """Why its last usable day is what it is."""
        if not self.life.known:
            return (Reason("its life is unknown: neither an expiry nor a day of make with a life is recorded", "the lot's dates"),)
        found = tuple(Reason(f"{limit.rule}: usable through {limit.last_day}", limit.source) for limit in self.life.limits)
        return found or (Reason("no end of its life is known of", "the lot's dates"),)


@dataclass(frozen=True, slots=True)
class BagSeen:
    """A bag with what is in it, the bags inside it included: `lines` are those not found to the end."""

    bag: Bag
    lines: tuple[LineTally, ...]
    found_lines: int


@dataclass(frozen=True, slots=True)
class Found:
    """What a code is here. Of item, lot, bag, place and crate one is set at most, and its item with a lot.

    `single` is set beside its lot where the code is the serial number of a thing of the pool.
    """

    text: str
    reading: Reading
    item: Item | None = None
    lot: Lot | None = None
    bag: BagSeen | None = None
    place: Place | None = None
    crate: Crate | None = None
    lots: tuple[LotSeen, ...] = ()
    more_lots: int = 0
    coming: tuple[InTransit, ...] = ()
    wanted: NextSteps = NOBODY
    single: ThingRow | None = None

    @property
    def kind(self) -> str:
        """What it is, in a word."""
        kinds = {"lot": self.lot, "item": self.item, "bag": self.bag, "place": self.place, "crate": self.crate}
        return next(name for name, row in kinds.items() if row is not None)


def what_is(text: str, *, today: date) -> Found:
    """What a code is in the workshop in scope, and which steps want it next. At most thirty queries.

    Also what people type beside codes: a lot's code, `CRATE-7/7A`, a place's path. Raises `UnknownCode` for all else, which offers to
    teach it; `Choose` where several things have it as their serial number.
    """
    if len(text) > LONGEST:
        message = f"{len(text)} characters: a code has {LONGEST} at most"
        raise LongCode(message)
    known = lookups.look_up(texts=[text], places=[text], bags=[text], loose=(), today=today)
    meaning = known.meanings[text]
    if found := _of_meaning(text, meaning, today):
        return found
    if spot := known.spots.get(text):
        return _of_bag(text, meaning.reading, spot.bag, today) if spot.bag else Found(text, meaning.reading, crate=spot.crate)
    if place := known.places.get(text):
        return _of_place(text, meaning.reading, place, today)
    if lot := _lot_of_code(text):
        return _of_lot(text, meaning.reading, lot, today)
    raise unknown(text, meaning.reading)


def unknown(text: str, reading: Reading) -> UnknownCode:
    """The problem of a code that means nothing here: what it reads as, and how to teach it. One query, for what is written alike."""
    named = next((named for named in lookups.item_texts(reading)), text)
    teachable = reading.kind != "token" and 0 < len(named.strip()) <= TEACHABLE and named.isprintable()
    near = lookups.near_codes([named])[named] if teachable else []
    return UnknownCode(
        _sentence(reading, teachable=teachable),
        code=text,
        kind=str(reading.kind),
        fields=reading.fields,
        problems=list(reading.problems),
        teach={"method": "POST", "href": "/api/v1/identifiers", "body": {"item": None, "text": named}} if teachable else None,
        near=near,
    )


def _sentence(reading: Reading, *, teachable: bool) -> str:
    if reading.problems:
        return f"this code doesn't read cleanly: {'; '.join(sentences(reading))}"
    if reading.kind == "token":
        return "this label is none of this workshop's: print a new one for the thing, or sign in to the workshop that it belongs to"
    if not teachable:
        return f"nothing here has this code, and it can't be taught: at most {TEACHABLE} characters that can be printed can"
    return "nothing here has this code: choose the item that it is of, and teach it; it is known from then on"


def shortfall_of(items: Collection[int], *, before: date | None = None, as_of: date) -> Touched:
    """What each project is short of these items alone, with their reasons: what to ask after a scan touched them. Fifteen queries."""
    return shortfall.shortfall_of(items, before=before, as_of=as_of)


# What it is


def _of_meaning(text: str, meaning: Meaning, today: date) -> Found | None:
    reading = meaning.reading
    if meaning.several:
        raise _several(meaning.several)
    if meaning.single is not None and meaning.lot is not None:
        row = next(row for row in things(item=meaning.lot.item, retired=True) if row.id == meaning.single.pk)
        return replace(_of_lot(text, reading, meaning.lot, today), single=row)
    if meaning.lot is not None:
        return _of_lot(text, reading, meaning.lot, today)
    if meaning.bag is not None:
        return _of_bag(text, reading, meaning.bag, today)
    if meaning.place is not None:
        return _of_place(text, reading, meaning.place, today)
    return _of_item(text, reading, meaning.item, meaning.lot_code, today) if meaning.item is not None else None


def _several(same: Sequence[Thing]) -> Choose:
    named = ", ".join(f"{thing.lot.item.code} {thing.lot.item.name}" for thing in same)
    choices = [{"lot": thing.lot_id, "item": thing.lot.item.code} for thing in same]
    text = f"{len(same)} things have the serial number {same[0].serial}: {named}. Look for the one you mean on the page Club"
    return Choose(text, choices=choices)


def _of_item(text: str, reading: Reading, item: Item, lot_code: str, today: date) -> Found:
    """Its lots, those of the code that its label says first. Nineteen queries."""
    lots = _lots(holdings(item=item), lot_code)
    coming = tuple(in_transit(item=item))
    wanted = next_steps([item.pk], as_of=today)
    return Found(text, reading, item, lots=lots[:MOST_LOTS], more_lots=len(lots[MOST_LOTS:]), coming=coming, wanted=wanted)


def _of_lot(text: str, reading: Reading, lot: Lot, today: date) -> Found:
    """The lot alone, and the steps that want its item. Eighteen queries."""
    held = [one for one in holdings(item=lot.item) if one.lot_id == lot.pk]
    lots = _lots(held, lot.code) or (_empty(lot),)
    return Found(text, reading, lot.item, lot, lots=lots, wanted=next_steps([lot.item_id], as_of=today))


def _of_place(text: str, reading: Reading, place: Place, today: date) -> Found:
    """What lies there, and the steps that want any of it. Eighteen queries."""
    held = [one for one in holdings(place=place) if one.place_id == place.pk]
    lots = _lots(held, "")
    shown = {one.item_id for one in held} if len(lots) <= MOST_LOTS else set()
    wanted = next_steps(shown, as_of=today)
    return Found(text, reading, place=place, lots=lots[:MOST_LOTS], more_lots=len(lots[MOST_LOTS:]), wanted=wanted)


def _of_bag(text: str, reading: Reading, bag: Bag, today: date) -> Found:
    """What is still to be found in it and in the bags inside, and the steps that want any of that."""
    lines = tallying.sheet(bag.crate, bag).lines
    left = tuple(line for line in lines if line.left)
    wanted = next_steps({line.item_id for line in left}, as_of=today)
    return Found(text, reading, bag=BagSeen(bag, left, len(lines) - len(left)), wanted=wanted)


def _lot_of_code(text: str) -> Lot | None:
    """The one lot on hand of a code that was typed; two of it can't be told apart. One query."""
    code = text.strip()
    if not code or len(code) > TEACHABLE or "\0" in code:
        return None
    rows = Lot.objects.filter(Q(code=code) | Q(code=code.upper()), holdings__quantity__gt=0).select_related("item", "bench")
    found = list(rows.distinct()[:2])
    return found[0] if len(found) == 1 else None


def _lots(held: Iterable[Held], lot_code: str) -> tuple[LotSeen, ...]:
    """Lots with their places, those that the code names first; else as they expire."""
    by_lot = groupby(sorted(held, key=lambda one: one.lot_id), key=lambda one: one.lot_id)
    found = [_lot(list(of_lot), lot_code) for _, of_lot in by_lot]
    return tuple(sorted(found, key=lambda lot: (not lot.named, lot.item, lot.life.last_day or date.max, lot.code, lot.id)))


def _lot(held: list[Held], lot_code: str) -> LotSeen:
    one = held[0]
    total = sum((row.quantity for row in held), NOTHING)
    places = tuple((row.place, row.quantity) for row in held)
    named = bool(lot_code) and one.lot.casefold() == lot_code.casefold()
    return LotSeen(one.lot_id, one.lot, one.item, one.unit, one.bench, one.state, total, one.set_aside, places, one.life, named)


def _empty(lot: Lot) -> LotSeen:
    """A lot of which nothing is left."""
    item = lot.item
    return LotSeen(lot.pk, lot.code, item.code, item.unit, lot.bench.code, lot.state, NOTHING, NOTHING, (), life_of(lot), named=True)


# In which order to count


def bags_in_order(crate: Crate, *, today: date) -> tuple[BagInOrder, ...]:
    """The bags of a crate that aren't counted to the end, what finds claims first at the front. At most thirty queries.

    A crate whose counting is over has none.
    """
    if crate.closed_on is not None:
        return ()
    bags = [bag for bag in tallying.sheet(crate).bags if bag.counted_on is None]
    wanted = _wanted(crate, [line for bag in bags for line in bag.lines if line.left], today)
    facts = [BagFacts(bag.id, bag.path, tuple(_line(line, wanted) for line in bag.lines)) for bag in bags]
    return order_bags(facts, _clocks(crate, today), today=today)


def _clocks(crate: Crate, today: date) -> Iterator[ClockFacts]:
    for clock in clocks(today, crate=crate):
        if clock.fault is not None and clock.last_day is not None:
            of = f", from {clock.against}," if clock.against else ""
            yield ClockFacts(
                f"{clock.fault.label}{of}", clock.last_day, clock.source or "a setting of the sender: no source is written down"
            )


def _line(line: LineTally, wanted: Mapping[int, tuple[date, str]]) -> LineFacts:
    day, step = wanted.get(line.line_id, (None, ""))
    return LineFacts(line.item, line.unit, line.left, line.price, day, step)


def _wanted(crate: Crate, lines: Iterable[LineTally], today: date) -> dict[int, tuple[date, str]]:
    """The first day on which a step waits for each line, and that step: one that netting serves from it, else the first that is short.

    What was found of a line already is another supply: it serves the first of those steps.
    """
    open_lines = list(lines)
    found: dict[int, tuple[date, str]] = {}
    if not open_lines:
        return found
    for project, short in shortfall_of({line.item_id for line in open_lines}, as_of=today).found:
        if project.bench_id != crate.bench_id and not crate.bench.shared:
            continue
        by_item = {line.item.id: line for line in short.lines}
        for line in open_lines:
            if line.item_id in by_item and (need := _first_need(by_item[line.item_id], line)):
                named = (need.day, f"{project.code} {need.label}")
                found[line.line_id] = min(found.get(line.line_id, named), named)
    return found


def _first_need(line: Line, listed: LineTally) -> Need | None:
    for need, supply, _ in line.served:
        if supply.key == -listed.line_id:
            return need
    return next((need for need in line.needs if line.first_short and need.through >= line.first_short), None)
