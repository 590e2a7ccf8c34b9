"""Every calculator of the bench, by the folds of its list."""

from collections.abc import Mapping
from types import MappingProxyType

from django.utils.translation import gettext_noop as _

from buildplan.figures.calculator import Calculator
from buildplan.figures.rivets import RIVETS
from buildplan.figures.sealant import SEALANT
from buildplan.figures.stores import STORES
from buildplan.figures.tables import TABLES

GROUPS: Mapping[str, tuple[Calculator, ...]] = MappingProxyType(
    {_("Rivets, holes and clecos"): RIVETS, _("Sealant"): SEALANT, _("Counting and shelf life"): STORES, _("Printed tables"): TABLES}
)
CALCULATORS: Mapping[str, Calculator] = MappingProxyType({one.name: one for group in GROUPS.values() for one in group})
