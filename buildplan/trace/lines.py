"""Uses of goods as lines of a trace: what went where, how sure that is, and why."""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping
from datetime import date
from decimal import Decimal
from typing import Any, NamedTuple

from django.utils import timezone

from buildplan.trace.calc import Certainty, Goods, Link, Out, Parcel, Verdict, first_day, route
from buildplan.trace.picture import MIX, FinishRow, LotRow, MarkRow, MixRow, Picture, PieceRow, Share, StepFact, Unsaid
from inventory.common.fields import plain
from inventory.common.reasons import Reason

LEDGER = "the ledger"
KNOWN_DAY = ("line:", "transfer:", "cut:")  # what came by these came on the day that the ledger says
LATEST = 2**63
MOST_LABELS = 4  # lots that a sentence names before it counts the rest


class Told(NamedTuple):
    """What a use says of itself, beside what went where. None and blank: not known, or nothing to say."""

    on: date | None = None
    by: str = ""
    place: str = ""
    what: str = ""
    movement: int | None = None
    mix: int | None = None
    cut: int | None = None
    mark: MarkRow | None = None
    place_id: int | None = None
    holder: int | None = None


NOTHING = Told()


class TraceLine(NamedTuple):
    """One place where goods went: a step, a piece, a position, the shelf, the end of them.

    `lot` is the lot that is traced, `taken` what it was taken as, `told` the rest that is known. `choices` are the lots of which it may be
    any. `verdict` is of a notice alone. `of` is what the reasons are worked out from, `before` and `after` are further ones.
    """

    certainty: Certainty
    kind: str
    lot: LotRow | None
    taken: LotRow | None
    quantity: Decimal | None
    unit: str
    step: StepFact | None
    told: Told
    of: "tuple[Picture, Use | Unsaid]"
    item: str = ""
    choices: tuple[int, ...] = ()
    verdict: Verdict | None = None
    before: tuple[Reason, ...] = ()
    after: tuple[Reason, ...] = ()

    @property
    def reasons(self) -> tuple[Reason, ...]:
        """Why it is so sure. Worked out where somebody asks: a long trace would else spend most of its time on sentences."""
        return (*self.before, *_reasons(self), *self.after)

    @property
    def on(self) -> date | None:
        """The day."""
        return self.told.on

    @property
    def by(self) -> str:
        """Who did it."""
        return self.told.by

    @property
    def place(self) -> str:
        """Where it lay, or lies."""
        return self.told.place

    @property
    def what(self) -> str:
        """What it was there, in words."""
        return self.told.what

    @property
    def mark(self) -> MarkRow | None:
        """The match mark."""
        return self.told.mark

    @property
    def project(self) -> str:
        """The aeroplane."""
        return self.step.project if self.step else self.mark.project if self.mark else ""

    @property
    def project_name(self) -> str:
        """Its name."""
        return self.step.project_name if self.step else self.mark.project_name if self.mark else ""

    @property
    def section(self) -> str:
        """The chapter of the plans."""
        return self.step.section if self.step else ""

    @property
    def bench(self) -> str:
        """Whose it is: where it was built in, that project's bench, else the lot's."""
        if self.step or self.mark:
            return self.step.bench_name if self.step else self.mark.bench_name if self.mark else ""
        return self.taken.bench_name if self.taken else ""

    @property
    def bench_id(self) -> int | None:
        """The same by its id."""
        if self.step or self.mark:
            return self.step.bench_id if self.step else self.mark.bench_id if self.mark else None
        return self.taken.bench_id if self.taken else None


class How(NamedTuple):
    """How a kind of use tells of itself, and why it is so, from what it is of."""

    tell: Callable[..., Told]
    reasons: Callable[..., tuple[Reason, ...]]


class Use(NamedTuple):
    """Goods that went somewhere, before anybody asks of which lot. `of` is what `how` tells of; `before` is the line of the ledger."""

    kind: str
    lot: int
    goods: Goods
    quantity: Decimal | None
    step: int | None
    before: int
    how: How
    of: tuple[Any, ...]
    together: tuple[int, ...] = ()
    item: int = 0


Keep = Callable[[frozenset[int], int | None, int], bool]  # by the lots that may be in it, the step, and the item


def uses(picture: Picture, keep: Keep) -> Iterator[Use]:
    """The uses to keep of all that the picture knows: each line of the ledger once, a batch once for each step that it was for."""
    for out in _together(picture):
        yield from _out(picture, out, keep)
    for (lot, place), parcel in picture.walk.held.items():
        if keep(parcel.may, None, picture.lots[lot].item_id):
            yield _held(picture, lot, place, parcel)
    further = [_piece(picture, piece) for piece in picture.pieces] + [_mark(picture, mark) for mark in picture.marks]
    yield from (use for use in further if use.kind == "mark" or keep(use.goods.may, use.step, use.item))


def _together(picture: Picture) -> Iterator[Out]:
    """What left stock. A batch's lines of one lot and place are one: they are apart only for whom it was set aside."""
    mixed: dict[tuple[str, int, int], Out] = {}
    for out in picture.walk.outs:
        if not out.ref.startswith(MIX):
            yield out
        elif (first := mixed.get(key := (out.ref, out.lot, out.place))) is None:
            mixed[key] = out
        else:
            mixed[key] = first._replace(
                quantity=first.quantity + out.quantity,
                may=first.may | out.may,
                must=first.must & out.must,
                together=tuple(dict.fromkeys((*first.together, *out.together))),
            )
    yield from mixed.values()


def _out(picture: Picture, out: Out, keep: Keep) -> Iterator[Use]:
    item = picture.lots[out.lot].item_id
    if out.ref.startswith(MIX) and (mix := picture.mixes.get(out.ref)) is not None:
        for share in mix.shares:
            if keep(out.may, share.step, item):
                yield _shared(picture, out, mix, share)
        return
    finish = picture.finishes.get(out.ref)
    step = None if finish is None else finish.step
    if keep(out.may, step, item):
        yield _gone(picture, out, finish)


def _gone(picture: Picture, out: Out, finish: FinishRow | None) -> Use:
    kind, step = ("step", finish.step) if finish else (picture.places[out.end].end, None)
    goods, item = Goods(out.may, out.must), picture.lots[out.lot].item_id
    return Use(kind, out.lot, goods, out.quantity, step, out.id, GONE, (out, finish), out.together, item)


def _told(picture: Picture, out: Out, finish: FinishRow | None = None) -> Told:
    del finish
    said = picture.lines[out.id]
    return Told(said.on, said.by, picture.places[out.place].path, said.note, out.id)


def _amount(picture: Picture, out: Out) -> str:
    return f"{plain(out.quantity)} {picture.lots[out.lot].unit}"


_ENDS = {
    "used": "used, and for which step is not said",
    "scrapped": "scrapped",
    "lost": "lost",
    "counted": "missing when it was counted",
    "supplier": "sent back",
}


def _out_reasons(picture: Picture, out: Out, finish: FinishRow | None) -> tuple[Reason, ...]:
    line, lot, place = picture.lines[out.id], picture.lots[out.lot], picture.places[out.place].path
    end = picture.places[out.end].end
    if finish is not None:
        text = f"{picture.steps[finish.step].code} took {_amount(picture, out)} of {lot.label} from {place} on {line.on}"
    else:
        note = f" ({line.note})" if line.note else ""
        text = f"{_amount(picture, out)} of {lot.label} {_ENDS.get(end, end)} on {line.on}, from {place}{note}"
    return (Reason(text, f"{LEDGER}, line {out.id}"),)


GONE = How(_told, _out_reasons)


def _shared(picture: Picture, out: Out, mix: MixRow, share: Share) -> Use:
    goods, item = Goods(out.may, out.must), picture.lots[out.lot].item_id
    return Use("batch", out.lot, goods, out.quantity, share.step, out.id, SHARED, (out, mix, share), out.together, item)


def _shared_told(picture: Picture, out: Out, mix: MixRow, share: Share) -> Told:
    return _told(picture, out)._replace(mix=mix.id, by=mix.mixed_by, what=f"{plain(share.grams)} g of the batch")


def _shared_reasons(picture: Picture, out: Out, mix: MixRow, share: Share) -> tuple[Reason, ...]:
    at, lot = timezone.localtime(mix.at), picture.lots[out.lot]
    code = picture.steps[share.step].code
    took = f"a batch of {mix.item} mixed {at:%Y-%m-%d %H:%M} by {mix.mixed_by} took {_amount(picture, out)} of {lot.label}"
    stirred = f"a batch is stirred, so every share of it has of each of its lots; {code} got {plain(share.grams)} g"
    return Reason(took, f"{LEDGER}, line {out.id}"), Reason(stirred, f"mix card {mix.id}")


SHARED = How(_shared_told, _shared_reasons)


def _held(picture: Picture, lot: int, place: int, parcel: Parcel) -> Use:
    kind = "lent" if picture.places[place].member_id else "shelf"
    goods, item = Goods(parcel.may, parcel.must), picture.lots[lot].item_id
    return Use(kind, lot, goods, parcel.quantity, None, LATEST, HELD, (lot, place, parcel), (), item)


def _held_told(picture: Picture, lot: int, place: int, parcel: Parcel) -> Told:
    del lot, parcel
    spot = picture.places[place]
    return Told(place=spot.path, what=spot.member or "", place_id=place, holder=spot.member_id)


def _held_reasons(picture: Picture, lot: int, place: int, parcel: Parcel) -> tuple[Reason, ...]:
    row, spot = picture.lots[lot], picture.places[place]
    where = f"{spot.member} has" if spot.member_id else f"{spot.path} holds"
    return (Reason(f"{where} {plain(parcel.quantity)} {row.unit} of {row.label}", LEDGER),)


HELD = How(_held_told, _held_reasons)


def _piece(picture: Picture, piece: PieceRow) -> Use:
    """Sawn pieces are of the blank, whatever becomes of them. As a lot of their own they are followed further, too."""
    goods = picture.walk.cuts.get(f"cut:{piece.cut}", picture.goods(piece.lot))
    lot = picture.lots.get(piece.lot)
    item = lot.item_id if lot else 0
    return Use("piece", piece.lot, goods, Decimal(piece.count), piece.step, LATEST, SAWN, (piece,), goods.lots[1:], item)


def _piece_told(picture: Picture, piece: PieceRow) -> Told:
    del picture
    spoiled = f", {piece.spoiled} of them spoiled" if piece.spoiled else ""
    return Told(piece.on, piece.by, what=f"{piece.count} of {piece.code}{spoiled}", cut=piece.cut)


def _piece_reasons(picture: Picture, piece: PieceRow) -> tuple[Reason, ...]:
    lot = picture.lots.get(piece.lot)
    name = lot.label if lot else "a lot"
    text = f"{piece.count} of {piece.code} were sawn for {picture.steps[piece.step].code} from {name} on {piece.on}"
    spoiled = (Reason(f"{piece.spoiled} of them were spoiled", f"cut {piece.cut}"),) if piece.spoiled else ()
    return (Reason(text, f"cut {piece.cut}"), *spoiled)


SAWN = How(_piece_told, _piece_reasons)


def _mark(picture: Picture, mark: MarkRow) -> Use:
    lot = picture.lots.get(mark.lot)
    return Use("mark", mark.lot, picture.goods(mark.lot), None, None, LATEST, MARKED, (mark,), (), lot.item_id if lot else 0)


def _mark_told(picture: Picture, mark: MarkRow) -> Told:
    del picture
    gone = f", until {mark.ended_on}" if mark.ended_on else ""
    return Told(mark.on, mark.by, what=f"{_position(mark)}{gone}", mark=mark)


def _position(mark: MarkRow) -> str:
    return f"{mark.part} {mark.number} of {mark.assembly}"


def _mark_reasons(picture: Picture, mark: MarkRow) -> tuple[Reason, ...]:
    lot, source = picture.lots.get(mark.lot), "its match mark"
    marked = Reason(f"{_position(mark)} was marked on {mark.on} by {mark.by} as of {lot.label if lot else 'a lot'}", source)
    return (marked, Reason(f"it was replaced on {mark.ended_on}: {mark.why}", source)) if mark.ended_on else (marked,)


MARKED = How(_mark_told, _mark_reasons)


# What is done, and no movement says of what


class _Reach(NamedTuple):
    """A lot, and the first day on which it may have been there: None where nothing says that it was not."""

    lot: LotRow
    since: date | None


Candidates = Callable[[Unsaid], frozenset[int]]


def candidates(picture: Picture) -> Candidates:
    """For a step of which no movement says a lot: the lots whose goods may have gone into it."""
    by_item: dict[int, list[_Reach]] = defaultdict(list)
    for lot in picture.lots.values():
        if lot.id in picture.first:
            by_item[lot.item_id].append(_Reach(lot, _since(picture, lot)))
    known: dict[tuple[int, int, date | None], frozenset[int]] = {}

    def of(unsaid: Unsaid) -> frozenset[int]:
        step = picture.steps[unsaid.step]
        key = (unsaid.item, step.bench_id, step.done_on)
        if key not in known:
            there = (one.lot.id for one in by_item.get(unsaid.item, ()) if _may_have_served(one, step))
            known[key] = frozenset[int]().union(*(picture.goods(lot).may for lot in there))
        return known[key]

    return of


def _since(picture: Picture, lot: LotRow) -> date | None:
    """Not before it was made, nor before it came by something of which the ledger knows the day. A list of stock knows none."""
    first = picture.first[lot.id]
    came = [picture.lines[first.id].on] if first.ref.startswith(KNOWN_DAY) else []
    made = [first_day(lot.made)] if lot.made is not None else []
    return max((*came, *made), default=None)


def _may_have_served(one: _Reach, step: StepFact) -> bool:
    """Whether a lot was, or may have been, within reach of a step on its day: of its bench or shared, not made nor come later."""
    if one.lot.bench_id != step.bench_id and not one.lot.shared:
        return False
    return step.done_on is None or one.since is None or one.since <= step.done_on


def unsaid_reasons(picture: Picture, unsaid: Unsaid) -> tuple[Reason, ...]:
    """Why nobody can tell what a step took."""
    step, unit = picture.steps[unsaid.step], unsaid.name
    day = f" on {step.done_on}" if step.done_on else ""
    text = f"{step.code} was done{day} and {unsaid.why} {unit}, and no movement says which lot it took"
    return (Reason(text, "the plan, and the ledger"),)


SERVED = Reason("it may be any lot of that item which the bench had, or the club shares, by then", "it can't be told")


# Lines


def line(picture: Picture, use: Use, lot: int, certainty: Certainty) -> TraceLine:
    """A use as the line of a trace of one lot."""
    taken = picture.lots.get(use.lot)
    step = None if use.step is None else picture.steps.get(use.step)
    unit = "ea" if use.kind == "piece" else taken.unit if taken else ""
    told = use.how.tell(picture, *use.of)
    return TraceLine(certainty, use.kind, picture.lots.get(lot), taken, use.quantity, unit, step, told, (picture, use))


def _reasons(one: TraceLine) -> tuple[Reason, ...]:
    picture, use = one.of
    if isinstance(use, Unsaid):
        return (*unsaid_reasons(picture, use), _served(picture, use, one.choices, known=one.lot is not None))
    lot = one.lot.id if one.lot else use.lot
    return (*use.how.reasons(picture, *use.of), *_beside(picture, use, one.taken), *_ways(picture, use, lot, one.certainty))


def _labels(picture: Picture, lots: Collection[int]) -> str:
    named = [picture.lots[one].label for one in lots if one in picture.lots]
    more = f" and {len(named) - MOST_LABELS} more" if len(named) > MOST_LABELS else ""
    return ", ".join(named[:MOST_LABELS]) + more


def _beside(picture: Picture, use: Use, taken: LotRow | None) -> tuple[Reason, ...]:
    if not use.together or taken is None:
        return ()
    text = f"it was taken without a lot code, and {_labels(picture, use.together)} lay in the same place: nobody can tell which it was"
    return (Reason(text, LEDGER),)


def _ways(picture: Picture, use: Use, lot: int, certainty: Certainty) -> tuple[Reason, ...]:
    if lot == use.lot or lot in use.together:
        return ()
    ends = (use.lot, *use.together)
    links = next((found for one in ends if (found := route(picture.walk.links, lot, one, use.before))), ())
    told = tuple(_way(picture, link) for link in links)
    if certainty == Certainty.POSSIBLE:
        other = Reason("goods of other origin were there as well, so it may or may not have been of this lot", LEDGER)
        return (*told, other)
    return told


def _way(picture: Picture, link: Link) -> Reason:
    one, other, on = picture.lots[link.source], picture.lots[link.target], picture.lines[link.id].on
    if link.how == "passed":
        return Reason(f"{one.label} passed to {other.bench} on {on}, as {other.label}", link.ref or LEDGER)
    if link.how == "cut":
        return Reason(f"{other.label} was cut from {one.label} on {on}", link.ref or LEDGER)
    if link.how == "counted":
        text = f"a count on {on} found more of {other.label} than there should be, and {one.label} was short: it may be the same"
        return Reason(text, f"{LEDGER}, line {link.id}")
    return Reason(f"{other.label} was carried on {on} from where {one.label} lay too: it may have been either", f"{LEDGER}, line {link.id}")


class Followed(NamedTuple):
    """Where goods went: the lines; and of the steps that took the same items from other lots the first, and how many more there are."""

    lines: list[TraceLine]
    others: list[Use]
    more: int


def of_lots(picture: Picture, starts: Mapping[int, Certainty], most: int = 0) -> Followed:
    """Where goods of these lots went; and, apart, at `most` so many uses of the same items by steps that they did not go into.

    `starts` says of each lot how sure it is that it is what is traced. A use has one line, of the lot that is surest, whatever number of
    them may have gone into it.
    """
    wanted = frozenset(starts)
    items = {picture.lots[lot].item_id for lot in wanted if lot in picture.lots}
    passed_by = 0

    def keep(may: frozenset[int], step: int | None, item: int) -> bool:
        nonlocal passed_by
        if not wanted.isdisjoint(may):
            return True
        if step is None or item not in items:
            return False
        passed_by += 1
        return passed_by <= most

    hits: list[TraceLine] = []
    others: list[Use] = []
    for use in uses(picture, keep):
        found = use.goods.may & wanted
        if found:
            sure = {lot: _sure(starts[lot], lot in use.goods.must) for lot in found}
            lot = _surest(sure, use.lot)
            hits.append(line(picture, use, lot, sure[lot]))
        elif use.step is not None:
            others.append(use)
    hits += _maybe(picture, wanted)
    return Followed(sorted(hits, key=_order), others, passed_by - len(others))


def _surest(sure: Mapping[int, Certainty], taken: int | None) -> int:
    """The lot of which it is surest; of several alike the one as which it was taken."""
    return min(sure, key=lambda lot: (_SURE[sure[lot]], lot != taken, lot))


def _sure(start: Certainty, must: bool) -> Certainty:
    return Certainty.CERTAIN if must and start == Certainty.CERTAIN else Certainty.POSSIBLE


def not_line(picture: Picture, use: Use) -> TraceLine:
    """A use that what is traced did not go into, and why."""
    found = line(picture, use, use.lot, Certainty.NOT)
    other = Reason(f"it took {found.taken.label if found.taken else 'another lot'}, which has nothing of what is traced", LEDGER)
    return found._replace(lot=None, after=(other,))


def _maybe(picture: Picture, wanted: frozenset[int]) -> Iterator[TraceLine]:
    """Done steps that may have taken of them, since no movement says what they took."""
    of = candidates(picture)
    for unsaid in picture.unsaid:
        if found := of(unsaid) & wanted:
            yield unsaid_line(picture, unsaid, min(found))


def unsaid_line(picture: Picture, unsaid: Unsaid, lot: int | None, choices: tuple[int, ...] = ()) -> TraceLine:
    """A step of which no movement says what it took: of a lot that it may have been, or of all of `choices`, or of nobody knows what."""
    step, row = picture.steps[unsaid.step], picture.lots.get(lot) if lot is not None else None
    told = Told(on=step.done_on, what=f"{unsaid.why} {unsaid.name}")
    unit, of = row.unit if row else "", (picture, unsaid)
    return TraceLine(Certainty.POSSIBLE, "done", row, None, None, unit, step, told, of, item=unsaid.name, choices=choices)


def _served(picture: Picture, unsaid: Unsaid, choices: Collection[int], *, known: bool) -> Reason:
    if known:
        return SERVED
    if not choices:
        return Reason(f"no lot of {unsaid.name} that was within its reach then is known", LEDGER)
    named = _labels(picture, choices)
    return Reason(f"it may be any of {len(choices)} lots that the bench had, or the club shares, by then: {named}", LEDGER)


KINDS = ("step", "batch", "piece", "mark", "done", "used", "shelf", "lent", "scrapped", "lost", "counted", "supplier")
_SURE = {Certainty.CERTAIN: 0, Certainty.POSSIBLE: 1, Certainty.NOT: 2}


def _order(one: TraceLine) -> tuple[object, ...]:
    step = (one.step.project, one.step.position) if one.step else (one.project, 0)
    which = (one.on or date.min, one.told.movement or 0, one.place, one.lot.id if one.lot else 0)
    return (_SURE[one.certainty], KINDS.index(one.kind), *step, *which)


def of_steps(picture: Picture, steps: Collection[int], marks: Collection[int] = ()) -> list[TraceLine]:
    """What went into these steps and marked pieces: each use once for each lot that it may be of."""
    wanted, marked = frozenset(steps), frozenset(marks)
    found: list[TraceLine] = []
    for use in uses(picture, lambda _, step, __: step in wanted):
        if use.kind != "mark" or _mark_of(use) in marked:
            lots = use.goods.may or frozenset((use.lot,))
            must = use.goods.must
            found += [line(picture, use, lot, Certainty.CERTAIN if lot in must else Certainty.POSSIBLE) for lot in sorted(lots)]
    of = candidates(picture)
    for unsaid in picture.unsaid:
        if unsaid.step in wanted:
            lots = of(unsaid)
            found.append(unsaid_line(picture, unsaid, min(lots) if len(lots) == 1 else None, tuple(sorted(lots))))
    return sorted(found, key=_by_step)


def _mark_of(use: Use) -> int:
    mark: MarkRow = use.of[0]
    return mark.id


def _by_step(one: TraceLine) -> tuple[object, ...]:
    step = (one.step.project, one.step.position, one.step.id) if one.step else (one.project, LATEST, 0)
    return (*step, KINDS.index(one.kind), _SURE[one.certainty], one.told.movement or 0, one.lot.id if one.lot else 0)
