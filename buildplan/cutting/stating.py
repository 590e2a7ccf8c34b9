"""Writing down what blanks there are, how the workshop saws, and what steps need from blanks."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from decimal import Decimal
from fractions import Fraction

from django.db import transaction
from django.db.models import Max

from buildplan.cutting.models import Blank, Cut, CutPiece, CuttingRules, Form, Grain, OperationDone, Piece
from buildplan.cutting.problems import CutHere
from buildplan.cutting.queries import mm
from buildplan.hardware.services import Gone, checked_code, kept_exactly, lock_to_do, within
from buildplan.plan.models import Hand, Project, Step
from buildplan.plan.services import refuse_closed_rows
from buildplan.sealing.calc import MM
from inventory.catalogue.services import MOST_CODE, MOST_NAME, ItemData, save_items
from inventory.catalogue.units import UnitError, ratio
from inventory.common.fields import rounded
from inventory.common.history import assign, changed_by, put_many
from inventory.common.problems import FieldProblem
from inventory.common.quantities import positive
from inventory.common.texts import BadText, optional
from inventory.models import Item, Member, Workshop
from inventory.workshop import policy
from inventory.workshop.services import lock

MOST_COUNT = 100_000
MOST_PER_BLANK = 10_000
MOST_MM = Fraction(100_000)  # 100 m: past any bar, so that a wrong unit shows
OFFCUT = "-OFFCUT"
LENGTHS = ("length", "width", "thickness")


@dataclass(frozen=True, slots=True)
class BlankData:
    """What is said of a blank. Sizes in `unit`; None is not known."""

    form: str
    unit: str = "mm"
    length: Fraction | None = None
    width: Fraction | None = None
    thickness: Fraction | None = None
    grain: str = ""
    kerf: Fraction | None = None
    end_trim: Fraction | None = None


@dataclass(frozen=True, slots=True)
class PlannedPiece:
    """A piece as a plan states it. `step` is a code of the project, in any case; sizes as written, in `unit`."""

    step: str
    code: str
    blank_id: int
    count: int = 1
    item_id: int | None = None
    length: Fraction | None = None
    width: Fraction | None = None
    unit: str = ""
    allowance: Fraction | None = None
    grain: str = ""
    per_blank: int | None = None
    cut: str = ""
    hand: str = ""

    def fields(self) -> dict[str, object]:
        """What is set on the piece's row."""
        return {name: value for name, value in asdict(self).items() if name != "step"}


@transaction.atomic
def set_rules(*, workshop: Workshop, unit: str, kerf: Fraction, end_trim: Fraction, allowance: Fraction, by: Member) -> CuttingRules:  # noqa: PLR0913
    """How the workshop saws, where a blank or a piece says nothing else."""
    policy.own(by, workshop)
    policy.require(by, "manage")
    given = {"kerf": kerf, "end_trim": end_trim, "allowance": allowance}
    sizes = {name: size_of(name, size, checked_unit(unit), least=0) for name, size in given.items()}
    said: dict[str, object] = {"unit": unit, **sizes}
    lock(workshop)
    found = CuttingRules.objects.filter(workshop=workshop).first() or CuttingRules(workshop=workshop)
    if assign(found, said) or found.pk is None:
        changed_by(found, by).save()
    return found


# Blanks


@transaction.atomic
def save_blank(*, item: Item, said: BlankData, by: Member) -> Blank:
    """Say that pieces are cut from an item, and how large a whole one is.

    A bar that is counted by its length is one blank of `length`; whatever is counted each is one blank each.
    """
    policy.require(by, "keep_stock")
    policy.own(by, item)
    fields = blank_fields(item, said)
    lock(item.workshop)
    found = Blank.objects.filter(item=item).first() or Blank(workshop_id=item.workshop_id, item=item)
    if Blank.objects.filter(offcut=item).exists():
        raise FieldProblem("item", f"{item.code} is what the offcuts of another blank are: name that one")
    if found.offcut_id is None:
        found.offcut = _offcut_item(item, by)
    if assign(found, fields) or found.pk is None:
        changed_by(found, by).save()
    return found


@transaction.atomic
def remove_blank(*, blank: Blank, by: Member) -> None:
    """Nothing is cut from this item any more. Refused where a plan needs pieces of it, or it was ever cut."""
    policy.require(by, "keep_stock")
    policy.own(by, blank)
    found = Blank.objects.select_for_update().select_related("item").get(pk=blank.pk)
    if Cut.objects.filter(blank=found).exists():
        raise CutHere(f"{found.item.code} was cut, or a cut of it was planned: the record names it, so it stays")
    if piece := Piece.objects.filter(blank=found).select_related("step").first():
        raise CutHere(f"{piece.step.code} needs {piece.code} from {found.item.code}: take that piece out first")
    changed_by(found, by).delete()


def blank_fields(item: Item, said: BlankData) -> dict[str, object]:
    """What is set on a blank's row, where that makes sense; a `FieldProblem` says what doesn't."""
    if said.form not in Form.values:
        raise FieldProblem("form", f"{said.form!r} is no form of a blank: there are {', '.join(Form.values)}")
    unit = checked_unit(said.unit)
    fields: dict[str, object] = {"form": said.form, "unit": unit, "grain": checked_grain(said.grain)}
    fields |= {name: _maybe(name, getattr(said, name), unit) for name in LENGTHS}
    fields |= {name: _maybe(name, getattr(said, name), unit, least=0) for name in ("kerf", "end_trim")}
    if said.form == Form.BAR and said.width is not None:
        raise FieldProblem("width", "a bar is cut along its length alone: leave the width out, or call it a sheet")
    if said.form == Form.SHEET and (said.length is None) != (said.width is None):
        raise FieldProblem("width", "a sheet has a length and a width: give both, or neither where nobody knows")
    _refuse_trim(said, unit)
    return fields | {"quantity": _one_blank(item, said, unit)}


def _offcut_item(item: Item, by: Member) -> Item:
    """What offcuts of it are: an item of their own, counted each, so that none is ever taken for a whole blank."""
    code, name = f"{item.code[: MOST_CODE - len(OFFCUT)]}{OFFCUT}", f"Offcut of {item.name}"[:MOST_NAME]
    return save_items(items=[ItemData(code, name, item.kind, "ea")], by=by, stated=()).items[0]


def _refuse_trim(said: BlankData, unit: str) -> None:
    trim, length = mm(said.end_trim, unit), mm(said.length, unit)
    if trim is not None and length is not None and trim >= length:
        raise FieldProblem("end_trim", "the end trim is as long as the blank: check both, and their unit")


def _one_blank(item: Item, said: BlankData, unit: str) -> Decimal:
    """What one blank is in the stock unit: 1 of what is counted each, its length of what is measured by it."""
    try:
        factor = ratio(unit, item.unit)
    except UnitError:
        if item.unit == "ea":
            return Decimal(1)
        raise FieldProblem(
            "item", f"{item.code} is counted in {item.unit}: pieces are cut from what is counted each or by its length"
        ) from None
    if said.length is None:
        raise FieldProblem("length", f"{item.code} is counted in {item.unit}: say how long one is, so that one can be told from two")
    return positive(rounded(said.length * factor))


# Pieces


@transaction.atomic
def put_pieces(*, project: Project, pieces: Sequence[PlannedPiece], by: Member) -> list[str]:
    """Make the project's pieces what `pieces` say, in place, and give back those removed, as `STEP PIECE`.

    Refused where one that a cut gives would be removed, or would come from another blank.
    """
    policy.require(by, "plan", project.bench)
    steps = {code.upper(): pk for pk, code in Step.objects.filter(project=project).values_list("pk", "code")}
    found = Piece.objects.filter(step__project=project).select_related("step")
    present = {(piece.step_id, piece.code.upper()): piece for piece in found}
    wanted = {
        (steps[piece.step.upper()], piece.code.upper()): {
            **piece.fields(),
            "workshop_id": project.workshop_id,
            "step_id": steps[piece.step.upper()],
            "position": position,
        }
        for position, piece in enumerate(pieces, start=1)
    }
    _refuse_cut_away(present, wanted)
    refuse_closed_rows(project, present, wanted, "pieces")
    return [f"{piece.step.code} {piece.code}" for piece in put_many(Piece, present, wanted, by)]


def _refuse_cut_away(present: Mapping[tuple[int, str], Piece], wanted: Mapping[tuple[int, str], Mapping[str, object]]) -> None:
    kept = named_pieces([piece.pk for piece in present.values()])
    for key, piece in present.items():
        if piece.pk in kept and (key not in wanted or wanted[key]["blank_id"] != piece.blank_id):
            raise CutHere(f"{piece.code} of {piece.step.code} was cut, or a cut of it is planned: keep its row, and its blank")


def named_pieces(pieces: Sequence[int]) -> set[int]:
    """Those of some pieces that a cut names or that were worked on. Two queries."""
    cut = CutPiece.objects.filter(piece__in=pieces).values_list("piece_id", flat=True)
    worked = OperationDone.objects.filter(operation__piece__in=pieces).values_list("operation__piece_id", flat=True)
    return {*cut, *worked}


@transaction.atomic
def save_piece(*, step: Step, stated: PlannedPiece, by: Member, piece: Piece | None = None) -> Piece:
    """Put a piece into `step`, or make `piece` of it say what is stated. A `FieldProblem` names what doesn't do.

    Refused for a step that is done, and for another blank once a cut names the piece.
    """
    policy.require(by, "plan", step.project.bench)
    policy.own(by, step)
    step = lock_to_do(step, "its pieces")
    found = Piece(workshop_id=step.workshop_id, step=step, position=_next_position(step)) if piece is None else _piece_now(piece, step)
    blank = Blank.objects.select_related("item").filter(pk=stated.blank_id).first()
    if blank is None:
        raise FieldProblem("blank", "that is no blank of this workshop: say first that pieces are cut from it")
    said = check_piece(stated, blank)
    if Piece.objects.filter(step=step, code__iexact=str(said["code"])).exclude(pk=found.pk).exists():
        raise FieldProblem("code", f"{said['code']} is a piece of {step.code} already: give each piece of a step its own code")
    if found.pk and found.blank_id != blank.pk and named_pieces([found.pk]):
        raise FieldProblem("blank", f"a cut of {found.code} is planned or sawn: it stays with its blank")
    if assign(found, said) or found.pk is None:
        changed_by(found, by).save()
    return found


@transaction.atomic
def remove_piece(*, piece: Piece, by: Member) -> None:
    """Take a piece out of its step; its history stays. Refused for a step that is done, and for a piece that a cut names."""
    policy.require(by, "plan", piece.step.project.bench)
    policy.own(by, piece)
    step = lock_to_do(piece.step, "its pieces")
    found = _piece_now(piece, step)
    if named_pieces([found.pk]):
        raise CutHere(f"{found.code} of {step.code} was cut or worked on, or a cut of it was planned: the record names it, so it stays")
    changed_by(found, by).delete()


def check_piece(stated: PlannedPiece, blank: Blank) -> dict[str, object]:
    """What is set on a piece's row, where it can be cut from that blank; a `FieldProblem` says what can't."""
    said = stated.fields() | {
        "code": checked_code(stated.code, "piece"),
        "count": within("count", stated.count, MOST_COUNT),
        "unit": checked_unit(stated.unit or "mm") if stated.unit else "",
        "grain": checked_grain(stated.grain),
        "cut": _name("cut", stated.cut),
    }
    if stated.hand and stated.hand not in Hand.values:
        raise FieldProblem("hand", f"{stated.hand!r} is no hand: there are {', '.join(Hand.values)}")
    unit = stated.unit or "mm"
    said |= {name: _maybe(name, getattr(stated, name), unit) for name in ("length", "width")}
    said["allowance"] = _maybe("allowance", stated.allowance, unit, least=0)
    if stated.per_blank is not None:
        said["per_blank"] = within("per_blank", stated.per_blank, MOST_PER_BLANK)
    else:
        _refuse_unsized(stated, blank)
    return said


def _refuse_unsized(stated: PlannedPiece, blank: Blank) -> None:
    """Without a yield the sizes say what fits: they must be those that the blank is cut along, and smaller than it."""
    if stated.length is None:
        raise FieldProblem("length", f"say how long it is, or how many of it one {blank.item.code} gives")
    if blank.length is None:
        raise FieldProblem("per_blank", f"nobody said how large {blank.item.code} is: say how many of this piece one gives")
    if blank.form == Form.BAR and stated.width is not None:
        raise FieldProblem("width", f"{blank.item.code} is a bar, cut along its length alone: leave the width out")
    if blank.form == Form.SHEET and stated.width is None:
        raise FieldProblem("width", f"{blank.item.code} is a sheet: a piece of it has a width too")
    if stated.cut:
        raise FieldProblem("cut", "pieces of a stated cut come by number: say how many of it one blank gives")
    if stated.grain and not blank.grain:
        raise FieldProblem("grain", f"nobody said which way the grain of {blank.item.code} runs: say that of the blank first")
    _refuse_too_large(stated, blank)


def _refuse_too_large(stated: PlannedPiece, blank: Blank) -> None:
    unit = stated.unit or "mm"
    sides = [size for size in (mm(stated.length, unit), mm(stated.width, unit)) if size is not None]
    room = [size for size in (mm(blank.length, blank.unit), mm(blank.width, blank.unit)) if size is not None]
    if any(side > most for side, most in zip(sorted(sides), sorted(room), strict=False)):
        raise FieldProblem("length", f"this is larger than a whole {blank.item.code}: check the sizes and their unit")


def _piece_now(piece: Piece, step: Step) -> Piece:
    found = Piece.objects.filter(pk=piece.pk, step=step).first()
    if found is None:
        raise Gone(f"piece {piece.code} is no longer in {step.code}: it was removed meanwhile")
    return found


def _next_position(step: Step) -> int:
    last: int | None = Piece.objects.filter(step=step).aggregate(last=Max("position"))["last"]
    return (last or 0) + 1


# Checks


def checked_unit(unit: str) -> str:
    """A unit of length known here."""
    if unit not in MM:
        raise FieldProblem("unit", f"{unit[:20]!r} is no length known here: give {', '.join(MM)}")
    return unit


def checked_grain(grain: str) -> str:
    """Along the length, along the width, or blank."""
    if grain and grain not in Grain.values:
        raise FieldProblem("grain", f"{grain[:20]!r} is no direction of grain: write {' or '.join(Grain.values)}, or leave it blank")
    return grain


def _name(field: str, text: str) -> str:
    try:
        return optional("name", text, 40)
    except BadText as error:
        raise FieldProblem(field, str(error)) from error


def _maybe(field: str, size: Fraction | None, unit: str, *, least: int | None = None) -> Fraction | None:
    return None if size is None else size_of(field, size, unit, least=least)


def size_of(field: str, size: Fraction, unit: str, *, least: int | None = None) -> Fraction:
    """A size that its column holds: over 0, or `least` and more, and no longer than any bar."""
    if (size < least) if least is not None else (size <= 0):
        raise FieldProblem(field, "give 0 or more" if least is not None else "give more than 0")
    if size * MM[unit] > MOST_MM:
        raise FieldProblem(field, f"that is over {MOST_MM // 1000} m: check it, and its unit")
    return kept_exactly(field, size)
