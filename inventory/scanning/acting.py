"""What each scan of a batch does.

Reads come first for all of them. Each scan is then judged by itself, and what it does is written with that of the others, or in a
savepoint of its own where a service writes.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID, uuid5

from django.db import transaction

from inventory.catalogue.models import Item
from inventory.common.fields import plain
from inventory.common.problems import Problem
from inventory.pool import services as pool
from inventory.pool.models import Loan, LoanEnd, Thing
from inventory.pool.queries import open_loans
from inventory.receiving.models import Bag
from inventory.scanning import lookups, problems
from inventory.scanning.calc import sentences
from inventory.scanning.finding import bag_answer, item_answer, last_day, lot_answer, lying, place_answer, single_answer, single_name
from inventory.scanning.lookups import Known, Meaning, Spot
from inventory.scanning.models import Scan
from inventory.stock import queries as stock_queries
from inventory.stock import services as stock
from inventory.stock.batch import Batch, Meant, OlderThanCount, Posted, Told
from inventory.stock.models import Lot, Movement, Place, State
from inventory.tallying import services as tallying
from inventory.tallying.batch import Batch as Counts
from inventory.tallying.batch import Counted
from inventory.tallying.batch import Row as Counting
from inventory.tallying.services import OlderThanCorrection
from inventory.workshop.models import Member

CONFLICTS = (OlderThanCount, OlderThanCorrection)
IDENTIFIERS = "/api/v1/identifiers"
ONE = Decimal(1)
LEDGER = frozenset({"put", "take", "count"})


@dataclass(frozen=True, slots=True)
class Order:
    """One scan to act on. `at` is when it was scanned, corrected; `on` the day of that where the workshop is."""

    uuid: UUID
    code: str
    action: str
    at: datetime
    on: date
    place: str = ""
    bag: str = ""
    lot: int | None = None
    quantity: Decimal | None = None
    note: str = ""


@dataclass(slots=True)
class Done:
    """What became of a scan. Movements and tally have their ids once all is written."""

    outcome: str = Scan.Outcome.DONE
    status: int = 200
    says: dict[str, Any] = field(default_factory=dict)
    movements: Sequence[Movement | Posted] = ()
    tally: Counting | None = None

    def body(self) -> dict[str, Any]:
        """The answer as it is kept and sent."""
        if self.outcome != Scan.Outcome.DONE:
            return self.says
        return {**self.says, "movements": [movement.pk for movement in self.movements], "tally": self.tally.pk if self.tally else None}


def look_up(orders: Sequence[Order], today: date) -> Known:
    """What the codes, places and bags of these scans mean. Nothing of it need be locked, so it comes before the transaction."""
    return lookups.look_up(
        texts=(order.code for order in orders),
        places=(order.place for order in orders if order.place),
        bags=(order.bag for order in orders if order.bag),
        loose=(order.code for order in orders if order.action == "tally" and not order.bag),
        today=today,
    )


def carry_out(*, orders: Sequence[Order], known: Known, by: Member, now: datetime) -> list[Done]:
    """Do what each scan says, in their order. Must run in a transaction, which then holds the lots that are touched."""
    return _Turn(orders, known, by, now).run()


class _Turn:
    """A batch of scans, and what was looked up for it."""

    def __init__(self, orders: Sequence[Order], known: Known, by: Member, now: datetime) -> None:
        self._orders, self._known, self._by, self._now = orders, known, by, now
        self._left = list(orders)
        self._batch: Batch | None = None
        self._tallies: Counts | None = None

    def run(self) -> list[Done]:
        if any(order.action == "tally" for order in self._orders):
            _ = self._counts  # crates are locked before lots
        done = []
        for order in self._orders:
            done.append(self._one(order))
            self._left.pop(0)
        self._write()
        self._add_near(done)
        return done

    def _one(self, order: Order) -> Done:
        try:
            return _ACTIONS[order.action](self, order)
        except CONFLICTS as problem:
            return Done(Scan.Outcome.CONFLICT, 409, self._conflict(problem))
        except problems.UnknownCode as problem:
            return Done(Scan.Outcome.UNKNOWN, problem.status, problems.as_document(problem))
        except Problem as problem:
            return Done(Scan.Outcome.REFUSED, problem.status, problems.as_document(problem))

    def _conflict(self, problem: Problem) -> dict[str, Any]:
        found = problems.as_document(problem)
        return {**found, "type": f"{problems.TYPE}older-than-correction", "settle": "kept: apply it or let it go on the page Scans"}

    # What is meant

    def _meaning(self, order: Order) -> Meaning:
        """What the code means. Refuses one that means nothing, and, of what moves goods, one that was read in part."""
        meaning = self._known.meanings[order.code]
        faults = sentences(meaning.reading)
        if faults and (order.action != "find" or not meaning.known):
            raise problems.UnreadableCode(f"this code doesn't read cleanly: {'; '.join(faults)}", problems=list(meaning.reading.problems))
        if not meaning.known:
            raise problems.UnknownCode(_unknown(meaning), code=order.code, teach=_teach(meaning, order.code), near=[])
        return self._one_of(order, meaning) if meaning.several else meaning

    def _one_of(self, order: Order, meaning: Meaning) -> Meaning:
        """Of several things with one serial number the one that is named by its lot."""
        named = next((thing for thing in meaning.several if thing.lot_id == order.lot), None)
        if named is not None:
            return meaning.of_single(named)
        lots = [self._stock.lots[thing.lot_id] for thing in meaning.several]
        items = " and ".join(dict.fromkeys(lot.item.code for lot in lots))
        raise problems.Choose(
            f"{len(lots)} things have the serial number {meaning.several[0].serial}, of {items}: say which by `lot`",
            choices=_choices(self._stock, lots, None),
        )

    def _place(self, order: Order) -> Place | None:
        if not order.place:
            return None
        if order.place not in self._known.places:
            near = lookups.near_places([order.place])[order.place]
            raise problems.UnknownPlace(
                f"no place {order.place!r} here: write its whole path, or scan the label on it",
                near=near,
            )
        return self._known.places[order.place]

    def _spot(self, order: Order) -> Spot | None:
        if not order.bag:
            return None
        if order.bag not in self._known.spots:
            raise problems.UnknownPlace(f"no bag {order.bag!r} here: write it as CRATE/bag, or scan the label on it", near=[])
        return self._known.spots[order.bag]

    def _lot(self, order: Order, meaning: Meaning, place: Place | None) -> Lot:
        """The one lot that may be meant: the label's, the one named, else the only one that lies there."""
        if meaning.bag is not None or meaning.place is not None:
            what = "a bag" if meaning.bag else "a place"
            raise problems.WrongThing(f"this is the label of {what}: to {order.action}, scan a thing or a lot's label")
        if meaning.lot is not None:
            return self._stock.lots[meaning.lot.pk]
        found = self._those(order, meaning)
        there = [lot for lot in found if self._lies_there(lot, place)]
        there = [lot for lot in there if self._on_shelf(lot)] or there  # what is lent lies elsewhere
        if len(there) == 1:
            return there[0]
        if len(there) > 1:
            where = f" in {place.path}" if place else ""
            raise problems.Choose(
                f"{len(there)} lots of {_code(meaning)} lie{where}: say which by `lot`, or scan the label of one",
                choices=_choices(self._stock, there, place),
            )
        if order.action == "count" and place is not None and len(found) == 1:
            return found[0]  # found where the ledger has none of it
        raise self._none_there(meaning, found, place)

    def _those(self, order: Order, meaning: Meaning) -> list[Lot]:
        """The lots that the code and the number named leave, dates compared."""
        item = meaning.item
        found = self._stock.of_item.get(item.pk, []) if item is not None else []
        if order.lot is not None:
            found = [lot for lot in found if lot.pk == order.lot]
        if meaning.lot_code:
            found = [lot for lot in found if lot.code.casefold() == meaning.lot_code.casefold()]
        for lot in found:
            _refuse_other_dates(lot, meaning)
        return found

    def _lies_there(self, lot: Lot, place: Place | None) -> bool:
        lies = self._stock.lies(lot)
        return bool(lies) if place is None else place.pk in lies

    def _on_shelf(self, lot: Lot) -> bool:
        return any(self._stock.places[at].hands_id is None for at in self._stock.lies(lot))

    def _none_there(self, meaning: Meaning, found: Sequence[Lot], place: Place | None) -> problems.NothingThere:
        what = f"lot {meaning.lot_code} of {_code(meaning)}" if meaning.lot_code else _code(meaning)
        choices = _choices(self._stock, [lot for lot in found if self._stock.lies(lot)], None)
        where = f" in {place.path}" if place else ""
        elsewhere = "; it lies elsewhere" if choices else ": receive it first"
        return problems.NothingThere(f"nothing of {what} is{where or ' on hand'}{elsewhere}", choices=choices)

    def _source(self, lot: Lot, place: Place | None, *, besides: Place | None = None) -> Place:
        """Where it lies, if that is one place."""
        if place is not None:
            return place
        lies = [at for at in self._stock.lies(lot) if besides is None or at != besides.pk]
        lies = [at for at in lies if self._stock.places[at].hands_id is None] or lies  # what is lent lies elsewhere
        if len(lies) == 1:
            return self._stock.places[lies[0]]
        if not lies:
            at = f"all of {stock.named(lot)} lies in {besides.path} already" if besides and self._stock.lies(lot) else ""
            raise problems.NothingThere(at or f"nothing of {stock.named(lot)} is on hand", choices=[])
        raise problems.Choose(
            f"{stock.named(lot)} lies in {len(lies)} places: say which by `place`", choices=_choices(self._stock, [lot], None)
        )

    def _holds(self, lot: Lot, place: Place) -> dict[str, Any]:
        """Where it was done, and what that place holds of the lot now."""
        return {"place": place.path, "holds": plain(self._stock.at(lot, place))}

    # The ledger's lots, locked for all that is left to do

    @property
    def _stock(self) -> Batch:
        if self._batch is None:
            self._batch = self._load()
        return self._batch

    def _load(self) -> Batch:
        meanings = [self._known.meanings[order.code] for order in self._left]
        return Batch(
            meant=_meant(self._left, meanings),
            by=self._by,
            since=min(order.at for order in self._left),
            locked=any(order.action in LEDGER for order in self._left),
        )

    @property
    def _counts(self) -> Counts:
        """The crates that are counted in, locked."""
        if self._tallies is None:
            self._tallies = Counts(
                wanted={pair for order in self._left if order.action == "tally" for pair in self._counted_in(order)}, by=self._by
            )
        return self._tallies

    def _counted_in(self, order: Order) -> list[tuple[int, int]]:
        item = self._known.meanings[order.code].thing
        if item is None:
            return []
        spots = [self._known.spots.get(order.bag)] if order.bag else self._known.listed.get(item.pk, {}).values()
        return [(spot.crate.pk, item.pk) for spot in spots if spot]

    def _write(self) -> None:
        """What was judged so far. Tallies come first everywhere: crates are locked before lots."""
        if self._tallies is not None:
            self._tallies.write()
            self._tallies = None
        if self._batch is not None:
            self._batch.write()
            self._batch = None

    def _apart(self, act: Callable[[], Done]) -> Done:
        """Do what a service writes by itself, in a savepoint. What was judged before is written first, and read anew after."""
        self._write()
        with transaction.atomic():
            return act()

    # Actions

    def take(self, order: Order) -> Done:
        meaning, place = self._meaning(order), self._place(order)
        lot = self._lot(order, meaning, place)
        source, quantity = self._source(lot, place), order.quantity if order.quantity is not None else ONE
        try:
            moved = self._stock.use(lot=lot, quantity=quantity, place=source, told=_told(order))
        except stock.NotUsable as problem:
            raise self._blocked(problem, lot, order) from problem
        text = f"{plain(quantity)} {lot.item.unit} of {_called(meaning, lot)} used from {source.path}"
        return Done(says={**_says(order, text, lot, quantity), **self._holds(lot, source)}, movements=[moved])

    def _blocked(self, problem: Problem, lot: Lot, order: Order) -> problems.ScanProblem:
        """Why a lot isn't used, what would lift that, and which other lots would do."""
        item = {lot.item_id: lot.item}
        others = Batch(meant=Meant(items=item, of=item), by=self._by, since=order.at, locked=False)
        usable = [other for other in others.lots.values() if other.pk != lot.pk and others.lies(other) and _serves(other, order.on)]
        why, lift = str(problem).removesuffix(f". {stock.what_lifts(lot)}"), _lift(lot)
        blocked = problems.Blocked(f"{why}. {lift}", lift=lift, lot=lot.pk, choices=_choices(others, usable, None))
        blocked.title = problem.title
        return blocked

    def put(self, order: Order) -> Done:
        meaning, target = self._meaning(order), self._place(order)
        if target is None:
            raise problems.Missing("say by `place` where it is put: a path, or the label on the place", missing=["place"])
        if meaning.bag is not None:
            return self._put_bag(order, meaning.bag, target)
        lot = self._lot(order, meaning, None)
        source = self._source(lot, None, besides=target)
        quantity = order.quantity if order.quantity is not None else self._stock.at(lot, source)
        moved = self._stock.move(lot=lot, quantity=quantity, source=source, target=target, told=_told(order))
        text = f"{plain(quantity)} {lot.item.unit} of {_called(meaning, lot)} carried from {source.path} to {target.path}"
        return Done(says={**_says(order, text, lot, quantity), **self._holds(lot, target), "from": source.path}, movements=[moved])

    def _put_bag(self, order: Order, bag: Bag, target: Place) -> Done:
        if order.quantity is not None:
            raise problems.WrongThing("a bag is put away as a whole: leave the quantity out, or scan what is in it")
        return self._apart(lambda: self._put_away(order, bag, target))

    def _put_away(self, order: Order, bag: Bag, target: Place) -> Done:
        """What was counted of it goes into stock; a bag with nothing counted lies there as it is."""
        path = Spot(bag.crate, bag).path
        says = {"action": "put", "place": target.path, "bag": path}
        try:
            moved = tallying.put_away(crate=bag.crate, bag=bag, place=target, on=order.on, by=self._by)
        except tallying.NothingToPutAway:
            tallying.lay_bag(bag=bag, place=target, by=self._by)
            return Done(says={**says, "text": f"bag {path} lies in {target.path} as it is: nothing of it was counted and waiting"})
        lots = f"{len(moved)} lot" if len(moved) == 1 else f"{len(moved)} lots"
        return Done(says={**says, "text": f"what was counted in bag {path} is in {target.path}: {lots}"}, movements=moved)

    def count(self, order: Order) -> Done:
        meaning, place = self._meaning(order), self._place(order)
        if order.quantity is None:
            raise problems.Missing("say by `quantity` what was counted; 0 where nothing is left", missing=["quantity"])
        lot = self._lot(order, meaning, place)
        spot = self._source(lot, place)
        before = self._stock.at(lot, spot)
        moved = self._stock.count(lot=lot, place=spot, counted=order.quantity, told=_told(order))
        text = _counted(lot, spot, before, self._stock.at(lot, spot))
        return Done(says={**_says(order, text, lot, order.quantity), **self._holds(lot, spot)}, movements=[moved] if moved else [])

    def open(self, order: Order) -> Done:
        meaning, place = self._meaning(order), self._place(order)
        lot = self._lot(order, meaning, place)

        def act() -> Done:
            opened = stock.open_lot(lot=lot, on=order.on, by=self._by)
            text = f"{stock.named(opened)} is open since {opened.opened_on}"
            return Done(says={**_says(order, text, opened, None), "last_usable_day": last_day(opened)})

        return self._apart(act)

    def tally(self, order: Order) -> Done:
        meaning, spot = self._meaning(order), self._spot(order)
        item, lot_code, made, expires = _to_tally(meaning)
        spot = spot or self._listed_in(item)
        quantity = order.quantity if order.quantity is not None else ONE
        counted = Counted(item, quantity, lot_code, made, expires, order.note)
        found = self._counts.tally(crate=spot.crate, bag=spot.bag, counted=counted, at=order.at, request_key=order.uuid)
        says = _says_item(order, f"{plain(quantity)} {item.unit} of {item.code} counted in {spot.path}", item, quantity)
        listed = "" if found.line_id else ": the packing list has none of it"
        return Done(says={**says, "text": says["text"] + listed, "lot_code": lot_code or None, "bag": spot.path}, tally=found)

    def _listed_in(self, item: Item) -> Spot:
        """The only bag of an open crate whose list has the item."""
        found = self._known.listed.get(item.pk, {})
        if len(found) == 1:
            return next(iter(found.values()))
        if not found:
            raise problems.Missing(f"no open crate lists {item.code}: say by `bag` which bag it was counted in", missing=["bag"])
        raise problems.Choose(f"{len(found)} bags list {item.code}: say by `bag` which one", choices=[{"bag": path} for path in found])

    def lend(self, order: Order) -> Done:
        """To who scans it, from the shelf where it lies."""
        meaning, place = self._meaning(order), self._place(order)
        lot = self._lot(order, meaning, place)
        if self._stock.lies(lot) and not self._on_shelf(lot):
            raise problems.NothingThere(f"all of {_called(meaning, lot)} is lent: nothing of it lies on a shelf", choices=[])
        source, quantity = self._source(lot, place), order.quantity if order.quantity is not None else ONE
        self._stock.refuse_older(lot, source, _told(order))

        def act() -> Done:
            key, by = self._key(order, "lend"), self._by
            loan = pool.lend(
                lot=lot, place=source, quantity=quantity, member=by, on=order.on, note=order.note, key=key, by=by, now=self._now
            )
            until = f", back by {loan.due_on}" if loan.due_on else ""
            text = f"{plain(quantity)} {lot.item.unit} of {_called(meaning, lot, look=True)} lent to {self._by.name}{until}"
            says = {**_says(order, text, lot, quantity), **self._holds(lot, source), **_of_loan(loan)}
            return Done(says=says, movements=[loan.movement])

        return self._apart(act)

    def take_in(self, order: Order) -> Done:
        """The oldest loan of it that who scans has, else the oldest that anybody has. Of several that one has, as many as it takes."""
        meaning, place = self._meaning(order), self._place(order)
        loans = self._out(order, meaning)
        lot, target = self._stock.lots[loans[0].lot_id], place or loans[0].movement.source
        quantity = order.quantity if order.quantity is not None else loans[0].open
        self._stock.refuse_older(lot, target, _told(order))

        def act() -> Done:
            ends = [self._end(order, loan, part, place) for loan, part in _spread(loans, quantity)]
            left = sum((loan.open for loan in loans), -quantity)
            more = f"; {plain(left)} {lot.item.unit} still out" if left else ""
            what, whose = f"{plain(quantity)} {lot.item.unit} of {_called(meaning, lot, look=True)}", loans[0].member.name
            text = f"{what} back in {target.path} from {whose}{more}"
            says = {**_says(order, text, lot, quantity), **self._holds(lot, target), **_of_loan(loans[0])}
            return Done(says=says, movements=[end.movement for end in ends])

        return self._apart(act)

    def _out(self, order: Order, meaning: Meaning) -> list[Loan]:
        """The open loans that may be meant: one member's, of one lot, the oldest first."""
        if meaning.bag is not None or meaning.place is not None:
            raise problems.WrongThing("this is the label of a bag or a place: to return, scan a thing or a lot's label")
        lots = [self._stock.lots[meaning.lot.pk]] if meaning.lot is not None else self._those(order, meaning)
        found = open_loans(lots)
        found = [loan for loan in found if loan.member_id == self._by.pk] or [
            loan for loan in found if loan.member_id == found[0].member_id
        ]
        if not found:
            raise problems.NothingThere("nothing of it is lent: to put it on a shelf, scan it with the action put", choices=[])
        if len(of := {loan.lot_id: self._stock.lots[loan.lot_id] for loan in found}) > 1:
            raise problems.Choose(
                f"{len(of)} lots of {_code(meaning)} are lent to {found[0].member.name}: say which by `lot`, or scan the label of one",
                choices=_choices(self._stock, list(of.values()), found[0].held_in),
            )
        return found

    def _end(self, order: Order, loan: Loan, quantity: Decimal, place: Place | None) -> LoanEnd:
        return pool.take_in(
            loan=loan,
            kind="returned",
            quantity=quantity,
            place=place,
            note=order.note,
            key=self._key(order, f"return {loan.pk}"),
            on=order.on,
            by=self._by,
            now=self._now,
        )

    def _key(self, order: Order, what: str) -> UUID:
        """Keys of the pool are everybody's; a scan's uuid is its workshop's."""
        return uuid5(order.uuid, f"{self._by.workshop_id} {what}")

    def find(self, order: Order) -> Done:
        meaning = self._meaning(order)
        if meaning.place is not None:
            return Done(says={"action": "find", **place_answer(meaning.place)})
        if meaning.bag is not None:
            return Done(says={"action": "find", **bag_answer(meaning.bag)})
        if meaning.single is not None and meaning.lot is not None:
            lot = self._stock.lots[meaning.lot.pk]
            return Done(says={"action": "find", **single_answer(meaning.single, lot, next(iter(open_loans([lot])), None), self._stock)})
        if meaning.lot is not None:
            return Done(says={"action": "find", **lot_answer(self._stock.lots[meaning.lot.pk], self._stock)})
        assert meaning.item is not None  # noqa: S101 - `_meaning` refuses what means nothing
        return Done(says={"action": "find", **item_answer(meaning.item, self._those(order, meaning), self._stock)})

    # Afterwards

    def _add_near(self, done: Sequence[Done]) -> None:
        """Near matches of codes that nobody knows: for all of them at once, since it reads the whole catalogue."""
        unknown = [one for one in done if one.outcome == Scan.Outcome.UNKNOWN]
        if unknown:
            near = lookups.near_codes({one.says["teach"]["body"]["text"] for one in unknown})
            for one in unknown:
                one.says["near"] = near[one.says["teach"]["body"]["text"]]


_ACTIONS: Mapping[str, Callable[[_Turn, Order], Done]] = {
    "count": _Turn.count,
    "put": _Turn.put,
    "take": _Turn.take,
    "find": _Turn.find,
    "open": _Turn.open,
    "tally": _Turn.tally,
    "lend": _Turn.lend,
    "return": _Turn.take_in,
}
ACTIONS = tuple(_ACTIONS)


def _choices(held: Batch, lots: Sequence[Lot], place: Place | None) -> list[dict[str, Any]]:
    """What a person may choose from."""
    return [
        lying(lot, held.places[at], plain(quantity))
        for lot in lots
        for at, quantity in held.lies(lot).items()
        if place is None or at == place.pk
    ]


def _meant(orders: Sequence[Order], meanings: Sequence[Meaning]) -> Meant:
    """The lots that these scans may mean. Where a lot is named, no other of its item is looked for."""
    pairs = list(zip(orders, meanings, strict=True))
    same = [thing.lot for meaning in meanings for thing in meaning.several]
    lots = {meaning.lot.pk for meaning in meanings if meaning.lot} | {lot.pk for lot in same}
    lots |= {order.lot for order, meaning in pairs if order.lot and meaning.item}
    items = {meaning.item.pk: meaning.item for order, meaning in pairs if meaning.item and not order.lot and order.action != "tally"}
    named = {meaning.item.pk: meaning.item for meaning in meanings if meaning.item}
    labelled = {lot.item_id: lot.item for lot in (*same, *(meaning.lot for meaning in meanings if meaning.lot))}
    return Meant(lots=lots, items=items, of=named | labelled, codes={meaning.lot_code for meaning in meanings if meaning.lot_code})


def _told(order: Order) -> Told:
    return Told(at=order.at, on=order.on, note=order.note or "by scan", ref=f"scan:{order.uuid}")


def _unknown(meaning: Meaning) -> str:
    if meaning.reading.kind == "token":
        return "this label is none of this workshop's: print a new one for the thing, or sign in to the workshop that it belongs to"
    return "nothing here has this code: choose the item that it is of, and teach it; the next scan then knows it"


def _teach(meaning: Meaning, code: str) -> dict[str, Any]:
    """How to say which item a code means. Of a code with several parts, the part that names the item is taught."""
    text = next((str(text) for text in lookups.item_texts(meaning.reading)), code)
    return {"method": "POST", "href": IDENTIFIERS, "body": {"item": None, "text": text}}


def _code(meaning: Meaning) -> str:
    return meaning.item.code if meaning.item else ""


def _called(meaning: Meaning, lot: Lot, *, look: bool = False) -> str:
    """How an answer names what was scanned: a single thing by its serial number. `look` whether it is one, where the code didn't say."""
    single = meaning.single or (Thing.objects.filter(lot=lot).exclude(serial="").first() if look else None)
    return single_name(single, lot) if single else stock.named(lot)


def _refuse_other_dates(lot: Lot, meaning: Meaning) -> None:
    """A label with other dates than the lot of its code is another lot, or one of the two was written down wrong."""
    for name, says, has in (("made", meaning.made, lot.made), ("expires", meaning.expires, lot.expires)):
        if meaning.lot_code and says is not None and has is not None and says.last_day != has.last_day:
            raise stock.OtherDates(f"{stock.named(lot)}: the label says {name} {says}, here it is {has}: one code has one set of dates")


def _serves(lot: Lot, on: date) -> bool:
    try:
        stock.refuse_unusable(lot, on)
    except Problem:
        return False
    return True


def _lift(lot: Lot) -> str:
    """What would let a blocked lot be used."""
    if lot.state == State.FAILED:
        return "Nothing lifts that: a batch that failed stays out of use. Take another lot"
    if lot.state != State.GOOD:
        return "An owner, storekeeper or inspector may judge it good on the lot's page. Else take another lot"
    if not stock_queries.life_of(lot).known:
        return "Write the date on its label down on the lot's page, then scan again"
    return f"{stock.what_lifts(lot)}. It is recorded on the lot's page. Else take another lot"


def _says(order: Order, text: str, lot: Lot, quantity: Decimal | None) -> dict[str, Any]:
    return {**_says_item(order, text, lot.item, quantity), "lot": lot.pk, "lot_code": lot.code or None}


def _says_item(order: Order, text: str, item: Item, quantity: Decimal | None) -> dict[str, Any]:
    shown = None if quantity is None else plain(quantity)
    return {"action": order.action, "text": text, "item": item.code, "name": item.name, "quantity": shown, "unit": item.unit}


def _of_loan(loan: Loan) -> dict[str, Any]:
    return {"loan": loan.pk, "due_on": None if loan.due_on is None else str(loan.due_on)}


def _spread(loans: Sequence[Loan], quantity: Decimal) -> list[tuple[Loan, Decimal]]:
    """So many of each loan, in their order. What is more than all of them is asked of the last, which refuses it."""
    parts: list[tuple[Loan, Decimal]] = []
    left = quantity
    for loan in loans:
        part = left if loan is loans[-1] else min(left, loan.open)
        if part or not parts:
            parts.append((loan, part))
        left -= part
    return parts


def _counted(lot: Lot, place: Place, before: Decimal, now: Decimal) -> str:
    text = f"{place.path} holds {plain(now)} {lot.item.unit} of {stock.named(lot)}"
    if before == now:
        return f"{text}, as the ledger says"
    return f"{text}, {plain(abs(now - before))} {'more' if now > before else 'fewer'} than the ledger said"


def _to_tally(meaning: Meaning) -> tuple[Item, str, Any, Any]:
    """What is counted, and what its label says of the lot."""
    if meaning.lot is not None:
        return meaning.lot.item, meaning.lot.code, meaning.lot.made, meaning.lot.expires
    if meaning.item is None:
        raise problems.WrongThing("this is the label of a bag or a place: scan what was in the bag, and name the bag by `bag`")
    return meaning.item, meaning.lot_code, meaning.made, meaning.expires
