"""What the plans need of a lot that ages."""

from datetime import date
from decimal import Decimal

import pytest

from buildplan.ageing.calc import Use, could_use, taken, unused

DAY = date(2027, 3, 6)


def use(label="F3-04", **changes):
    given = {
        "label": label,
        "project": "TERN-1",
        "step": label,
        "day": DAY,
        "quantity": Decimal(10),
        "taken": Decimal(0),
        "missing": Decimal(0),
        "late": False,
        "ours": True,
        "waits_for": (),
        "rule": "as planned",
        "source": "call-out",
    }
    return Use(**{**given, **changes})


def test_unused_is_what_no_step_takes():
    uses = [use(taken=Decimal(4)), use(taken=Decimal("2.5"))]

    assert taken(uses) == Decimal("6.5")
    assert unused(Decimal(10), uses) == Decimal("3.5")


def test_unused_is_never_below_nothing_where_two_projects_take_the_same():
    assert unused(Decimal(10), [use(taken=Decimal(8)), use(taken=Decimal(8))]) == 0


@pytest.mark.parametrize(
    ("changes", "asks"),
    [
        ({"late": True}, True),
        ({"late": True, "taken": Decimal(10)}, False),
        ({"missing": Decimal(3)}, False),  # alive then and ours: netting would have taken it
        ({"ours": False, "late": True}, False),
        ({"ours": False, "missing": Decimal(3)}, True),
    ],
)
def test_step_could_use_what_is_dead_by_then_or_another_bench_s(changes, asks):
    assert bool(could_use(Decimal(1), [use(**changes)])) is asks


def test_nothing_is_offered_of_a_lot_that_is_all_taken():
    assert could_use(Decimal(0), [use(late=True)]) == ()


def test_steps_that_wait_for_nothing_come_first():
    found = could_use(
        Decimal(1),
        [use("F1", late=True, waits_for=("F0",)), use("F2", missing=Decimal(1), ours=False), use("F3", late=True, day=date(2027, 4, 1))],
    )

    assert [one.label for one in found] == ["F3", "F2", "F1"]
