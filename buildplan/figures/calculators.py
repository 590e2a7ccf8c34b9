"""Every calculator of the bench, by the folds of its list."""

from collections.abc import Mapping
from types import MappingProxyType

from buildplan.figures.calculator import Calculator
from buildplan.figures.rivets import RIVETS
from buildplan.figures.sealant import SEALANT
from buildplan.figures.stores import STORES
from buildplan.figures.tables import TABLES

GROUPS: Mapping[str, tuple[Calculator, ...]] = MappingProxyType(
    {"Rivets, holes and clecos": RIVETS, "Sealant": SEALANT, "Counting and shelf life": STORES, "Printed tables": TABLES}
)
CALCULATORS: Mapping[str, Calculator] = MappingProxyType({one.name: one for group in GROUPS.values() for one in group})
