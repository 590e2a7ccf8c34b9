"""A batch and the single services are two ways to one ledger: the same acts, the same refusals, the same lines."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.common.problems import Problem
from inventory.models import Holding, Lot, Movement
from inventory.stock import services
from inventory.stock.batch import Batch, Meant, Told
from tests import factories

NINE = datetime(2027, 2, 20, 9, tzinfo=UTC)
KINDS = {
    "good": {},
    "expired": {"expires_on": date(2027, 2, 19)},
    "quarantined": {"state": "quarantined"},
    "set aside": {},
}
NAMES = (*KINDS, "another's")

acts = st.lists(
    st.tuples(
        st.sampled_from(["move", "use", "count"]),
        st.sampled_from(NAMES),
        st.integers(0, 1),
        st.integers(0, 1),
        st.integers(0, 12).map(Decimal),
    ),
    max_size=12,
)


@pytest.fixture
def shelves(workshop):
    return [factories.PlaceFactory(workshop=workshop, path=path) for path in ("Shelf", "Fridge")]


def twins(bench, item, other_bench, shelf, storekeeper):
    """A lot of each kind with ten in the first place: nobody but the name tells one set from the other."""
    found = {name: factories.LotFactory(bench=bench, item=item, code="", **said) for name, said in KINDS.items()}
    found["another's"] = factories.LotFactory(bench=other_bench, item=item, code="")
    for lot in found.values():
        services.receive(lot=lot, quantity=Decimal(10), place=shelf, on=NINE.date(), by=storekeeper)
    services.set_aside(lot=found["set aside"], ref="step:1", quantity=Decimal(8), by=storekeeper)
    return found


def outcome(do):
    try:
        with transaction.atomic():
            do()
    except Problem as problem:
        return type(problem).__name__
    return "done"


def one_by_one(lots, shelves, steps, by):
    def act(kind, lot, source, target, quantity):
        on = NINE.date()
        if kind == "move":
            return services.move(lot=lot, quantity=quantity, source=source, target=target, on=on, by=by)
        if kind == "use":
            return services.use(lot=lot, quantity=quantity, place=source, on=on, by=by)
        return services.adjust(lot=lot, place=source, counted=quantity, on=on, by=by)

    return [
        outcome(lambda kind=kind, name=name, at=at, to=to, quantity=quantity: act(kind, lots[name], shelves[at], shelves[to], quantity))
        for kind, name, at, to, quantity in steps
    ]


def together(lots, shelves, steps, by):
    batch = Batch(
        meant=Meant(lots=[lot.pk for lot in lots.values()], of={lot.item_id: lot.item for lot in lots.values()}),
        by=by,
        since=NINE,
        locked=True,
    )

    def act(kind, lot, source, target, quantity, told):
        if kind == "move":
            return batch.move(lot=lot, quantity=quantity, source=source, target=target, told=told)
        if kind == "use":
            return batch.use(lot=lot, quantity=quantity, place=source, told=told)
        return batch.count(lot=lot, place=source, counted=quantity, told=told)

    found = []
    for minute, (kind, name, at, to, quantity) in enumerate(steps):
        told = Told(NINE + timedelta(minutes=minute), NINE.date())
        lot = batch.lots[lots[name].pk]
        found.append(
            outcome(
                lambda kind=kind, lot=lot, at=at, to=to, quantity=quantity, told=told: act(
                    kind, lot, shelves[at], shelves[to], quantity, told
                )
            )
        )
    batch.write()
    return found


def left(lots):
    names = {lot.pk: name for name, lot in lots.items()}
    held = Holding.objects.filter(lot__in=names).exclude(quantity=0).values_list("lot_id", "place__path", "quantity")
    moved = Movement.objects.filter(lot__in=names).order_by("pk").values_list("lot_id", "source__path", "target__path", "quantity")
    return sorted((names[pk], *row) for pk, *row in held), [(names[pk], *row) for pk, *row in moved]


@pytest.mark.parametrize("role", ["storekeeper", "builder"])
def test_batch_does_and_refuses_what_single_services_do(workshop, bench, other_bench, item, shelves, storekeeper, role):
    by = storekeeper if role == "storekeeper" else factories.MemberFactory(workshop=workshop, role="builder")

    @settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
    @given(acts)
    def same(steps):
        with transaction.atomic():
            ours, theirs = (twins(bench, item, other_bench, shelves[0], storekeeper) for _ in range(2))
            assert one_by_one(ours, shelves, steps, by) == together(theirs, shelves, steps, by)
            assert left(ours) == left(theirs)
            transaction.set_rollback(True)

    same()
    assert not Lot.objects.exists()
