"""What storage costs a lot, from where it lay and what was read there."""

from datetime import timedelta
from decimal import Decimal
from random import Random

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import Acceptance, Lot, Movement, StorageRule, Temperature
from inventory.shelflife import keeping, services
from inventory.shelflife.calc import last_usable_day
from inventory.shelflife.storage import Reading
from inventory.stock import services as stock
from inventory.workshop.policy import NotAllowed
from tests import factories
from tests.factories import DAY


@pytest.fixture
def now(morning):
    return morning + timedelta(days=5)


@pytest.fixture
def rule(sealant, storekeeper, now):
    """T.O. 1-1-700 par. 12.8 stores at or under 80 F; the rest is Cirrus 13773-001, 20-10."""
    return services.save_rule(
        item=sealant,
        high=Decimal("26.67"),
        use_within_days=35,
        never_below=Decimal("4.44"),
        never_above=Decimal(35),
        source="data sheet",
        by=storekeeper,
        now=now,
    )


@pytest.fixture
def log(builder, now):
    def log(place, readings, by=builder, **said):
        return services.log_temperatures(place=place, readings=readings, by=by, now=now, **said)

    return log


def until(lot):
    return Lot.objects.get(pk=lot.pk).storage_until


def test_excursion_sets_the_day_and_says_why(batch, fridge, rule, log, readings):
    factories.stock(batch, 5, place=fridge)
    kept = log(fridge, readings(20, 28, 20))
    assert [lot.pk for lot in kept.changed] == [batch.pk]
    lot = Lot.objects.get(pk=batch.pk)
    assert lot.storage_until == DAY + timedelta(days=35)
    assert "28 C in Fridge" in lot.storage_why


def test_what_is_never_allowed_ends_it_that_day(batch, fridge, rule, log, readings):
    factories.stock(batch, 5, place=fridge)
    log(fridge, readings(20, 36))
    assert until(batch) == DAY


def test_lot_that_lay_elsewhere_at_the_time_is_left_alone(batch, bench, sealant, workshop, fridge, rule, log, readings):
    shelf = factories.PlaceFactory(workshop=workshop, path="Shelf A")
    factories.stock(batch, 5, place=shelf)
    log(fridge, readings(36))
    assert until(batch) is None


def test_lot_moved_out_before_is_left_alone_and_moved_in_before_is_not(batch, fridge, workshop, rule, log, readings, builder):
    shelf = factories.PlaceFactory(workshop=workshop, path="Shelf A")
    factories.stock(batch, 5, place=fridge)
    stock.move(lot=batch, quantity=5, source=fridge, target=shelf, on=DAY, by=builder)
    noon = readings(36)[0].at + timedelta(days=2)
    log(fridge, readings(36, start=noon))
    assert until(batch) is None
    log(shelf, readings(36, start=noon))
    assert until(batch) == DAY + timedelta(days=2)


def test_lot_split_over_two_places_takes_the_warmer_one(batch, fridge, workshop, rule, log, readings):
    shelf = factories.PlaceFactory(workshop=workshop, path="Shelf A")
    factories.stock(batch, 5, place=fridge)
    factories.stock(batch, 5, place=shelf)
    log(fridge, readings(10, 10))
    log(shelf, readings(28, 28))
    assert until(batch) == DAY + timedelta(days=35)
    why = "28 C in Shelf A from 2027-02-20 08:00, the worst of the places it lay in then, and one lot has one life: use within 35 days"
    assert Lot.objects.get(pk=batch.pk).storage_why.startswith(why)


def test_drawer_without_a_thermometer_has_that_of_its_rack(batch, drawer, workshop, rule, log, readings):
    rack = factories.PlaceFactory(workshop=workshop, path="Hangar/Rack 1")
    drawer.parent = rack
    drawer.save()
    factories.stock(batch, 5, place=drawer)
    log(rack, readings(28))
    assert until(batch) == DAY + timedelta(days=35)


def test_reckoning_again_finds_the_same_and_more_readings_only_shorten(batch, fridge, rule, log, readings, owner, now):
    factories.stock(batch, 5, place=fridge)
    log(fridge, readings(20, 28))
    assert services.reckon_storage(by=owner, until=now) == []
    log(fridge, readings(36, start=now - timedelta(days=1)))
    shorter = until(batch)
    assert shorter < DAY + timedelta(days=35)
    log(fridge, readings(20, start=now - timedelta(hours=2)))
    assert until(batch) == shorter


def test_only_a_corrected_reading_gives_back_what_it_cost(batch, fridge, rule, log, readings, builder, storekeeper):
    factories.stock(batch, 5, place=fridge)
    log(fridge, readings(28))
    with pytest.raises(services.BadReadings, match=r"28.00 C is on record, not 20 C"):
        log(fridge, readings(20))
    with pytest.raises(NotAllowed):
        log(fridge, readings(20), corrects=True)
    kept = log(fridge, readings(20), by=storekeeper, corrects=True)
    assert (kept.corrected, until(batch)) == (1, None)


def test_changed_rule_reckons_anew_and_a_forgotten_one_gives_back(batch, fridge, rule, log, readings, sealant, storekeeper, now):
    factories.stock(batch, 5, place=fridge)
    log(fridge, readings(28))
    services.save_rule(item=sealant, high=Decimal(27), use_within_days=10, source="another", by=storekeeper, now=now)
    assert until(batch) == DAY + timedelta(days=10)
    services.remove_rule(rule=rule, by=storekeeper)
    assert until(batch) is None


def test_same_log_twice_is_kept_once(fridge, log, readings):
    assert log(fridge, readings(20, 21)).added == 2
    again = log(fridge, readings(20, 21))
    assert (again.added, again.known) == (0, 2)
    assert Temperature.objects.count() == 2


def test_bad_reading_keeps_none_and_names_each(fridge, log, readings, now):
    good, other, third = readings(20, 21, 22)
    spike = type(good)(third.at, 900.0)
    with pytest.raises(services.BadReadings) as caught:
        log(fridge, [other, good, spike])
    assert [fault.partition(":")[0] for fault in caught.value.faults] == ["reading 2", "reading 3"]
    with pytest.raises(services.BadReadings, match="still to come"):
        log(fridge, readings(20, start=now + timedelta(hours=1)))
    assert not Temperature.objects.exists()


def test_excursion_after_an_acceptance_withdraws_it(batch, fridge, rule, log, readings, inspector, now):
    factories.stock(batch, 5, place=fridge)
    services.accept(lot=batch, until=DAY + timedelta(days=90), reason="sample", on=DAY, by=inspector)
    log(fridge, readings(28))
    assert Acceptance.objects.get().withdrawn is None  # of that very day: it was known
    log(fridge, readings(36, start=now - timedelta(days=1)))
    assert Acceptance.objects.get().withdrawn is not None
    assert Lot.objects.get(pk=batch.pk).accepted_until is None


def test_gaps_and_mean_are_told(batch, fridge, rule, log, readings, now):
    factories.stock(batch, 5, place=fridge)
    log(fridge, readings(20, 20))
    found = keeping.storages([batch], until=now)[batch.pk]
    assert len(found.gaps) == 2
    assert found.mean == pytest.approx(20)


@pytest.mark.parametrize(
    ("said", "text"),
    [
        ({}, "no bound"),
        ({"low": 20, "high": 10}, "leave nothing"),
        ({"high": 80}, None),
        ({"high": 95}, "a Fahrenheit figure"),
        ({"high": 27, "never_above": 20}, "leave nothing"),
        ({"never_above": 35, "use_within_days": 5}, "need a bound"),
    ],
)
def test_rules_that_make_no_sense_are_refused(sealant, storekeeper, now, said, text):
    def save():
        return services.save_rule(item=sealant, source="data sheet", by=storekeeper, now=now, **said)

    if text is None:
        assert save().pk
        return
    with pytest.raises(services.BadRule, match=text):
        save()


@pytest.mark.parametrize("count", [1, 12])
def test_reckoning_takes_as_many_queries_for_one_lot_as_for_many(bench, sealant, fridge, rule, log, readings, owner, now, count):
    for number in range(count):
        factories.stock(factories.LotFactory(bench=bench, item=sealant, code=f"Q{number}"), 5, place=fridge)
    log(fridge, readings(20, 28))
    lots = keeping.kept_lots()
    with CaptureQueriesContext(connection) as seen:
        assert len(keeping.storages(lots, until=now)) == count
    assert len(seen) == 5


@pytest.mark.parametrize("seed", range(20))
def test_readings_outside_alone_give_the_same_limits(batch, fridge, workshop, sealant, builder, owner, now, morning, seed):
    chance = Random(seed)  # noqa: S311 - the same each time
    shelf = factories.PlaceFactory(workshop=workshop, path="Shelf A")
    factories.stock(batch, 5, place=fridge)
    low, high = chance.choice([-3, None, 4.4]), chance.choice([None, 27])
    StorageRule.objects.create(
        workshop=workshop, item=sealant, low=low, high=high, never_above=35, use_within_days=9, longest_gap_hours=2, source="s"
    )
    carried = morning + timedelta(hours=chance.randint(1, 40), minutes=30)
    said = {"lot": batch, "quantity": 5, "source": fridge, "target": shelf, "by": builder, "on": carried.date()}
    Movement.objects.create(workshop=workshop, at=carried, **said)
    for place in (fridge, shelf):
        hours = sorted(chance.sample(range(60), 25))
        found = [Reading(morning + timedelta(hours=hour), chance.choice([-5.0, 4.0, 20.0, 28.0, 36.0])) for hour in hours]
        services.log_temperatures(place=place, readings=found, by=owner, now=now)
    full, part = (keeping.storages([batch], until=now, outside_alone=alone)[batch.pk] for alone in (False, True))
    assert part.limits == full.limits
    assert [(one.start, one.worst, one.stop) for one in part.excursions] == [(one.start, one.worst, one.stop) for one in full.excursions]
    limit = last_usable_day(full.limits)
    assert until(batch) == (limit and limit.last_day)
