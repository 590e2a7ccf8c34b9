"""What the seams of steps take."""

from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction

from buildplan.sealing import calc
from buildplan.sealing.models import Seam
from inventory.catalogue import units

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


def of_steps(steps: Iterable[int]) -> list[tuple[Seam, calc.SeamGrams]]:
    """The seams of some steps in the order of the plans, with what each takes. One query."""
    found = Seam.objects.filter(step__in=steps).select_related("sealant").order_by("step_id", "position", "pk")
    return [(seam, grams(seam, seam.sealant.gravity)) for seam in found]


def _times(size: Fraction | None, factor: Fraction) -> Fraction | None:
    return None if size is None else size * factor
