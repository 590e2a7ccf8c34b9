"""A published roll-up of rivets by section: totals are computed, never taken from what is printed."""

from datetime import date
from decimal import Decimal

import pytest

from buildplan.loading.totals import Printed, Totals
from buildplan.shortfall.queries import shortfall
from tests import factories

# A builder's blog, posts of May 2014 and 22 February 2016.
SECTIONS = [
    ([300, 575, 944, 623, 531, 1239, 0, 234], 4446),
    ([302, 274, 318, 1310, 796, 1580, 0, 1812, 958, 662, 50, 214, 0], 8276),
    ([4446, 8276, 6250, 1265, 234, 20], 20491),
]
PRINTED = 20499  # what the blog adds the last one up to


def test_printed_total_is_compared_and_found_wrong():
    totals = Totals()
    for count in SECTIONS[-1][0]:
        totals.add("BAG", Decimal(count), "ea")

    compared = totals.compare(Printed(Decimal(PRINTED), unit="ea"))

    assert (compared.listed, compared.printed, compared.difference) == (SECTIONS[-1][1], PRINTED, "8 fewer")


@pytest.mark.django_db
def test_rivets_of_all_sections_add_up(project, bench):
    """One item a roll-up, one step a section; a section that takes none names none."""
    rivets = [factories.ItemFactory(workshop=bench.workshop, code=f"MS20470AD4-{length}", kind="rivet") for length in (4, 5, 6)]
    for rivet, (counts, _) in zip(rivets, SECTIONS, strict=True):
        for count in filter(None, counts):
            factories.CallOutFactory(step=factories.StepFactory(project=project), item=rivet, quantity=Decimal(count))

    found = shortfall([project], before=None, as_of=date(2027, 2, 20))

    assert [line.needed for line in found.lines] == [total for _, total in SECTIONS]
