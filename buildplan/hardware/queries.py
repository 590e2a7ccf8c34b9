"""Reads of rivets and what goes with them."""

from fractions import Fraction

from buildplan.hardware.calc import RivetCodeError, parse_rivet
from inventory.catalogue.models import Kind
from inventory.models import Item


def rivet_diameter(rivet: Item) -> Fraction | None:
    """The diameter of a rivet in inches: as the catalogue says, else as its code does; None where neither."""
    if rivet.diameter is not None:
        return rivet.diameter
    try:
        return parse_rivet(rivet.code).diameter
    except RivetCodeError:
        return None


def clecos_by_diameter() -> dict[Fraction, list[Item]]:
    """The workshop's clecos by diameter in inches: their colour is only a label. One query."""
    found: dict[Fraction, list[Item]] = {}
    for cleco in Item.objects.filter(kind=Kind.CLECO, diameter__isnull=False).order_by("code"):
        if cleco.diameter is not None:
            found.setdefault(cleco.diameter, []).append(cleco)
    return found
