"""The pages of seal days: every one for who may, who may only read, and a stranger; bad input; pressing twice."""

import re
from datetime import timedelta
from decimal import Decimal
from fractions import Fraction
from html import unescape
from http import HTTPStatus
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone
from django_scopes import scopes_disabled

from buildplan.models import DayCheck, DayMix, Mix, SealDay
from buildplan.sealday import services
from buildplan.sealday.services import PersonData
from inventory.models import Holding, Lot, SetAside
from tests import factories

ONE_DAY = timedelta(days=1)
FORMS = (
    "seal-day-change",
    "seal-day-people",
    "seal-day-steps",
    "seal-day-products",
    "seal-day-move",
    "seal-day-close",
    "seal-day-call-off",
)
ACTIONS = ("seal-day-hold", "seal-day-checks", "seal-day-tick")


@pytest.fixture
def today():
    return timezone.localdate()


@pytest.fixture
def sealant(workshop):
    known = {"gravity": Decimal("1.55"), "base": Decimal(100), "accelerator": Decimal(10)}
    return factories.ItemFactory(workshop=workshop, code="SEAL-B2", name="Sealant", kind="sealant", unit="g", **known)


@pytest.fixture
def steps(project, sealant, today):
    """Two steps that seal, of 32.085 g each, and one after them that doesn't."""
    first, second = (factories.StepFactory(project=project, code=code, planned_on=today, minutes=60) for code in ("F3-04", "F3-05"))
    for step in (first, second):
        factories.SeamFactory(step=step, sealant=sealant, code="KEEL", length=Fraction("1.15"))
    later = factories.StepFactory(project=project, code="F3-06", after=[first, second], planned_on=today + ONE_DAY)
    return first, second, later


@pytest.fixture
def tins(bench, sealant, drawer, today):
    """Two lots: the older holds the first batch alone."""
    codes = (("S-1", 40, 40), ("S-2", 200, 80))
    return [
        factories.stock(factories.LotFactory(bench=bench, item=sealant, code=code, expires_on=today + timedelta(days)), grams, drawer).lot
        for code, grams, days in codes
    ]


@pytest.fixture
def day(bench, steps, tins, sealant, owner, today):
    """Today's seal day, with all that its batches ask for: two people place 40 g in a work life."""
    made = services.plan_seal_day(
        bench=bench,
        on=today,
        steps=steps[:2],
        by=owner,
        today=today,
        temperature_f=Fraction(72),
        pace=Fraction(20),
        division=Fraction("0.1"),
    )
    nine, five = (timezone.datetime(2027, 1, 1, hour).time() for hour in (9, 17))
    services.set_people(day=made, people=[PersonData(name, nine, five) for name in ("Ida", "Jon")], by=owner)
    services.set_product(day=made, item=sealant, life_hours=Fraction(1), cure_hours=Fraction(14), by=owner)
    return made


@pytest.fixture
def client_of(as_member):
    """Pages by their name."""

    class Pages:
        def __init__(self, member):
            self.client = as_member(member)

        def get(self, name, *args, **asked):
            return self.client.get(reverse(name, args=args), asked)

        def post(self, name, *args, **said):
            return self.client.post(reverse(name, args=args), said)

    return Pages


@pytest.fixture
def pages(client_of, builder):
    return client_of(builder)


def words(answer):
    return re.sub(r"\s+", " ", unescape(answer.content.decode()))


def fields(answer):
    """What the page's form would send as it stands."""
    form = answer.context["form"]
    shown = {field.html_name: field.value() for field in form}
    sent = {name: value for name, value in shown.items() if value not in (None, False)}
    sent |= {name: sent[name].strftime("%Y-%m-%dT%H:%M") for name in ("mixed_at", "at") if name in sent}
    return {name: str(value) if not isinstance(value, list) else value for name, value in sent.items()}


def grams(lot):
    return sum(Holding.objects.filter(lot=lot, place__end="storage").values_list("quantity", flat=True))


# Planning


def planned(ours, today, **more):
    rows = {"name-0": "Ida", "comes-0": "09:00", "goes-0": "17:00", "name-1": "", "comes-1": "09:00", "goes-1": "17:00"}
    said = {
        "on": str(today),
        "steps": [step.pk for step in ours[:2]],
        "temperature_f": "22 C",
        "pace": "20",
        "division": "0.1",
        "note": "",
    }
    return {**rows, **said, **more}


def test_list_offers_the_days_on_which_steps_that_seal_are_planned(pages, bench, steps, today):
    shown = words(pages.get("seal-days"))
    assert f"?on={today}" in shown
    assert "F3-04, F3-05" in shown
    assert "F3-06" not in shown

    form = pages.get("plan-seal-day", bench.pk, on=str(today)).context["form"]
    assert form.initial["steps"] == [str(step.pk) for step in steps[:2]]


def test_day_is_planned_with_its_people_in_one_go(pages, bench, steps, tins, today):
    answer = pages.post("plan-seal-day", bench.pk, **planned(steps, today))

    day = SealDay.objects.get()
    assert answer.url == reverse("seal-day", args=[day.pk])
    assert (day.on, day.temperature_f, day.pace) == (today, Fraction("71.6"), 20)
    assert list(day.people.values_list("name", flat=True)) == ["Ida"]
    assert "SEAL-B2" in words(pages.get("seal-day", day.pk))


def test_planning_pressed_twice_plans_once(pages, bench, steps, today):
    first, second = (pages.post("plan-seal-day", bench.pk, **planned(steps, today)) for _ in range(2))

    assert first.url == second.url
    assert SealDay.objects.count() == 1


def test_bad_plan_is_shown_again_with_what_was_typed(pages, bench, steps, today):
    """Each with its own sentence, and nothing is planned."""
    bad = {
        "Say who is there": {"name-0": ""},
        "Tick the steps": {"steps": []},
        "Is it F or C": {"temperature_f": "72"},
        "no later than 09:00": {"goes-0": "08:00"},
        "Say from when to when": {"comes-0": ""},
        "past": {"on": str(today - ONE_DAY)},
    }
    for sentence, more in bad.items():
        answer = pages.post("plan-seal-day", bench.pk, **planned(steps, today, note="bring gloves", **more))
        assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY, sentence
        assert sentence in words(answer)
        assert "bring gloves" in words(answer)
    assert not SealDay.objects.exists()


# The day


def test_day_shows_batches_lots_people_and_cautions(pages, day):
    shown = words(pages.get("seal-day", day.pk))

    for text in ("1. SEAL-B2", "S-1", "S-2", "Ida", "F3-04", "highly flammable", "To the night before", "Mix batch 1", "today"):
        assert text in shown


def test_day_costs_no_more_queries_for_more_steps(queries_of, owner, project, sealant, day, today):
    address = reverse("seal-day", args=[day.pk])
    queries_of(owner, address)
    before = queries_of(owner, address)
    more = [factories.StepFactory(project=project, planned_on=today) for _ in range(4)]
    for step in more:
        factories.SeamFactory(step=step, sealant=sealant, length=Fraction("0.1"))
    services.set_steps(
        day=day, steps=[*(row.step for row in day.steps.select_related("step__project__bench")), *more], by=owner, today=today
    )

    assert queries_of(owner, address) == before


def test_reader_sees_the_day_and_changes_nothing(client_of, reader, day, bench, tins):
    pages = client_of(reader)
    for name in ("seal-days", "seal-day", "seal-day-card"):
        answer = pages.get(name, *([day.pk] if name != "seal-days" else []))
        assert answer.status_code == HTTPStatus.OK
        assert 'method="post"' not in answer.content.decode().split("<footer>")[0]
    refused = [pages.get(name, day.pk) for name in FORMS]
    refused += [pages.post(name, day.pk, text="x", key="") for name in (*FORMS, *ACTIONS)]
    refused += [pages.get("plan-seal-day", bench.pk), pages.get("mix-card", day.pk, 1), pages.post("mix-card", day.pk, 1, key=str(uuid4()))]

    assert {answer.status_code for answer in refused} == {HTTPStatus.FORBIDDEN}
    assert not DayCheck.objects.exists()


def test_stranger_finds_no_day_and_no_batch(client_of, outsider, day, pages):
    mix = mixed(pages, day)
    with scopes_disabled():
        stranger = client_of(factories.MemberFactory(workshop=outsider))
    found = [stranger.get(name, day.pk) for name in ("seal-day", "seal-day-card", *FORMS)]
    found += [stranger.post(name, day.pk) for name in (*FORMS, *ACTIONS)]
    found += [stranger.get("mix-card", day.pk, 1), stranger.post("mix-card", day.pk, 1), stranger.get("end-mix", mix.pk)]
    found += [stranger.post("end-mix", mix.pk, left="0"), stranger.post("take-back-mix", mix.pk)]

    assert {answer.status_code for answer in found} == {HTTPStatus.NOT_FOUND}


def test_what_batches_depend_on_is_changed(pages, day):
    said = fields(pages.get("seal-day-change", day.pk))
    assert said["temperature_f"] == "72 F"
    assert pages.post("seal-day-change", day.pk, **said | {"temperature_f": "80 F", "pace": "30"}).status_code == HTTPStatus.FOUND
    day.refresh_from_db()
    assert (day.temperature_f, day.pace) == (80, 30)
    assert pages.post("seal-day-change", day.pk, temperature_f="warm").status_code == HTTPStatus.UNPROCESSABLE_ENTITY


def test_people_come_and_go(pages, day, builder):
    rows = {"name-0": builder.name, "comes-0": "08:00", "goes-0": "12:00", "name-1": "", "comes-1": "09:00", "goes-1": "17:00"}
    assert pages.post("seal-day-people", day.pk, **rows).status_code == HTTPStatus.FOUND
    assert list(day.people.values_list("name", "member")) == [(builder.name, builder.pk)]

    nobody = pages.post("seal-day-people", day.pk, **rows | {"name-0": ""})
    assert nobody.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert day.people.count() == 1


def test_steps_and_data_sheets_are_changed(pages, day, steps, sealant):
    assert pages.post("seal-day-steps", day.pk, steps=[steps[0].pk]).status_code == HTTPStatus.FOUND
    assert list(day.steps.values_list("step", flat=True)) == [steps[0].pk]
    assert pages.post("seal-day-steps", day.pk).status_code == HTTPStatus.UNPROCESSABLE_ENTITY

    sheet = {f"life-{sealant.pk}": "2", f"cure-{sealant.pk}": "72"}
    assert pages.post("seal-day-products", day.pk, **sheet).status_code == HTTPStatus.FOUND
    assert day.products.get().cure_hours == 72
    assert pages.post("seal-day-products", day.pk, **sheet | {f"life-{sealant.pk}": "0"}).status_code == HTTPStatus.UNPROCESSABLE_ENTITY


def test_lots_are_held_and_freed_again(pages, day, tins):
    pages.post("seal-day-hold", day.pk)
    assert set(SetAside.objects.values_list("lot__code", flat=True)) == {"S-1", "S-2"}
    assert "set aside for the day" in words(pages.get("seal-day", day.pk))
    pages.post("seal-day-hold", day.pk, release="1")
    assert not SetAside.objects.exists()


def test_list_to_the_night_before_is_ticked_and_added_to(pages, day):
    check = pages.get("seal-day", day.pk).context["view"].checks[0]
    pages.post("seal-day-tick", day.pk, key=check.key, text=check.text)
    assert pages.get("seal-day", day.pk).context["view"].checks[0].ticked_at
    pages.post("seal-day-tick", day.pk, key=check.key, text=check.text, undo="1")
    assert not pages.get("seal-day", day.pk).context["view"].checks[0].ticked_at

    assert pages.post("seal-day-checks", day.pk, text="Heat the hangar").status_code == HTTPStatus.FOUND
    assert pages.post("seal-day-checks", day.pk, text="").status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    own = DayCheck.objects.get(text="Heat the hangar")
    pages.post("remove-seal-day-check", own.pk)
    assert not DayCheck.objects.filter(pk=own.pk).exists()


# Moving


def test_look_shows_before_and_after_and_moves_nothing(pages, day, steps, today):
    to = today + timedelta(days=7)
    shown = words(pages.post("seal-day-move", day.pk, to=str(to)))

    assert "Before and after" in shown
    assert str(to) in shown
    day.refresh_from_db()
    assert day.on == today


def test_move_that_was_not_looked_at_is_shown_first(pages, day, today):
    seen = pages.post("seal-day-move", day.pk, to=str(today + timedelta(days=7))).context["seen"]
    shown = pages.post("seal-day-move", day.pk, to=str(today + timedelta(days=8)), looked=seen, move="1")

    assert "Before and after" in words(shown)
    day.refresh_from_db()
    assert day.on == today


def test_move_pressed_twice_moves_once(pages, day, steps, today):
    to = today + timedelta(days=7)
    said = {"to": str(to), "later": "on"}
    seen = pages.post("seal-day-move", day.pk, **said).context["seen"]
    for _ in range(2):
        assert pages.post("seal-day-move", day.pk, **said, looked=seen, move="1").url == reverse("seal-day", args=[day.pk])
    day.refresh_from_db()
    for step in steps:
        step.refresh_from_db()
    assert day.on == steps[0].planned_on == to
    assert steps[2].planned_on == to + ONE_DAY
    assert pages.post("seal-day-move", day.pk, to=str(today - ONE_DAY)).status_code == HTTPStatus.UNPROCESSABLE_ENTITY


# Mixing


def mixed(pages, day, number=1, **more):
    said = fields(pages.get("mix-card", day.pk, number)) | more
    answer = pages.post("mix-card", day.pk, number, **said)
    assert answer.status_code == HTTPStatus.FOUND, answer.context["form"].errors
    return Mix.objects.get(key=said["key"])


def test_mix_card_is_filled_in_with_the_plan(pages, day, tins, drawer):
    answer = pages.get("mix-card", day.pk, 1)
    batch, said = answer.context["batch"], fields(answer)

    assert (Decimal(said["base"]), Decimal(said["accelerator"])) == (batch.base, batch.accelerator)
    assert said["lot"] == f"{tins[0].pk}-{drawer.pk}" if "lot" in said else tins[0].code in words(answer)
    assert "no-store" in answer["Cache-Control"]
    assert "highly flammable" in words(answer)


def test_batch_is_mixed_as_planned_by_one_press(pages, day, tins):
    batch = pages.get("mix-card", day.pk, 1).context["batch"]
    mix = mixed(pages, day)

    assert mix.base + mix.accelerator == batch.grams
    assert grams(tins[0]) == 40 - batch.grams
    assert {share.step_id: share.grams for share in mix.shares.all()} == {share.step_id: share.grams for share in batch.shares}
    assert pages.get("mix-card", day.pk, 1).url == reverse("end-mix", args=[mix.pk])
    shown = words(pages.get("end-mix", mix.pk))
    assert "data-work-until" in shown
    assert "minutes left at" in shown or "hour left at" in shown


def test_mixing_pressed_twice_mixes_once(pages, day, tins):
    said = fields(pages.get("mix-card", day.pk, 1))
    first, second = (pages.post("mix-card", day.pk, 1, **said) for _ in range(2))

    assert first.url == second.url
    assert DayMix.objects.count() == 1
    assert str(Mix.objects.get().key) in pages.get("seal-day", day.pk).content.decode()


def test_other_grams_are_shared_in_proportion_and_from_the_chosen_lot(pages, day, tins, drawer):
    answer = pages.get("mix-card", day.pk, 2)
    shares = answer.context["batch"].shares
    said = fields(answer) | {"base": "20", "accelerator": "2.001", "lot": f"{tins[1].pk}-{drawer.pk}"}
    assert pages.post("mix-card", day.pk, 2, **said).status_code == HTTPStatus.FOUND

    mix = Mix.objects.get()
    assert grams(tins[1]) == Decimal("177.999")
    assert sum(share.grams for share in mix.shares.all()) == Decimal("22.001")
    assert mix.shares.count() == len(shares)


def test_batch_is_taken_from_several_lots(pages, day, tins, drawer):
    answer = pages.get("mix-card", day.pk, 1, several="1")
    batch = answer.context["batch"]
    boxes = {f"take-{lot.pk}-{drawer.pk}": amount for lot, amount in zip(tins, (batch.grams - 10, 10), strict=True)}
    said = fields(answer) | boxes | {"several": "1"}
    assert (
        pages.post("mix-card", day.pk, 1, **said | {f"take-{tins[1].pk}-{drawer.pk}": "9"}).status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    )
    assert pages.post("mix-card", day.pk, 1, **said).status_code == HTTPStatus.FOUND
    assert (grams(tins[0]), grams(tins[1])) == (50 - batch.grams, 190)


def test_bad_batch_is_shown_again_and_takes_nothing(pages, day, tins):
    said = fields(pages.get("mix-card", day.pk, 1))
    soon = timezone.localtime(timezone.now() + timedelta(hours=2)).strftime("%Y-%m-%dT%H:%M")
    for more in ({"base": ""}, {"base": "0"}, {"base": "ten"}, {"lot": "1-1"}, {"mixed_at": soon}, {"mixed_by": ""}, {"base": "9000"}):
        answer = pages.post("mix-card", day.pk, 1, **said | more)
        assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY, more
        assert said["key"] in answer.content.decode()
        assert "data-answered" in answer.content.decode()
    assert not Mix.objects.exists()
    assert grams(tins[0]) == 40


def test_batch_at_a_forbidden_temperature_is_kept_with_a_loud_warning_everywhere(pages, day, steps):
    mix = mixed(pages, day, temperature_f="50 F")
    cold = "Too cold to seal: 50 F is outside 70 F to below 100 F."

    card = words(pages.get("end-mix", mix.pk))
    assert cold in card
    assert "NAVEDTRA 14315" in card
    assert "the data sheet says it" not in card
    shown = words(pages.get("seal-day", day.pk))
    assert shown.count(cold) == 2  # beside its clock, and in the table
    step = words(pages.get("step", steps[0].project.code, steps[0].code))
    assert cold in step
    assert "don't seal at this temperature" in step


def test_batch_at_a_temperature_that_no_metal_has_is_refused(pages, day, tins):
    said = fields(pages.get("mix-card", day.pk, 1))
    answer = pages.post("mix-card", day.pk, 1, **said | {"temperature_f": "900 C"})

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "past that it is a slip" in words(answer)
    assert 'value="900 C"' in words(answer)
    assert grams(tins[0]) == 40


def test_ratio_that_no_scale_explains_is_asked_about_and_said_wherever_the_batch_is(pages, day, steps):
    said = fields(pages.get("mix-card", day.pk, 1)) | {"base": "30", "accelerator": "3.9"}
    asked = pages.post("mix-card", day.pk, 1, **said)
    assert asked.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "As mixed 100 : 13; the product's is 100 : 10" in words(asked).replace("as mixed", "As mixed")
    assert "<details open>" in words(asked)
    assert (asked.context["form"]["accelerator"].value(), Mix.objects.exists()) == ("3.9", False)

    assert pages.post("mix-card", day.pk, 1, **said | {"note": "hardens faster"}).status_code == HTTPStatus.FOUND
    off = "As mixed 100 : 13; the product's is 100 : 10, by weight."
    for page in (pages.get("end-mix", Mix.objects.get().pk), pages.get("seal-day", day.pk)):
        assert off in words(page)
        assert "30 g base ask for 3 g accelerator; 3.9 g is off by 30 %" in words(page)
    assert off in words(pages.get("step", steps[0].project.code, steps[0].code))


def test_batch_far_from_its_day_is_refused_and_one_of_yesterday_shows_its_day(pages, day, today):
    said = fields(pages.get("mix-card", day.pk, 1))
    far = pages.post("mix-card", day.pk, 1, **said | {"mixed_at": f"{today - timedelta(days=25)}T10:00"})
    assert far.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "a rule of ours" in words(far)
    assert not Mix.objects.exists()

    mix = mixed(pages, day, mixed_at=f"{today - ONE_DAY}T10:00")
    for page in (pages.get("end-mix", mix.pk), pages.get("seal-day", day.pk)):
        assert f"{today - ONE_DAY} 10:00" in words(page)


def test_batch_that_is_not_in_the_plan_is_not_found(pages, day):
    assert pages.get("mix-card", day.pk, 99).status_code == HTTPStatus.NOT_FOUND
    assert pages.post("mix-card", day.pk, 1, item="0").status_code == HTTPStatus.NOT_FOUND


def test_batch_ends_with_what_was_left_and_can_be_corrected(pages, day):
    mix = mixed(pages, day)
    said = fields(pages.get("end-mix", mix.pk))
    for left in ("1.5", "2"):
        assert pages.post("end-mix", mix.pk, **said | {"left": left}).status_code == HTTPStatus.FOUND
    mix.refresh_from_db()
    assert mix.left == 2
    bad = pages.post("end-mix", mix.pk, **said | {"left": "9000"})
    assert bad.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "2 g left over" in words(bad)


def test_batch_is_taken_back(pages, day, tins):
    mix = mixed(pages, day)
    pages.post("take-back-mix", mix.pk)
    assert grams(tins[0]) == 40
    assert Lot.objects.get(pk=tins[0].pk).opened_on is None
    assert "Taken back" in words(pages.get("end-mix", mix.pk))


def test_cards_to_print_name_every_batch(pages, day):
    answer = pages.get("seal-day-card", day.pk)
    assert all(f"Batch {batch.number}:" in words(answer) for batch in answer.context["view"].batches)


# Closing


def mixed_through(pages, day):
    """All batches of the day, each used up."""
    while batches := pages.get("seal-day", day.pk).context["view"].batches:
        mix = mixed(pages, day, batches[0].number)
        pages.post("end-mix", mix.pk, **fields(pages.get("end-mix", mix.pk)))


def outcomes(steps, *, carried_to):
    first, second, _ = steps
    return {
        f"outcome-{first.pk}": "done",
        f"outcome-{second.pk}": "carried",
        f"carry-{second.pk}": str(carried_to),
        f"reason-{second.pk}": "dark",
    }


def test_day_is_closed_once_with_steps_done_and_carried(pages, day, steps, today):
    mixed_through(pages, day)
    said = outcomes(steps, carried_to=today + ONE_DAY)
    for _ in range(2):
        assert pages.post("seal-day-close", day.pk, **said).url == reverse("seal-day", args=[day.pk])
    for step in steps:
        step.refresh_from_db()
    day.refresh_from_db()
    assert (day.open, steps[0].done, steps[1].done, steps[1].planned_on) == (False, True, False, today + ONE_DAY)
    shown = words(pages.get("seal-day", day.pk))
    assert "Closed by" in shown
    assert "Carried to" in shown
    assert "Move it" not in shown


def test_close_asks_for_what_is_not_said(pages, day, steps, today):
    mix = mixed(pages, day)
    assert reverse("end-mix", args=[mix.pk]) in pages.get("seal-day-close", day.pk).content.decode()
    said = outcomes(steps, carried_to=today + ONE_DAY)
    for more in ({}, {f"reason-{steps[1].pk}": ""}, {f"carry-{steps[1].pk}": ""}, {f"outcome-{steps[0].pk}": ""}):
        assert pages.post("seal-day-close", day.pk, **said | more).status_code == HTTPStatus.UNPROCESSABLE_ENTITY, more
    day.refresh_from_db()
    assert day.open


def test_day_is_called_off_and_changes_no_more(pages, day, bench, today):
    assert pages.post("seal-day-call-off", day.pk, reason="").status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert pages.post("seal-day-call-off", day.pk, reason="fog").status_code == HTTPStatus.FOUND
    assert "Called off" in words(pages.get("seal-day", day.pk))
    for name in FORMS:
        assert pages.get(name, day.pk).status_code == HTTPStatus.CONFLICT, name
    assert pages.post("seal-day-hold", day.pk).status_code == HTTPStatus.CONFLICT


# Other pages


def test_other_pages_lead_to_the_day(pages, day, project, steps, tins, owner, today):
    link = reverse("seal-day", args=[day.pk])
    services.set_product(day=day, item=tins[0].item, life_hours=None, cure_hours=None, by=owner)
    factories.CallOutFactory(step=steps[0], item=factories.ItemFactory(workshop=project.workshop, code="CUP"), quantity=Decimal(9))
    assert link in pages.get("home").content.decode()
    assert link in pages.get("step", project.code, "F3-04").content.decode()
    assert link in pages.get("order-sheet", project.code).content.decode()
    assert reverse("seal-days") in pages.get("shelf-life").content.decode()
    assert reverse("seal-days") in pages.get("plan", project.code).content.decode()
