"""Reads of blanks, pieces and cuts: a fixed number of queries whatever the size."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django.db.models import F, OuterRef, Prefetch, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from buildplan.cutting.models import Blank, Cut, CutPiece, CuttingRules, Measured, Operation, OperationDone, Piece, Spoiled
from buildplan.cutting.stranding import Material, Need, Saw
from buildplan.cutting.wanted import Sizes, Takes, Uncut, blanks_by_step
from buildplan.plan.calc import STEP_REF
from buildplan.plan.models import Step
from buildplan.sealing.calc import MM
from inventory.catalogue.models import RETURNED
from inventory.common.fields import QuantityField
from inventory.models import Bench, Holding, Item, Lot, Place, SetAside
from inventory.stock.models import State

NOTHING = Decimal(0)


def mm(value: Fraction | None, unit: str) -> Fraction | None:
    """A size in millimetres."""
    return None if value is None else value * MM[unit]


@dataclass(frozen=True, slots=True)
class Rules:
    """How the workshop saws, in millimetres."""

    kerf: Fraction = Fraction(0)
    end_trim: Fraction = Fraction(0)
    allowance: Fraction = Fraction(0)


def rules() -> Rules:
    """The workshop's own, nothing where nothing is set. One query."""
    found = CuttingRules.objects.first()
    return Rules() if found is None else rules_of(found)


def rules_of(row: CuttingRules) -> Rules:
    """In millimetres."""
    factor = MM[row.unit]
    return Rules(row.kerf * factor, row.end_trim * factor, row.allowance * factor)


def sizes_of(blank: Blank, saws: Rules) -> Sizes:
    """A blank as the arithmetic takes it: its own kerf and trim, else the workshop's."""
    kerf, trim = mm(blank.kerf, blank.unit), mm(blank.end_trim, blank.unit)
    return Sizes(
        blank.form,
        mm(blank.length, blank.unit),
        mm(blank.width, blank.unit),
        blank.grain,
        saws.kerf if kerf is None else kerf,
        saws.end_trim if trim is None else trim,
    )


def piece_mm(piece: Piece, saws: Rules) -> tuple[Fraction | None, Fraction | None]:
    """Length and width as sawn: with the allowance of the piece, else of the workshop. By yield a size isn't asked."""
    unit = piece.unit or "mm"
    own = mm(piece.allowance, unit)
    more = saws.allowance if own is None else own
    length, width = mm(piece.length, unit), mm(piece.width, unit)
    return (None if length is None else length + more), (None if width is None else width + more)


def group_of(piece: Piece) -> str:
    """What shares a blank by yield: pieces of one stated cut, else those of one code, within a project."""
    name = f"cut {piece.cut}" if piece.cut else f"piece {piece.code}"
    return f"{piece.step.project_id} {name.upper()}"


# What of each piece is cut, spoiled, promised


@dataclass(frozen=True, slots=True)
class Standing:
    """How far a step's piece is: `made` is good and sawn, `planned` held in a cut that isn't sawn yet."""

    piece: Piece
    made: int
    spoiled: int
    planned: int

    @property
    def uncut(self) -> int:
        """What no cut gives yet."""
        return max(0, self.piece.count - self.made - self.planned)

    @property
    def to_saw(self) -> int:
        """What isn't there yet, planned or not."""
        return max(0, self.piece.count - self.made)


_PIECE = ("step__project", "step__section", "blank__item", "item")


def pieces_of(**where: Any) -> list[Standing]:
    """Pieces with how far each is, by step and position. Two queries."""
    return standing(Piece.objects.filter(**where))


def standing(rows: QuerySet[Piece]) -> list[Standing]:
    """These pieces with how far each is. Two queries, one where there is none."""
    return _standing(rows)[0]


def _standing(rows: QuerySet[Piece]) -> tuple[list[Standing], list["_Line"]]:
    """The same, with what cuts give of them."""
    found = list(rows.select_related(*_PIECE).order_by("step__project__code", "step__position", "position", "pk"))
    if not found:
        return [], []
    made: dict[int, int] = defaultdict(int)
    spoiled: dict[int, int] = defaultdict(int)
    planned: dict[int, int] = defaultdict(int)
    lines = list(_lines([one.pk for one in found]))
    for line in lines:
        if line.later and line.sawn:
            continue  # what was promised then is in the cut of what was left
        if line.sawn:
            made[line.piece] += line.count - line.spoiled
            spoiled[line.piece] += line.spoiled
        elif line.holds:
            planned[line.piece] += line.count
    return [Standing(one, made[one.pk], spoiled[one.pk], planned[one.pk]) for one in found], lines


@dataclass(frozen=True, slots=True)
class _Line:
    """What a cut that stands gives of a piece. `holds`: the lot it is planned on is still there and good."""

    piece: int
    cut: int
    count: int
    later: bool
    sawn: bool
    spoiled: int
    holds: bool
    item: int
    quantity: Decimal
    step: int


_OF_LINE = (
    "piece_id",
    "cut_id",
    "count",
    "later",
    "cut__sawn_at",
    "lost",
    "cut__lot__state",
    "there",
    "cut__lot__item_id",
    "cut__quantity",
)


def _lines(pieces: Collection[int]) -> Iterator[_Line]:
    rows = CutPiece.objects.filter(piece__in=pieces, cut__undone_at=None)
    there = Holding.objects.filter(lot=OuterRef("cut__lot")).values("lot").annotate(total=Sum("quantity")).values("total")
    lost = Spoiled.objects.filter(line=OuterRef("pk")).values("line").annotate(total=Sum("count")).values("total")
    rows = rows.annotate(there=Subquery(there, output_field=QuantityField()), lost=Coalesce(Subquery(lost), 0))
    for piece, cut, count, later, sawn, spoiled, state, held, item, quantity, step in rows.order_by("pk").values_list(
        *_OF_LINE, "cut__step_id"
    ):
        holds = state == State.GOOD and (held or NOTHING) >= quantity
        yield _Line(piece, cut, count, later, sawn is not None, spoiled, holds, item, quantity, step)


# What the order sheet asks


@dataclass(frozen=True, slots=True)
class BlankNeed:
    """What a step takes of a blank, or of an offcut that a cut is planned on."""

    item: int
    step: int
    quantity: Decimal
    note: str
    source: str


@dataclass(frozen=True, slots=True)
class Wanted:
    """Blanks that steps need, and by (step, item) how many pieces of an item are made here and are not cut yet."""

    blanks: tuple[BlankNeed, ...] = ()
    made_here: Mapping[tuple[int, int], tuple[int, str]] = field(default_factory=dict)


def wanted(where: Mapping[str, Any], ranks: Mapping[int, Any], *, apart: bool) -> Wanted:
    """What the uncut pieces of some steps take. Three queries, one where no step needs a piece.

    `ranks` are the steps that count, with what they are sorted by. `apart`: each step is judged as if it were alone.
    """
    every, lines = _standing(Piece.objects.filter(**where))
    found = [one for one in every if one.piece.step_id in ranks]
    if not found:
        return Wanted()
    found.sort(key=lambda one: ranks[one.piece.step_id])
    saws = rules()
    by_blank: dict[int, list[Standing]] = defaultdict(list)
    for one in found:
        by_blank[one.piece.blank_id].append(one)
    needs = [need for of in by_blank.values() for need in _of_blank(of, saws, apart=apart)]
    return Wanted((*_planned(lines, ranks), *needs), dict(_made_here(found)))


def _of_blank(of: Sequence[Standing], saws: Rules, *, apart: bool) -> Iterator[BlankNeed]:
    blank = of[0].piece.blank
    sizes = sizes_of(blank, saws)
    groups: dict[int, list[Standing]] = defaultdict(list)
    for one in of:
        groups[one.piece.step_id if apart else 0].append(one)
    for group in groups.values():
        for takes in blanks_by_step([_uncut(one, saws) for one in group if one.uncut], sizes):
            yield _need(takes, blank)


def _need(takes: Takes, blank: Blank) -> BlankNeed:
    blanks = "1 blank" if takes.blanks == 1 else f"{takes.blanks} blanks"
    note = f"{blanks} for {takes.note}, less what planned cuts give; offcuts without a planned cut don't count"
    return BlankNeed(blank.item_id, takes.step, takes.blanks * blank.quantity, note, "pieces of the plan, by yield or by cut plan")


def _uncut(one: Standing, saws: Rules) -> Uncut:
    piece = one.piece
    length, width = piece_mm(piece, saws)
    return Uncut(piece.step_id, piece.code, one.uncut, piece.per_blank, group_of(piece), length, width, piece.grain)


def _planned(lines: Iterable[_Line], ranks: Mapping[int, Any]) -> Iterator[BlankNeed]:
    """What planned cuts hold, as needs of the steps that they are held for: netting serves each from what is set aside for it."""
    cuts = {line.cut: line for line in lines if line.holds and not line.sawn}
    for pk, line in cuts.items():
        if line.step in ranks:
            yield BlankNeed(line.item, line.step, line.quantity, "held for a planned cut", f"cut {pk}, planned")


def _made_here(found: Iterable[Standing]) -> Iterator[tuple[tuple[int, int], tuple[int, str]]]:
    totals: dict[tuple[int, int], tuple[int, str]] = {}
    for one in found:
        if one.piece.item_id is not None and one.to_saw:
            key = one.piece.step_id, one.piece.item_id
            before, _ = totals.get(key, (0, ""))
            totals[key] = before + one.to_saw, f"to be cut from {one.piece.blank.item.code}"
    return iter(totals.items())


# Blanks


@dataclass(frozen=True, slots=True)
class Lies:
    """A blank or offcut at hand: a lot in a place, and what of it is promised to whom. `free` is whole blanks that nobody holds."""

    lot: Lot
    place: Place
    there: Decimal
    free: Decimal
    whole: bool
    measured: Measured | None
    promised: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BlankRow:
    """A blank as the list shows it."""

    blank: Blank
    there: Decimal
    promised: Decimal
    offcuts: int
    uncut: int
    planned: int


def blanks(**where: Any) -> list[BlankRow]:
    """Every blank of the workshop, or some, with what there is, what is promised and what is still to cut. Six queries at most."""
    found = list(Blank.objects.filter(**where).select_related("item", "offcut").order_by("item__code"))
    there = _there(found)
    pieces: dict[int, list[Standing]] = defaultdict(list)
    for one in pieces_of(step__done=False, **({"blank__in": found} if where else {})):
        pieces[one.piece.blank_id].append(one)
    promised = dict(
        Cut.objects.filter(sawn_at=None, undone_at=None, lot__item=F("blank__item"))
        .values_list("blank")
        .annotate(total=Sum("quantity"))
        .order_by()
    )
    return [
        BlankRow(
            blank,
            there.get(blank.item_id, NOTHING),
            promised.get(blank.pk, NOTHING),
            int(there.get(blank.offcut_id, NOTHING)) if blank.offcut_id else 0,
            sum(one.uncut for one in pieces[blank.pk]),
            sum(one.planned for one in pieces[blank.pk]),
        )
        for blank in found
    ]


def _there(found: Iterable[Blank]) -> dict[int | None, Decimal]:
    items = {item for blank in found for item in (blank.item_id, blank.offcut_id) if item}
    rows = Holding.objects.filter(lot__item__in=items, lot__state=State.GOOD, quantity__gt=0)
    return dict(rows.values_list("lot__item").annotate(total=Sum("quantity")).order_by())


@dataclass(frozen=True, slots=True)
class Promise:
    """What a lot is set aside for."""

    quantity: Decimal
    project: str
    step: str
    planned_on: date | None
    cuts: tuple[int, ...]
    pieces: str

    @property
    def text(self) -> str:
        """As a person reads it."""
        when = f", planned {self.planned_on}" if self.planned_on else ""
        what = f": {self.pieces}" if self.pieces else ""
        return f"promised to {self.step} of {self.project}{when}{what}"


def promises(lots: Collection[int]) -> dict[int, tuple[Promise, ...]]:
    """What is set aside of lots, for which steps, with the planned cuts. Three queries, one where nothing is."""
    rows = SetAside.objects.filter(lot__in=lots, ref__startswith=STEP_REF).order_by("pk").values_list("lot_id", "ref", "quantity")
    held = [(lot, int(ref.removeprefix(STEP_REF)), quantity) for lot, ref, quantity in rows]
    if not held:
        return {}
    steps = {step.pk: step for step in Step.objects.filter(pk__in={step for _, step, _ in held}).select_related("project")}
    cuts: dict[tuple[int, int], list[tuple[int, str]]] = defaultdict(list)
    lines = CutPiece.objects.filter(cut__lot__in=lots, cut__sawn_at=None, cut__undone_at=None).order_by("cut_id", "pk")
    for lot, step, cut, count, code in lines.values_list("cut__lot_id", "cut__step_id", "cut_id", "count", "piece__code"):
        cuts[lot, step].append((cut, f"{count} of {code}"))
    found: dict[int, list[Promise]] = defaultdict(list)
    for lot, step, quantity in held:
        if (named := steps.get(step)) is not None:
            of = cuts[lot, step]
            ids = tuple(dict.fromkeys(cut for cut, _ in of))
            found[lot].append(Promise(quantity, named.project.code, named.code, named.planned_on, ids, ", ".join(text for _, text in of)))
    return {lot: tuple(of) for lot, of in found.items()}


def lying(blank: Blank, bench: Bench | None = None) -> list[Lies]:
    """The blanks and offcuts at hand, whole ones first, of one bench and the shared ones or of all. Five queries."""
    which = Q(lot__item__in=[item for item in (blank.item_id, blank.offcut_id) if item], quantity__gt=0, place__hands=None)
    if bench is not None:
        which &= Q(lot__bench=bench) | Q(lot__bench__shared=True)
    rows = list(Holding.objects.filter(which).select_related("lot__bench", "lot__item", "place").order_by("lot_id", "place__path"))
    lots = {row.lot_id for row in rows}
    measured = {one.lot_id: one for one in Measured.objects.filter(lot__in=lots).select_related("mother")}
    promised = promises(lots)
    taken = {lot: sum((one.quantity for one in of), NOTHING) for lot, of in promised.items()}
    found = []
    for row in rows:
        held = min(row.quantity, taken.get(row.lot_id, NOTHING))
        taken[row.lot_id] = taken.get(row.lot_id, NOTHING) - held
        texts = tuple(one.text for one in promised.get(row.lot_id, ()))
        whole = row.lot.item_id == blank.item_id
        found.append(Lies(row.lot, row.place, row.quantity, row.quantity - held, whole, measured.get(row.lot_id), texts))
    return sorted(found, key=lambda one: (not one.whole, one.lot.pk))


# For the stranding check


def saw_of(sizes: Sizes) -> Saw:
    """How the arithmetic saws it."""
    return Saw(sizes.form, sizes.kerf)


def material(blank: Blank, lies: Iterable[Lies], sizes: Sizes) -> list[Material]:
    """What lies there free, by lot: whole blanks less their end trim, offcuts as measured."""
    found: dict[int, Material] = {}
    for one in lies:
        per = blank.quantity if one.whole else Decimal(1)
        count = int(one.free // per)
        if count and one.lot.state == State.GOOD:
            before = found.get(one.lot.pk)
            found[one.lot.pk] = _material(one, sizes, count + (before.count if before else 0))
    return list(found.values())


def _material(one: Lies, sizes: Sizes, count: int) -> Material:
    found = material_of(one.lot, one.measured, sizes, whole=one.whole)
    return found._replace(count=count, name=f"{found.name} in {one.place.path}")


def material_of(lot: Lot, measured: Measured | None, sizes: Sizes, *, whole: bool) -> Material:
    """One blank or offcut of a lot: as measured, else a whole blank as it is said to be, less its end trim."""
    length, width, grain, trim = sizes.length, sizes.width, sizes.grain, sizes.end_trim
    if measured is not None and measured.length is not None:
        length, width = mm(measured.length, measured.unit), mm(measured.width, measured.unit)
        grain = measured.grain or grain
    elif not whole:
        length = width = None
    trim = trim if whole else Fraction(0)
    return Material(
        lot.pk,
        f"{'lot' if whole else 'the offcut of lot'} {lot.code or f'no. {lot.pk}'}",
        1,
        whole,
        None if length is None else max(Fraction(0), length - trim),
        None if width is None else max(Fraction(0), width - trim),
        grain,
        () if measured is None else tuple((group, code, many) for group, code, many in measured.yields),
    )


def still_needed(blank: Blank, bench: Bench, saws: Rules) -> list[Need]:
    """The pieces of the bench's plans that no cut gives yet, the step that comes first first. Two queries."""
    found = pieces_of(blank=blank, step__project__bench=bench, step__done=False)
    found.sort(key=lambda one: (one.piece.step.planned_on or date.max, one.piece.step.project_id, one.piece.step.position))
    return [need_of(one.piece, one.uncut, saws) for one in found if one.uncut]


def group_needs(blank: Blank, group: str) -> list[Need]:
    """The pieces that share a blank by yield, whatever is cut of them. One query."""
    rows = (
        Piece.objects.filter(blank=blank, step__project_id=int(group.split(maxsplit=1)[0])).exclude(per_blank=None).select_related("step")
    )
    return [need for need in (need_of(piece, piece.count, Rules()) for piece in rows) if need.group == group]


def need_of(piece: Piece, count: int, saws: Rules) -> Need:
    """So many of a piece, for the arithmetic."""
    length, width = piece_mm(piece, saws)
    name = f"{piece.code} for {piece.step.code}"
    return Need(piece.pk, name, count, piece.per_blank, group_of(piece), length, width, piece.grain, piece.code.upper())


# Cuts


def cut_rows() -> QuerySet[Cut]:
    """Cuts as pages show them, the latest first."""
    lines = CutPiece.objects.select_related("piece__step__project", "piece__item", "lot").order_by("later", "pk")
    rows = Cut.objects.select_related(
        "blank__item",
        "blank__offcut",
        "lot__bench",
        "lot__item",
        "lot__measured__mother",
        "step__project__bench",
        "by",
        "sawn_by",
        "undone_by",
    )
    return rows.prefetch_related(
        Prefetch("pieces", lines), Prefetch("pieces__spoiled", Spoiled.objects.select_related("by").order_by("pk"))
    ).order_by("-pk")


def made_by(cut: Cut) -> list[Measured]:
    """The lots that came out of a cut. One query."""
    return list(Measured.objects.filter(cut=cut).select_related("lot__item").order_by("pk"))


# Operations


@dataclass(frozen=True, slots=True)
class Budget:
    """An operation on a step's pieces: how many of how many, what is done, what is left and what was done too often."""

    operation: Operation
    done: int

    @property
    def left(self) -> int:
        """Still to do."""
        return max(0, self.operation.count - self.done)

    @property
    def over(self) -> int:
        """Done to more pieces than were meant."""
        return max(0, self.done - self.operation.count)


@dataclass(frozen=True, slots=True)
class Worked:
    """All of one operation on a piece: what stays as it is must, so that longer ones aren't lost among shorter."""

    name: str
    of: int
    lines: tuple[Budget, ...]

    @property
    def untouched(self) -> int:
        """Pieces on which it isn't done."""
        return self.of - sum(one.done for one in self.lines)

    @property
    def meant(self) -> int:
        """Pieces on which it is never to be done."""
        return self.of - sum(one.operation.count for one in self.lines)

    @property
    def spent(self) -> int:
        """How many that should have stayed as they are were worked on."""
        return max(0, self.meant - self.untouched)


def operations(pieces: Collection[int]) -> dict[int, tuple[Worked, ...]]:
    """What is to be done to pieces, by piece, then by operation. Two queries."""
    done = dict(
        OperationDone.objects.filter(operation__piece__in=pieces, undone_at=None)
        .values_list("operation")
        .annotate(total=Sum("count"))
        .order_by()
    )
    found: dict[tuple[int, str], list[Budget]] = defaultdict(list)
    counts: dict[int, int] = {}
    for row in Operation.objects.filter(piece__in=pieces).select_related("piece").order_by("piece_id", "pk"):
        counts[row.piece_id] = row.piece.count
        found[row.piece_id, row.name.casefold()].append(Budget(row, done.get(row.pk, 0)))
    by_piece: dict[int, list[Worked]] = defaultdict(list)
    for (piece, _), lines in found.items():
        by_piece[piece].append(Worked(lines[0].operation.name, counts[piece], tuple(lines)))
    return {piece: tuple(of) for piece, of in by_piece.items()}


def operation_rows() -> QuerySet[Operation]:
    """Operations with their pieces, and in `standing` what was done and still counts. Two queries."""
    done = OperationDone.objects.filter(undone_at=None).select_related("by").order_by("on", "pk")
    return Operation.objects.select_related("piece__step__project__bench__workshop").prefetch_related(
        Prefetch("done", queryset=done, to_attr="standing")
    )


def budget_of(row: Operation) -> Budget:
    """The budget of a row of `operation_rows`."""
    standing: list[OperationDone] = row.standing  # type: ignore[attr-defined]  # prefetched
    return Budget(row, sum(one.count for one in standing))


def blank_of(item: int) -> Blank | None:
    """The blank that an item is, or is an offcut of. One query."""
    return Blank.objects.filter(Q(item=item) | Q(offcut=item)).select_related("item").first()


def item_codes() -> list[tuple[str, str]]:
    """Codes and names of the items that may be a blank or a piece, for a form to offer. One query."""
    return list(Item.objects.exclude(kind__in=RETURNED).order_by("code").values_list("code", "name"))


def blank_choices() -> list[tuple[int, str]]:
    """Blanks with their names, for a form to choose from. One query."""
    return [(pk, f"{code} {name}") for pk, code, name in Blank.objects.order_by("item__code").values_list("pk", "item__code", "item__name")]


def steps_cut(steps: Collection[int]) -> set[int]:
    """Those of some steps that a cut was ever planned for, or whose pieces were worked on: part of the record. Two queries."""
    found = set(CutPiece.objects.filter(piece__step__in=steps).values_list("piece__step_id", flat=True))
    found |= set(OperationDone.objects.filter(operation__piece__step__in=steps).values_list("operation__piece__step_id", flat=True))
    return found | set(Cut.objects.filter(step__in=steps).values_list("step_id", flat=True))
