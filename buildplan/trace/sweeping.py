"""Looking for what a maker's notice means, through all benches and aeroplanes. A fixed number of queries."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Q
from django.db.models.functions import Lower

from buildplan.trace import lines
from buildplan.trace.calc import Certainty, Judged, Named, Verdict, Window, first_day, judge, of_use
from buildplan.trace.lines import TraceLine
from buildplan.trace.models import Notice, Where
from buildplan.trace.picture import LotRow, Picture, look
from buildplan.trace.queries import closed_up
from inventory.common.fields import plain
from inventory.common.reasons import Reason
from inventory.models import Lot, PackingLine
from inventory.receiving.services import line_of_ref
from inventory.shelflife.calc import StatedDate, of_columns

WORSE = {Verdict.NOT: 0, Verdict.POSSIBLY: 1, Verdict.AFFECTED: 2}
IN_STEPS = frozenset({"step", "batch", "piece", "done"})


@dataclass(frozen=True, slots=True)
class JudgedLot:
    """A lot of an item that the notice names, what the notice says of it, and how much of it is on hand."""

    lot: LotRow
    verdict: Verdict
    reasons: tuple[Reason, ...]
    on_hand: Decimal


@dataclass(frozen=True, slots=True)
class Coming:
    """A line of a packing list that hasn't come yet."""

    id: int
    item: str
    name: str
    unit: str
    quantity: Decimal
    crate: str
    bench_id: int
    bench: str
    verdict: Verdict
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class ToLook:
    """One thing to look at. `subject` tells it from the others, whenever it is looked for."""

    subject: str
    where: str
    verdict: Verdict
    text: str
    reasons: tuple[Reason, ...]
    facts: Mapping[str, str]
    bench_id: int | None = None
    lot_id: int | None = None
    place_id: int | None = None
    step_id: int | None = None
    line_id: int | None = None
    holder_id: int | None = None


@dataclass(frozen=True, slots=True)
class Found:
    """All that a notice means here. `lots` are every lot of its items, the affected ones first."""

    lots: tuple[JudgedLot, ...]
    lines: tuple[TraceLine, ...]
    coming: tuple[Coming, ...]
    to_look: tuple[ToLook, ...]

    def lots_of(self, verdict: Verdict) -> tuple[JudgedLot, ...]:
        """Those of which it says this."""
        return tuple(one for one in self.lots if one.verdict == verdict)

    @property
    def counts(self) -> dict[str, int]:
        """How many lots of each verdict, how many uses of each, and how many things to look at."""
        lots = {f"lots_{one.value}": len(self.lots_of(one)) for one in Verdict}
        uses = {f"uses_{one.value}": sum(1 for line in self.lines if line.verdict == one) for one in (Verdict.AFFECTED, Verdict.POSSIBLY)}
        return {**lots, **uses, "to_look": len(self.to_look)}


def sweep(notice: Notice) -> Found:
    """Judge every lot, follow what is meant, and list what to look at. Some thirty queries, however much there is."""
    named = notice.named
    items = frozenset(notice.items.values_list("item_id", flat=True))
    picture = look(items or _items_with(named))
    asked = [lot for lot in picture.lots.values() if lot.item_id in items] if items else _coded(picture, named)
    windows = _windows(picture, asked)
    judged = {lot.id: judge(named, lot.code, lot.made, windows.get(lot.id, ())) for lot in asked}
    starts = {pk: _start(one.verdict) for pk, one in judged.items() if one.verdict != Verdict.NOT}
    found = lines.of_lots(picture, starts).lines
    told = [*_judged(found, judged), *_unknown(picture, named, items, found)]
    coming = tuple(_coming(named, items))
    lots = [JudgedLot(picture.lots[pk], one.verdict, one.reasons, _on_hand(picture, pk)) for pk, one in judged.items()]
    lots.sort(key=lambda one: (-WORSE[one.verdict], one.lot.item, one.lot.bench, one.lot.code, one.lot.id))
    closed = closed_up(picture)
    return Found(tuple(lots), tuple(told), coming, tuple(_to_look(told, coming, closed)))


def _items_with(named: Named) -> frozenset[int]:
    rows = Lot.objects.annotate(folded=Lower("code")).filter(folded__in=[code.lower() for code in named.codes])
    return frozenset(rows.values_list("item_id", flat=True))


def _coded(picture: Picture, named: Named) -> list[LotRow]:
    return [lot for lot in picture.lots.values() if lot.code.casefold() in named.folded]


def _start(verdict: Verdict) -> Certainty:
    return Certainty.CERTAIN if verdict == Verdict.AFFECTED else Certainty.POSSIBLE


def _on_hand(picture: Picture, lot: int) -> Decimal:
    return sum((parcel.quantity for (one, _), parcel in picture.walk.held.items() if one == lot), Decimal(0))


_CRATE = ("pk", "crate__code", "crate__shipped_on", "crate__arrived_on")


def _windows(picture: Picture, lots: Iterable[LotRow]) -> dict[int, tuple[Window, ...]]:
    """When each lot was packed, as far as its label, its crates and the ledger tell. One query."""
    asked = {lot.id: lot for lot in lots}
    kin = frozenset[int]().union(*(picture.goods(pk).may for pk in asked))
    came: dict[int, list[tuple[str, date]]] = defaultdict(list)
    for move in picture.moves:
        if move.lot in kin and picture.places[move.source].end == "supplier":
            came[move.lot].append((move.ref, picture.lines[move.id].on))
    numbers = {number for moves in came.values() for ref, _ in moves if (number := line_of_ref(ref)) is not None}
    crates = {row[0]: row[1:] for row in PackingLine.objects.filter(pk__in=numbers).values_list(*_CRATE)}
    return {
        pk: tuple(_window(lot.made, crates.get(line_of_ref(ref) or 0), on) for one in _sources(picture, pk, came) for ref, on in came[one])
        for pk, lot in asked.items()
    }


def _sources(picture: Picture, lot: int, came: Mapping[int, Any]) -> list[int]:
    """The lot itself where it came from a supplier, else those that it was passed on or cut from."""
    return [lot] if lot in came else [one for one in sorted(picture.goods(lot).may) if one in came]


def _window(made: StatedDate | None, crate: tuple[Any, ...] | None, on: date) -> Window:
    since = first_day(made) if made else None
    after = f"made {made}; " if made else ""
    if crate is None:
        return Window(since, on, f"{after}the ledger has it from {on} on")
    code, shipped, arrived = crate
    if shipped is not None:
        return Window(since, shipped, f"{after}crate {code} was shipped on {shipped}")
    return Window(since, arrived or on, f"{after}crate {code} arrived on {arrived or on}")


def _judged(found: Iterable[TraceLine], judged: Mapping[int, Judged]) -> Iterator[TraceLine]:
    """Lines with what the notice says of them: what it says of the lot, and how sure the trace is."""
    for one in found:
        lot = judged[one.lot.id] if one.lot else None
        if lot is not None:
            yield one._replace(verdict=of_use(lot.verdict, one.certainty), before=lot.reasons)


def _unknown(picture: Picture, named: Named, items: Collection[int], found: Iterable[TraceLine]) -> Iterator[TraceLine]:
    """Done steps of which nobody knows a lot at all, unless they were done before anything that the notice means was made."""
    told = {(one.step.id, one.item) for one in found if one.kind == "done" and one.step}
    begins = [day for day in (named.made_from, named.packed_from) if day is not None]
    for unsaid in picture.unsaid:
        step = picture.steps[unsaid.step]
        early = step.done_on is not None and any(step.done_on < day for day in begins)
        if unsaid.item in items and (step.id, unsaid.name) not in told and not early:
            yield lines.unsaid_line(picture, unsaid, None)._replace(verdict=Verdict.POSSIBLY)


_COMING = (
    *("pk", "item__code", "item__name", "item__unit", "open_quantity", "crate__code", "crate__bench_id", "crate__bench__name"),
    *("lot_code", "made_on", "made_as", "crate__shipped_on"),
)


def _coming(named: Named, items: Collection[int]) -> Iterator[Coming]:
    rows = PackingLine.objects.filter(open_quantity__gt=0, crate__closed_on=None).order_by("crate__code", "pk")
    which = Q(item__in=items) if items else Q(lot_code__in=named.codes)
    for *said, code, made_on, made_as, shipped in rows.filter(which).values_list(*_COMING):
        made = of_columns(made_on, made_as)
        packed = [Window(first_day(made) if made else None, shipped, f"crate {said[5]}")] if shipped else []
        found = judge(named, code, made, packed)
        if found.verdict != Verdict.NOT:
            yield Coming(*said, found.verdict, found.reasons)  # type: ignore[call-arg] # the columns are its fields


# What to look at


def _to_look(found: Iterable[TraceLine], coming: Iterable[Coming], closed: Mapping[int, str]) -> list[ToLook]:
    """One thing for each place, step and piece, whatever number of lots leads there; the worst that is said of it counts."""
    kept: dict[str, ToLook] = {}
    for one in found:
        made = _look_at(one, closed)
        if made is None or one.verdict == Verdict.NOT:
            continue
        before = kept.get(made.subject)
        if before is None or WORSE[before.verdict] < WORSE[made.verdict]:
            kept[made.subject] = made
    for line in coming:
        text = f"{plain(line.quantity)} {line.unit} of {line.item} in crate {line.crate}: look when it comes"
        facts = {"item": line.item, "name": line.name, "quantity": plain(line.quantity), "unit": line.unit, "on": ""}
        subject = f"coming:{line.id}"
        kept[subject] = ToLook(subject, Where.COMING, line.verdict, text, line.reasons, facts, bench_id=line.bench_id, line_id=line.id)
    order = [where.value for where in Where]
    return sorted(kept.values(), key=lambda one: (-WORSE[one.verdict], order.index(one.where), one.text))


def _look_at(one: TraceLine, closed: Mapping[int, str]) -> ToLook | None:
    if one.verdict is None:
        return None
    if one.kind in {"shelf", "lent"}:
        return _on_a_shelf(one)
    if one.kind in IN_STEPS and one.step is not None:
        return _in_a_step(one, closed)
    if one.kind == "mark" and one.mark is not None:
        where = Where.GONE if one.mark.ended_on else Where.PIECE
        return replace(_base(one, f"mark:{one.mark.id}", where, f"{one.project}: {one.what}"))
    if one.kind == "used":
        text = f"{_amount(one)} used on {one.on}, by {one.by}: find out where"
        return _base(one, f"gone:{one.told.movement}", Where.GONE, text)
    return None  # scrapped, lost, sent back: nothing is there to look at


def _amount(one: TraceLine) -> str:
    name = one.taken.label if one.taken else one.item
    return f"{plain(one.quantity)} {one.unit} of {name}" if one.quantity is not None else name


def _base(one: TraceLine, subject: str, where: str, text: str) -> ToLook:
    row = one.taken or one.lot
    facts = {
        "item": row.item if row else one.item,
        "name": row.name if row else "",
        "quantity": plain(one.quantity) if one.quantity is not None else "",
        "unit": one.unit if one.quantity is not None else "",
        "on": one.on.isoformat() if one.on else "",
    }
    taken = one.taken.id if one.taken else None
    return ToLook(subject, where, one.verdict or Verdict.POSSIBLY, text[:400], one.reasons, facts, bench_id=one.bench_id, lot_id=taken)


def _on_a_shelf(one: TraceLine) -> ToLook:
    lot = one.taken.id if one.taken else 0
    where = Where.LENT if one.kind == "lent" else Where.SHELF
    text = f"{_amount(one)}, lent to {one.what}" if one.kind == "lent" else f"{_amount(one)} in {one.place}"
    found = _base(one, f"{where.value}:{lot}:{one.told.place_id}", where, text)
    return replace(found, place_id=one.told.place_id, holder_id=one.told.holder)


def _in_a_step(one: TraceLine, closed: Mapping[int, str]) -> ToLook | None:
    step = one.step
    if step is None:
        return None
    shut = closed.get(step.id, "")
    taken = f"lot:{one.taken.id}" if one.taken else f"item:{one.item}"
    day = f" on {step.done_on}" if step.done_on else ""
    how = f"{_amount(one)} went in" if one.kind != "done" else f"which {one.item} went in is not said"
    state = f"done{day}" if step.done else "not done yet"
    text = f"{step.project} {step.code} {step.title}, {state}: {how}" + (f"; {shut}" if shut else "")
    found = _base(one, f"step:{step.id}:{taken}", Where.CLOSED if shut else Where.STEP, text)
    reasons = (*found.reasons, Reason(f"{shut}: it must be opened to look", "the record")) if shut else found.reasons
    return replace(found, step_id=step.id, reasons=reasons)
