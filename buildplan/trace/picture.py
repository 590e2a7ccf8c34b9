"""What a trace is made of: lines of the ledger and what steps, batches, cuts and marks say of them. A fixed number of queries."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any, NamedTuple

from django.db.models import CharField, Q, QuerySet, Value
from django.db.models.functions import Cast, Concat

from buildplan.cutting.models import CutPiece, Piece
from buildplan.fitting.models import AssemblyStep, Mark
from buildplan.hardware.models import RivetRow, Substitution
from buildplan.plan.models import CallOut, Finish
from buildplan.sealing.models import MixShare, Seam
from buildplan.trace.calc import Goods, LotFact, Move, Walk, walk
from inventory.catalogue.models import RETURNED
from inventory.models import Lot, Movement, Place
from inventory.shelflife.calc import StatedDate, of_columns
from inventory.stock.models import End

FINISH, MIX, CUT_REF = "finish:", "mix:", "cut:"
MOST_NAMED = 500  # values in one IN list; beyond that all rows are read


class StepFact(NamedTuple):
    """A step as a trace names it."""

    id: int
    code: str
    title: str
    done: bool
    done_on: date | None
    position: int
    section_id: int
    section: str
    project: str
    project_name: str
    bench_id: int
    bench: str
    bench_name: str


STEP = (
    *("step_id", "step__code", "step__title", "step__done", "step__done_on", "step__position"),
    *("step__section_id", "step__section__name", "step__project__code", "step__project__name"),
    *("step__project__bench_id", "step__project__bench__code", "step__project__bench__name"),
)
WIDE = len(STEP)


class LotRow(NamedTuple):
    """A lot as a trace names it."""

    id: int
    item_id: int
    item: str
    name: str
    kind: str
    unit: str
    bench_id: int
    bench: str
    bench_name: str
    shared: bool
    code: str
    state: str
    made: StatedDate | None
    expires: StatedDate | None

    @property
    def label(self) -> str:
        """How sentences name it."""
        code = f"lot {self.code}" if self.code else f"lot no. {self.id} without a code"
        return f"{code} of {self.item}, {self.bench}"


class PlaceRow(NamedTuple):
    """A place as a trace names it; `member` is whose hands it is."""

    id: int
    path: str
    end: str
    member_id: int | None
    member: str | None


class FinishRow(NamedTuple):
    """That a step was finished."""

    id: int
    step: int
    on: date
    by: str


class Share(NamedTuple):
    """What a step got of a batch."""

    step: int
    grams: Decimal


@dataclass(slots=True)
class MixRow:
    """A batch that was mixed, and for which steps."""

    id: int
    item: str
    at: datetime
    mixed_by: str
    grams: Decimal
    shares: list[Share]


class PieceRow(NamedTuple):
    """Pieces that were sawn for a step. `made` is the lot that they are, where they are something in the catalogue."""

    id: int
    step: int
    code: str
    count: int  # type: ignore[assignment] # a tuple has a method of that name, which none of ours calls
    spoiled: int
    on: date
    by: str
    cut: int
    lot: int
    made: int | None


class MarkRow(NamedTuple):
    """A piece that was marked for a position of an assembly."""

    id: int
    lot: int
    part: str
    number: int
    assembly_id: int
    assembly: str
    project: str
    project_name: str
    bench_id: int
    bench: str
    bench_name: str
    on: date
    ended_on: date | None
    by: str
    why: str


class Unsaid(NamedTuple):
    """That a step is done and needs an item of which no movement says a lot."""

    step: int
    item: int
    name: str
    why: str


@dataclass(slots=True)
class Picture:
    """All of it, of some items. `moves` are the lines that stand, `lines` the same by their ids."""

    items: frozenset[int] | None
    moves: list[Move]
    lines: dict[int, Move]
    places: dict[int, PlaceRow]
    lots: dict[int, LotRow]
    walk: Walk
    first: dict[int, Move]
    steps: dict[int, StepFact] = field(default_factory=dict)
    finishes: dict[str, FinishRow] = field(default_factory=dict)
    mixes: dict[str, MixRow] = field(default_factory=dict)
    pieces: list[PieceRow] = field(default_factory=list)
    marks: list[MarkRow] = field(default_factory=list)
    unsaid: list[Unsaid] = field(default_factory=list)
    closing: dict[int, str] = field(default_factory=dict)  # steps that close an assembly for good: its name

    def goods(self, lot: int) -> Goods:
        """What was ever in a lot."""
        own = frozenset((lot,))
        return self.walk.ever.get(lot, Goods(own, own))


def of_items(field_name: str, items: frozenset[int] | None) -> Q:
    """A filter by items; all of them where they are too many to name."""
    return Q() if items is None or len(items) > MOST_NAMED else Q(**{f"{field_name}__in": items})


def look(items: Collection[int] | None) -> Picture:
    """Everything there is of these items and of what they were cut from and into; of all where none are named. Sixteen queries at most."""
    wanted = None if items is None else akin(items)
    if wanted is not None and len(wanted) > MOST_NAMED:
        wanted = None
    moves = _moves(wanted)
    places = {row[0]: PlaceRow(*row) for row in Place.objects.values_list("id", "path", "end", "hands_id", "hands__name")}
    lots = _lots(wanted)
    facts = {lot.id: LotFact(lot.item_id, bool(lot.code)) for lot in lots.values()}
    walked = walk(moves, {pk: place.end for pk, place in places.items()}, facts)
    first: dict[int, Move] = {}
    for move in moves:
        first.setdefault(move.lot, move)
    found = Picture(wanted, moves, {move.id: move for move in moves}, places, lots, walked, first)
    _steps(found)
    return found


def akin(items: Collection[int]) -> frozenset[int]:
    """These items, what they were cut from, and what was cut from them, however far. One query."""
    ends = Q(source__end=End.CUT) | Q(target__end=End.CUT)
    together: dict[str, set[int]] = defaultdict(set)
    for ref, item in Movement.objects.filter(ends).order_by().values_list("ref", "lot__item_id").distinct():
        together[ref].add(item)
    beside: dict[int, set[int]] = defaultdict(set)
    for found in together.values():
        for item in found:
            beside[item] |= found
    known, todo = set(items), list(items)
    while todo:
        more = beside.get(todo.pop(), set()) - known
        known |= more
        todo += more
    return frozenset(known)


_MOVE = ("id", "lot_id", "quantity", "source_id", "target_id", "ref", "on", "by__name", "note", "reverses_id")


def _moves(items: frozenset[int] | None) -> list[Move]:
    """The lines that stand: what was reversed is as if it had not been."""
    rows = Movement.objects.filter(of_items("lot__item", items)).order_by("id").values_list(*_MOVE)
    moves = [Move._make(row) for row in rows]
    undone = {move.reverses for move in moves if move.reverses is not None}
    return [move for move in moves if move.reverses is None and move.id not in undone] if undone else moves


_LOT = (
    *("id", "item_id", "item__code", "item__name", "item__kind", "item__unit", "bench_id", "bench__code", "bench__name", "bench__shared"),
    *("code", "state", "made_on", "made_as", "expires_on", "expires_as"),
)


def _lots(items: frozenset[int] | None) -> dict[int, LotRow]:
    found = {}
    for row in Lot.objects.filter(of_items("item", items)).values_list(*_LOT):
        *said, made_on, made_as, expires_on, expires_as = row
        found[said[0]] = LotRow(*said, of_columns(made_on, made_as), of_columns(expires_on, expires_as))  # type: ignore[call-arg] # the columns are its fields
    return found


def _step(found: Picture, row: tuple[Any, ...]) -> int:
    """Keep the step whose columns begin the row; its id."""
    pk: int = row[0]
    if pk not in found.steps:
        found.steps[pk] = StepFact(*row[:WIDE])
    return pk


def _steps(found: Picture) -> None:
    named = {int(out.ref.removeprefix(FINISH)) for out in found.walk.outs if out.ref.startswith(FINISH)}
    which = Q(pk__in=named) if len(named) <= MOST_NAMED else Q()
    for row in Finish.objects.filter(which, taken_back_at=None).values_list(*STEP, "id", "on", "by__name"):
        pk, on, by = row[WIDE:]
        found.finishes[f"{FINISH}{pk}"] = FinishRow(pk, _step(found, row), on, by)
    _mixes(found)
    _pieces(found)
    _marks(found)
    _unsaid(found)
    rows = AssemblyStep.objects.filter(phase="final", step__done=True).values_list("step_id", "assembly__name")
    found.closing = dict(rows)


_SHARE = ("mix_id", "mix__item__code", "mix__mixed_at", "mix__mixed_by", "mix__base", "mix__accelerator", "grams")


def _mixes(found: Picture) -> None:
    rows = MixShare.objects.filter(of_items("mix__item", found.items), mix__taken_back_at=None).order_by("mix_id", "id")
    for row in rows.values_list(*STEP, *_SHARE):
        pk, item, at, mixed_by, base, accelerator, grams = row[WIDE:]
        mix = found.mixes.setdefault(f"{MIX}{pk}", MixRow(pk, item, at, mixed_by, base + accelerator, []))
        mix.shares.append(Share(_step(found, row), grams))


_PIECE = ("id", "piece__code", "count", "cut__sawn_on", "cut__sawn_by__name", "cut_id", "cut__lot_id", "lot_id")


def _pieces(found: Picture) -> None:
    """What was sawn for steps, with what was spoiled of it. Two queries."""
    columns = tuple(f"piece__{name}" for name in STEP)
    rows = CutPiece.objects.filter(of_items("cut__lot__item", found.items), later=False, cut__sawn_on__isnull=False)
    spoiled: dict[int, int] = defaultdict(int)
    for line, count in rows.filter(spoiled__isnull=False).values_list("id", "spoiled__count"):
        spoiled[line] += count
    for row in rows.order_by("id").values_list(*columns, *_PIECE):
        pk, code, count, on, by, cut, lot, made = row[WIDE:]
        found.pieces.append(PieceRow(pk, _step(found, row), code, count, spoiled[pk], on, by, cut, lot, made))


_MARK = (
    *("id", "lot_id", "position__part", "position__number", "position__assembly_id", "position__assembly__name"),
    *("position__assembly__project__code", "position__assembly__project__name", "position__assembly__project__bench_id"),
    *("position__assembly__project__bench__code", "position__assembly__project__bench__name"),
    *("on", "ended_on", "by__name", "ended_why"),
)


def _marks(found: Picture) -> None:
    rows = Mark.objects.filter(of_items("lot__item", found.items), lot__isnull=False).order_by("id")
    found.marks = [MarkRow(*row) for row in rows.values_list(*_MARK)]


def _unsaid(found: Picture) -> None:
    """What done steps need and no movement says a lot of: loaded as done, finished without movements, or left out of a finish."""
    said = _said(found)
    swaps = {
        (step, wanted): (item, code)
        for step, wanted, item, code in Substitution.objects.filter(withdrawn_at=None, step__done=True).values_list(
            "step_id", "wanted_id", "served_by_id", "served_by__code"
        )
    }
    kept: dict[tuple[int, int], Unsaid] = {}
    for why, rows in _needs(found.items, {step for step, _ in swaps}):
        for row in rows:
            step, (item, code) = row[0], swaps.get((row[0], row[WIDE]), row[WIDE : WIDE + 2])
            if (step, item) in said or (step, item) in kept or (found.items is not None and item not in found.items):
                continue
            kept[step, item] = Unsaid(_step(found, row), item, code, why)
    found.unsaid = list(kept.values())


def _said(found: Picture) -> set[tuple[int, int]]:
    """Steps and items of which a movement says a lot."""
    said: set[tuple[int, int]] = set()
    for out in found.walk.outs:
        item = found.lots[out.lot].item_id
        if (finish := found.finishes.get(out.ref)) is not None:
            said.add((finish.step, item))
        elif (mix := found.mixes.get(out.ref)) is not None:
            said.update((share.step, item) for share in mix.shares)
    said.update((piece.step, found.lots[piece.lot].item_id) for piece in found.pieces if piece.lot in found.lots)
    return said


def _needs(items: frozenset[int] | None, swapped: Collection[int]) -> Iterable[tuple[str, QuerySet[Any, tuple[Any, ...]]]]:
    """Step and item of each need of a step that is done; of a step with a substitution whatever it asks for. Four queries."""

    def rows(model: type[Any], item: str) -> QuerySet[Any, tuple[Any, ...]]:
        wanted = of_items(item, items)
        if items is not None and swapped:
            wanted |= Q(step__in=list(swapped)[:MOST_NAMED])
        kept = model.objects.filter(wanted, step__done=True).exclude(**{f"{item}__kind__in": RETURNED})
        found: QuerySet[Any, tuple[Any, ...]] = kept.values_list(*STEP, f"{item}_id", f"{item}__code")
        return found

    yield "calls for", rows(CallOut, "item")
    yield "is riveted with", rows(RivetRow, "rivet")
    yield "is sealed with", rows(Seam, "sealant")
    yield "has pieces cut from", rows(Piece, "blank__item")


def refs_of(where: Mapping[str, Any]) -> Q:
    """A filter of movements: those of the finishes and batches of some steps. `where` says which, as a filter of steps."""
    on = {f"step__{name}": value for name, value in where.items()}
    finishes = Finish.objects.filter(**on, taken_back_at=None).values(name=Concat(Value(FINISH), Cast("pk", CharField())))
    mixes = MixShare.objects.filter(**on, mix__taken_back_at=None).values(name=Concat(Value(MIX), Cast("mix_id", CharField())))
    return Q(ref__in=finishes) | Q(ref__in=mixes)


def items_of(where: Mapping[str, Any]) -> set[int]:
    """The items that some steps took or need, by whatever way. Seven queries."""
    on = {f"step__{name}": value for name, value in where.items()}
    found = set(Movement.objects.filter(refs_of(where)).order_by().values_list("lot__item_id", flat=True).distinct())
    for model, item in ((CallOut, "item_id"), (RivetRow, "rivet_id"), (Seam, "sealant_id"), (Piece, "blank__item_id")):
        found |= set(model.objects.filter(**on).order_by().values_list(item, flat=True).distinct())
    found |= set(Substitution.objects.filter(**on, withdrawn_at=None).order_by().values_list("served_by_id", flat=True).distinct())
    cut = {f"piece__{name}": value for name, value in on.items()}
    sawn = CutPiece.objects.filter(**cut, cut__sawn_on__isnull=False)
    return found | set(sawn.order_by().values_list("cut__lot__item_id", flat=True).distinct())
