"""What the seams of steps take."""

from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction

from buildplan.sealing import calc
from buildplan.sealing.models import Seam
from inventory.catalogue import units
from inventory.catalogue.models import Kind
from inventory.catalogue.units import UnitError, to_stock_unit
from inventory.common.problems import FieldProblem
from inventory.models import Item

MM = "mm"


def as_stated(seam: Seam) -> calc.Seam:
    """A seam as the arithmetic takes it: its sizes in millimetres, exactly. Raises `UnitError` for a unit that is no length."""
    along = units.ratio(seam.unit or MM, MM)
    across = units.ratio(seam.size_unit, MM) if seam.size_unit else along
    return calc.Seam(
        shape=seam.shape,
        length=_times(seam.length, along),
        leg_a=_times(seam.leg_a, across),
        leg_b=_times(seam.leg_b, across),
        thickness=_times(seam.thickness, across),
        count=seam.count,
        grams_each=seam.grams_each,
        loss_percent=seam.loss_percent,
    )


def grams(seam: Seam, gravity: Decimal | None) -> calc.SeamGrams:
    """What a seam takes of a product of this specific gravity. Raises `ValueError` that names what is missing or makes no sense."""
    return calc.seam_grams(as_stated(seam), gravity)


def check_length_unit(text: str) -> str:
    """`text` where it is a unit of length. Raises `UnitError` with what would do."""
    units.ratio(text, MM)
    return text


def check_seam(seam: Seam, sealant: Item) -> None:
    """Refuse a seam whose grams can't be told: nothing of it is guessed. The `FieldProblem` names what to put right."""
    if sealant.kind != Kind.SEALANT:
        raise FieldProblem("sealant", f"{sealant.code} is of kind {sealant.kind}: name a sealant")
    try:
        found = grams(seam, sealant.gravity)
        to_stock_unit(found.grams, "g", sealant.unit)
    except UnitError as error:
        raise FieldProblem("sealant", f"{sealant.code} is counted in {sealant.unit}: {error}") from error
    except ValueError as error:
        raise _missing(error, sealant) from error


def _missing(error: ValueError, sealant: Item) -> FieldProblem:
    name, _, text = str(error).partition(": ")
    if name == "gravity":
        return FieldProblem("sealant", f"the specific gravity of {sealant.code} is {text}, and load the catalogue with it")
    return FieldProblem(name, text or name)


def sealant_codes() -> list[tuple[str, str]]:
    """Code and name of every sealant of the workshop. One query."""
    return list(Item.objects.filter(kind=Kind.SEALANT).order_by("code").values_list("code", "name"))


def of_steps(steps: Iterable[int]) -> list[tuple[Seam, calc.SeamGrams]]:
    """The seams of some steps in the order of the plans, with what each takes. One query."""
    found = Seam.objects.filter(step__in=steps).select_related("sealant").order_by("step_id", "position", "pk")
    return [(seam, grams(seam, seam.sealant.gravity)) for seam in found]


def _times(size: Fraction | None, factor: Fraction) -> Fraction | None:
    return None if size is None else size * factor
