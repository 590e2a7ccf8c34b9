"""Pages of shelf life: a lot's, an item's storage, temperature logs."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from http import HTTPStatus

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from inventory.models import Acceptance, Disposal, Lot, StorageRule, Temperature
from tests import factories
from tests.factories import DAY


@pytest.fixture(autouse=True)
def _now(time_machine, morning):
    time_machine.move_to(morning + timedelta(days=2), tick=False)


@pytest.fixture
def page(batch):
    return reverse("lot", args=[batch.pk])


def words(answer):
    return " ".join(answer.content.decode().split())


def test_lot_offers_each_role_what_it_may(as_member, batch, page, fridge, reader, builder, storekeeper, inspector):
    factories.stock(batch, 5, place=fridge)
    forms = ("lot-test", "lot-accept", "lot-dispose")
    offered = {}
    for member in (reader, builder, storekeeper, inspector):
        text = words(as_member(member).get(page))
        offered[member.role] = [name for name in forms if reverse(name, args=[batch.pk]) in text]
    assert offered == {
        "reader": [],
        "builder": [],
        "storekeeper": ["lot-test", "lot-dispose"],
        "inspector": ["lot-test", "lot-accept"],
    }


def test_test_is_recorded_once_though_sent_twice_and_shown(as_member, batch, page, inspector):
    client, where = as_member(inspector), reverse("lot-test", args=[batch.pk])
    said = {"result": "passed", "method": "hardness", "on": str(DAY), "note": ""}
    assert client.post(where, said).url == page
    again = client.post(where, said)
    assert again.status_code == 422
    assert "Each pass counts once" in words(again)
    assert 'value="hardness"' in words(again)
    assert Lot.objects.get(pk=batch.pk).passes == 1
    assert "hardness" in words(client.get(page))


@pytest.mark.parametrize(("result", "day"), [("", "2027-02-20"), ("passed", "2027-02-23"), ("passed", "")])
def test_test_without_result_or_of_a_day_to_come_is_refused(as_member, batch, inspector, result, day):
    answer = as_member(inspector).post(reverse("lot-test", args=[batch.pk]), {"result": result, "method": "m", "on": day})
    assert answer.status_code == 422
    assert Lot.objects.get(pk=batch.pk).passes == 0


def test_acceptance_is_made_and_withdrawn_on_the_page(as_member, batch, page, inspector):
    client = as_member(inspector)
    client.post(reverse("lot-accept", args=[batch.pk]), {"until": "2027-03-01", "reason": "cured hard"})
    made = Acceptance.objects.get()
    assert reverse("withdraw-acceptance", args=[made.pk]) in words(client.get(page))
    client.post(reverse("withdraw-acceptance", args=[made.pk]), {"why": "soft"})
    assert Lot.objects.get(pk=batch.pk).accepted_until is None
    assert "withdrawn" in words(client.get(page))


def test_storekeeper_may_not_accept(as_member, batch, storekeeper):
    answer = as_member(storekeeper).post(reverse("lot-accept", args=[batch.pk]), {"until": "2027-03-01", "reason": "x"})
    assert answer.status_code == HTTPStatus.FORBIDDEN
    assert not Acceptance.objects.exists()


def test_disposal_defers_to_local_rules_and_takes_the_stock(as_member, batch, page, fridge, storekeeper):
    factories.stock(batch, 100, place=fridge)
    client = as_member(storekeeper)
    assert "your local rules say" in words(client.get(page))
    said = {"place": fridge.pk, "quantity": "60", "mass_g": "92.5", "way": "town collection", "note": ""}
    client.post(reverse("lot-dispose", args=[batch.pk]), said)
    assert Disposal.objects.get().mass_g == Decimal("92.5")
    assert "town collection" in words(client.get(page))


def test_disposal_from_a_place_of_the_outsider_is_refused(as_member, batch, fridge, storekeeper, outsider):
    factories.stock(batch, 100, place=fridge)
    theirs = factories.PlaceFactory(workshop=outsider)
    said = {"place": theirs.pk, "quantity": "60", "mass_g": "1", "way": "x"}
    assert as_member(storekeeper).post(reverse("lot-dispose", args=[batch.pk]), said).status_code == 422
    assert not Disposal.objects.exists()


def test_item_page_shows_published_lives_of_rubber_and_fills_none_in(as_member, sealant, storekeeper):
    shown = words(as_member(storekeeper).get(reverse("item-storage", args=[sealant.pk])))

    assert "sources disagree, so ask the maker" in shown
    sealant.refresh_from_db()
    assert sealant.life_months == 9


def test_storage_rule_and_extension_are_set_on_the_items_page(as_member, sealant, storekeeper, reader):
    client, where = as_member(storekeeper), reverse("item-storage", args=[sealant.pk])
    assert "None is assumed" in words(client.get(where))
    said = {"high": "27", "use_within_days": "35", "longest_gap_hours": "6", "source": "data sheet"}
    assert client.post(where, said).url == where
    assert (StorageRule.objects.get().high, StorageRule.objects.get().low) == (27, None)
    bad = client.post(where, {**said, "high": "95"})
    assert bad.status_code == 422
    assert "Fahrenheit" in words(bad)
    client.post(reverse("item-extension", args=[sealant.pk]), {"extend_part": ""})
    sealant.refresh_from_db()
    assert sealant.extend_part is None
    assert client.post(reverse("item-extension", args=[sealant.pk]), {"extend_part": "2"}).status_code == 422
    client.post(reverse("remove-storage-rule", args=[StorageRule.objects.get().pk]))
    assert not StorageRule.objects.exists()
    assert as_member(reader).post(where, said).status_code == HTTPStatus.FORBIDDEN


def log_of(text):
    return SimpleUploadedFile("log.csv", text.encode(), content_type="text/csv")


def test_log_is_read_in_and_said_on_the_page_of_what_lay_there(as_member, batch, page, fridge, sealant, storekeeper):
    factories.stock(batch, 5, place=fridge)
    StorageRule.objects.create(workshop=sealant.workshop, item=sealant, high=27, use_within_days=35, source="data sheet")
    client = as_member(storekeeper)
    text = "time,temperature,unit\n2027-02-20T08:00,82.4,F\n2027-02-20T09:00,20,C\n"
    answer = client.post(reverse("temperatures"), {"place": "fridge", "zone": "Europe/Berlin", "log": log_of(text)}, follow=True)
    assert "2 new readings" in words(answer)
    assert "It changes the life of lot R7 of SEAL-B2" in words(answer)
    shown = words(client.get(page))
    assert "28 C" in shown
    assert "Times that no reading tells of" in shown
    assert "Mean kinetic temperature" in shown
    assert "Fridge" in words(client.get(reverse("temperatures")))


def test_log_with_bad_rows_names_each_and_keeps_none(as_member, fridge, builder):
    text = "time,temperature,unit\n2027-02-20T08:00Z,20,C\n2027-02-20T07:00Z,20,C\n2027-02-20T09:00,20,C\n2027-02-20T10:00Z,900,C\n"
    answer = as_member(builder).post(reverse("temperatures"), {"place": "Fridge", "zone": "", "log": log_of(text)})
    assert answer.status_code == 422
    assert all(f"line {line}:" in words(answer) for line in (3, 4, 5))
    assert not Temperature.objects.exists()


def test_log_s_faults_are_told_at_once_by_their_lines_in_the_reader_s_way(as_member, fridge, builder):
    Temperature.objects.create(workshop=fridge.workshop, place=fridge, at=datetime(2027, 2, 20, 7, tzinfo=UTC), celsius=4)
    builder.workshop.time_zone = "Europe/Berlin"
    builder.workshop.save()
    builder.dates = "dotted"
    builder.save()
    rows = ["2027-02-20T07:00Z,20,C", "2027-02-20T06:00Z,20,C", "x,20,C", "2031-01-01T00:00Z,20,C", "2031-01-02T00:00Z,20,C"]
    text = "\n".join(["time,temperature,unit", *rows])
    shown = words(as_member(builder).post(reverse("temperatures"), {"place": "Fridge", "zone": "", "log": log_of(text)}))

    assert all(f"line {line}:" in shown for line in (2, 3, 4, 5, 6))
    assert "line 2: at 20.2.2027 08:00 4.00 C is on record, not 20.0 C" in shown
    assert "line 3: 20.2.2027 07:00 is not after the one before it (20.2.2027 08:00)" in shown
    assert "line 6: 2.1.2031 01:00 is still to come" in shown
    assert "+00:00" not in shown
    assert Temperature.objects.count() == 1


@pytest.mark.parametrize("given", [{"place": "Nowhere"}, {"zone": "Mars/Base"}, {"log": None}])
def test_log_without_place_zone_or_file_is_refused(as_member, fridge, builder, given):
    log = log_of("time,temperature,unit\n2027-02-20T08:00Z,20,C\n")
    said = {name: value for name, value in {"place": "Fridge", "zone": "", "log": log, **given}.items() if value is not None}
    assert as_member(builder).post(reverse("temperatures"), said).status_code == 422


def test_reader_reads_in_no_log(as_member, reader):
    assert "Read in a log" not in words(as_member(reader).get(reverse("temperatures")))
    assert as_member(reader).post(reverse("temperatures"), {}).status_code == HTTPStatus.FORBIDDEN


def test_lot_takes_the_same_queries_whatever_it_went_through(as_member, batch, page, fridge, sealant, inspector, query_counts, morning):
    StorageRule.objects.create(workshop=sealant.workshop, item=sealant, high=27, use_within_days=35, source="data sheet")

    def fill(count):
        for _ in range(count):
            number = Acceptance.objects.count()
            factories.stock(batch, 5, place=fridge, by=inspector)
            day = DAY - timedelta(days=number)
            batch.update_tests.create(workshop=batch.workshop, on=day, passed=True, method="m", by=inspector)
            Acceptance.objects.create(workshop=batch.workshop, lot=batch, on=day, until=day, reason="r", by=inspector)
            Temperature.objects.create(workshop=batch.workshop, place=fridge, at=morning + timedelta(hours=number), celsius=20)

    client = as_member(inspector)
    one, many = query_counts(lambda: client.get(page), fill)
    assert one == many
