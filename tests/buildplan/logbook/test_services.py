"""The log's writers: what is written once, what changes no more, who signs."""

from datetime import timedelta
from decimal import Decimal
from fractions import Fraction
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from buildplan.cutting.models import Measured
from buildplan.logbook import queries, services
from buildplan.logbook.deeds import deeds
from buildplan.logbook.services import Worked
from buildplan.logbook.story import story
from buildplan.models import Finish, LogEntry, LogHours, Mix, MixShare, Signature
from buildplan.plan.services import set_planned
from buildplan.records.services import take_back
from inventory.common.problems import FieldProblem
from inventory.stock.services import use
from inventory.workshop.policy import NotAllowed
from tests import factories
from tests.buildplan.logbook.conftest import BEFORE
from tests.factories import DAY


@pytest.fixture
def sign(inspector):
    def sign(of, by=inspector, **said):
        return services.sign(of=of, by=by, now=timezone.now(), **{"key": uuid4(), **said})

    return sign


def change(entry, by, **said):
    given = {"on": entry.on, "text": entry.text, "hours": [], **said}
    return services.change_entry(entry=entry, by=by, today=DAY, **given)


def test_known_key_gives_the_first_entry_and_another_project_s_is_refused(write, builder, bench):
    key = uuid4()
    first = write(key=key)

    assert write(key=key, text="again") == first
    other = factories.ProjectFactory(bench=bench)
    with pytest.raises(services.KeyUsed):
        services.write_entry(project=other, on=BEFORE, text="x", key=key, by=builder, today=DAY)
    assert LogEntry.objects.count() == LogHours.objects.count() == 1


def test_what_makes_no_sense_is_refused_by_its_field(write, builder, bench):
    foreign = factories.StepFactory(project=factories.ProjectFactory(bench=bench))
    helper = Worked(30, name="Jon")
    cases = [
        ("on", {"on": DAY + timedelta(days=1)}),
        ("text", {"text": " \n"}),
        ("step", {"of": foreign}),
        ("hours", {"hours": [helper, Worked(30, name="JON")]}),
        ("hours", {"hours": [Worked(0, builder)]}),
        ("hours", {"hours": [Worked(1441, builder)]}),
        ("hours", {"hours": [Worked(30, name=" ")]}),
        ("hours", {"hours": [Worked(1, name=str(at)) for at in range(31)]}),
    ]
    for field, said in cases:
        with pytest.raises(FieldProblem) as found:
            write(**{"minutes": None, **said})
        assert found.value.field == field
    assert not LogEntry.objects.exists()


def test_change_writes_only_what_differs_and_keeps_history(write, builder, workshop):
    ida = factories.MemberFactory(workshop=workshop, name="Ida")
    entry = write(minutes=None, hours=[Worked(60, builder), Worked(30, name="Jon")])
    change(entry, builder, hours=[Worked(60, builder), Worked(30, name="Jon")])
    assert entry.history.count() == 1

    change(entry, builder, text="Better.", hours=[Worked(90, builder), Worked(15, ida)])
    assert [(row.member_id, row.name, row.minutes) for row in LogHours.objects.order_by("pk")] == [(builder.pk, "", 90), (ida.pk, "", 15)]
    assert list(entry.history.order_by("history_id").values_list("text", flat=True)) == ["Riveted the keel.", "Better."]
    assert [version.text for version in queries.versions(entry)] == ["Riveted the keel.", "Better."]
    assert list(LogHours.history.filter(name="Jon").values_list("history_type", flat=True)) == ["-", "+"]


def test_signed_entry_changes_no_more_until_the_signature_is_withdrawn(write, builder, inspector, sign):
    entry = write()
    signature = sign(entry)
    for attempt in (
        lambda: change(entry, builder, text="other"),
        lambda: services.strike_entry(entry=entry, why="wrong", by=builder, now=timezone.now()),
    ):
        with pytest.raises(services.SeenAlready, match=r"Amos Reed has seen and signed this entry on .*: it changes no more"):
            attempt()
    services.withdraw(signature=signature, why="wrong float", by=inspector, now=timezone.now())

    assert change(entry, builder, text="other").text == "other"
    assert queries.entry(entry.pk).signatures[0].changed == ("the text", "the hours")


def test_struck_entry_is_neither_changed_nor_signed(write, builder, sign):
    entry = write()
    services.strike_entry(entry=entry, why="of the other float", by=builder, now=timezone.now())

    for attempt in (lambda: change(entry, builder, text="other"), lambda: sign(entry)):
        with pytest.raises(services.Struck):
            attempt()


def test_signature_is_made_once_by_its_key_and_once_by_its_signer(write, sign, inspector):
    entry, key = write(), uuid4()
    first = sign(entry, key=key)

    assert sign(entry, key=key) == first
    with pytest.raises(services.SignedAlready):
        sign(entry)
    with pytest.raises(services.KeyUsed):
        sign(write(), key=key)
    services.withdraw(signature=first, why="too early", by=inspector, now=timezone.now())
    sign(entry)
    assert Signature.objects.filter(entry=entry).count() == 2


def test_who_may_not_sign_or_write_is_refused(write, sign, builder, reader, storekeeper, step, project):
    entry = write()
    for who in (builder, reader, storekeeper):
        with pytest.raises(NotAllowed):
            sign(entry, by=who)
    with pytest.raises(NotAllowed):
        write(by=reader)


def test_signature_is_withdrawn_by_its_signer_and_by_an_owner_once_they_are_gone(write, sign, owner, inspector, workshop):
    signature = sign(write())
    other = factories.MemberFactory(workshop=workshop, role="inspector", name="Other")
    for who in (owner, other):
        with pytest.raises(services.OthersSignature, match="Amos Reed signed this"):
            services.withdraw(signature=signature, why="x", by=who, now=timezone.now())
    inspector.active = False
    inspector.save()

    found = services.withdraw(signature=signature, why="left", by=owner, now=timezone.now())
    assert (found.withdrawn_by, found.withdrawn_why) == (owner, "left")


def test_database_refuses_a_signature_of_two_things_and_one_withdrawn_without_a_reason(write, sign, step, inspector):
    signature = sign(write())
    for wrong in ({"step": step}, {"withdrawn_at": timezone.now(), "withdrawn_by": inspector}):
        with pytest.raises(IntegrityError), transaction.atomic():
            Signature.objects.filter(pk=signature.pk).update(**wrong)


def test_lots_come_from_the_ledger_and_go_with_it(write, finished, step, builder, sign):
    entry = write()
    (took,) = queries.entry(entry.pk).took
    assert (took.item, took.quantity) == (finished.item.code, Decimal(40))
    assert took.lots[0].label == "R7 (made 2026-06-01, expires 2027-06-30)"
    Measured.objects.create(workshop=step.workshop, lot=finished, certificate="EN 10204 3.1, no. 7")
    assert queries.entry(entry.pk).took[0].lots[0].label == "R7 (made 2026-06-01, expires 2027-06-30, certificate EN 10204 3.1, no. 7)"

    sign(entry)
    take_back(step=step, on=DAY, now=timezone.now(), by=builder)
    found = queries.entry(entry.pk)
    assert found.took == ()
    assert found.signatures[0].changed == ("what it took of stock",)


def test_mixed_batch_is_told_with_its_lots(write, step, workshop, bench, builder, drawer):
    sealant = factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g")
    lot = factories.LotFactory(bench=bench, item=sealant, code="S1", expires_on=DAY + timedelta(days=90))
    factories.stock(lot, 90, drawer)
    said = {"base": 10, "accelerator": 1, "mixed_at": timezone.now(), "mixed_by": "Ada"}
    mix = Mix.objects.create(workshop=workshop, item=sealant, key=uuid4(), by=builder, **said)
    MixShare.objects.create(workshop=workshop, mix=mix, step=step, grams=Decimal("8.5"))
    use(lot=lot, quantity=Decimal(11), place=drawer, on=DAY, by=builder, ref=mix.ref)
    (took,) = queries.entry(write().pk).took

    assert (took.item, took.quantity, took.unit, [one.code for one in took.lots]) == ("SEAL-B2", Decimal("8.5"), "g", ["S1"])
    assert (took.batch, took.stop) == (mix.mixed_at, None)


def test_batch_mixed_at_a_forbidden_temperature_says_so_in_the_log(write, step, workshop, bench, builder, as_member):
    sealant = factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g")
    said = {"base": 10, "accelerator": 1, "mixed_at": timezone.now(), "mixed_by": "Ada", "temperature_f": Fraction(105)}
    mix = Mix.objects.create(workshop=workshop, item=sealant, key=uuid4(), by=builder, **said)
    MixShare.objects.create(workshop=workshop, mix=mix, step=step, grams=Decimal("8.5"))
    (took,) = queries.entry(write().pk).took

    assert took.stop.text == "too hot to seal: 105 F is outside 70 F to below 100 F"
    assert took.label.endswith(took.stop.text)
    for address in (reverse("step", args=[step.project.code, step.code]), reverse("log")):
        page = as_member(builder).get(address).text
        assert "Too hot to seal: 105 F is outside 70 F to below 100 F." in page


def test_story_tells_a_step_in_words_the_latest_first(step, builder, item, finished, write, sign):
    entry = write()
    change(entry, builder, hours=[Worked(120, builder)])
    sign(entry, statement="Looked at.")
    take_back(step=step, on=DAY, now=timezone.now(), by=builder)

    told = [f"{event.who} {event.text}" for event in story(deeds(step)).events]
    who = builder.name
    assert f"{who} finished it on {BEFORE}: both sides" in told
    assert f"{who} took back that it was done on {BEFORE}: what it took lies where it lay" in told
    assert f"{who} wrote the log entry of {BEFORE}" in told
    assert f"{who} changed the log entry of {BEFORE}, {services.HOURS}" in told
    assert f"Amos Reed has seen the log entry of {BEFORE}: Looked at." in told
    assert not any("done no" in line or "done yes" in line for line in told)  # the finish says so already
    assert [event.at for event in story(deeds(step)).events] == sorted((event.at for event in story(deeds(step)).events), reverse=True)
    assert Finish.objects.count() == 1


def test_story_tells_changed_call_outs_and_leaves_the_earliest_out(step, item, builder):
    call_out = factories.CallOutFactory(step=step, item=item, quantity=Decimal(4))
    call_out.quantity = Decimal(6)
    call_out._history_user = builder
    call_out.save()
    step.title = "Rivet the seams"
    step.save()
    set_planned(step=step, planned_on=DAY, by=builder)

    told = [event.text for event in story(deeds(step)).events]
    assert f"changed call-out {item.code}: quantity 4 \N{RIGHTWARDS ARROW} 6" in told
    assert "changed title Seal the seams \N{RIGHTWARDS ARROW} Rivet the seams" in told
    assert f"changed planned day none \N{RIGHTWARDS ARROW} {DAY}" in told
    assert f"wrote the call-out {item.code} (4)" in told
    few = story(deeds(step), most=1)
    assert (len(few.events), few.more) == (1, len(told) - 1)
