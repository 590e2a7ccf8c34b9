"""The pages of closing up and of leak tests."""

from http import HTTPStatus
from uuid import uuid4

import pytest
import time_machine
from django.urls import reverse

from buildplan.closeup import queries, services
from buildplan.closeup.models import Closing, GateTick, LeakReading, LeakTest
from buildplan.closeup.starting import CODES, Fact
from buildplan.plan.models import Section
from tests import factories, loads
from tests.buildplan.closeup.conftest import NOW
from tests.undo import pressed

READING = {"at": "2027-02-20T09:00", "pressure": "27", "pressure_unit": "inH2O", "temperature": "20", "temperature_unit": "C"}
READING |= {"barometer": "1013", "barometer_unit": "hPa"}


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def post(as_member, builder):
    """What a form of a page answers, to the builder unless said."""

    def post(page, *args, by=builder, **said):
        return as_member(by).post(reverse(page, args=args), said, follow=True)

    return post


@pytest.fixture
def look(as_member, builder):
    """The text of a page, as the builder sees it unless said."""

    def look(name, *args, by=builder):
        answer = as_member(by).get(reverse(name, args=args))
        assert answer.status_code == HTTPStatus.OK
        return answer.content.decode()

    return look


def test_section_is_ticked_closed_and_opened_again_by_pages(post, look, section, step, inspector, builder):
    assert "a starting list of ours" in look("gate", section.pk).lower()
    for code in CODES:
        post("tick-gate", section.pk, point=code, by=inspector if code == Fact.SEEN else builder)
    assert "10 of 10 ticked" in look("gate", section.pk)
    post("untick-gate", section.pk, point="leak")

    refused = post("close-section", section.pk, key=uuid4())
    assert refused.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "The leak test was made, as the kit maker says: tick them" in refused.content.decode()
    key = uuid4()
    for _ in range(2):
        post("close-section", section.pk, key=key, note="by daylight", **{"why-leak": "no tank in it"})
    assert Closing.objects.count() == 1
    shown = look("gate", section.pk)
    for told in ("Closed up", "by daylight", "no tank in it", "K1-01: not done"):
        assert told in shown
    assert "Floats was closed up" in look("step", "TERN-1", step.code)
    assert "closed up" in look("closing")
    assert "closed up" in look("plan", "TERN-1")

    assert post("reopen-section", section.pk, why="").status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "Every point is to be ticked anew." in post("reopen-section", section.pk, why="the vent chafes").content.decode()
    assert "the vent chafes" in look("gate", section.pk)
    assert "open again" in look("closing")


def test_finish_of_a_closed_section_s_step_is_not_offered_and_refused(post, look, close, step):
    close(reasons=dict.fromkeys(CODES, "as built"))

    assert 'id="finish"' not in look("step", "TERN-1", step.code)
    refused = post("step", "TERN-1", step.code, on="2027-02-20")
    assert "Floats is closed up, so K1-01 stays as it is" in refused.content.decode()


def test_tick_is_undone_from_its_message(as_member, builder, section):
    pressed(as_member(builder), "tick-gate", section.pk, point="edges")

    assert GateTick.objects.count() == 1
    assert not GateTick.objects.filter(withdrawn_at=None).exists()


def test_list_is_changed_and_a_refused_one_stays_as_typed(post, look, section):
    rows = {f"text-{code}": f"Point {code}" for code in CODES} | {f"place-{code}": 5 for code in CODES}
    refused = post("gate-list", section.pk, **rows | {"text-edges": "Point steps"}, **{"new-0": "Strainer fitted"})
    assert refused.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "Strainer fitted" in refused.content.decode()

    for _ in range(2):
        post("gate-list", section.pk, **rows | {"drop-marks": "on", "new-0": "Strainer fitted"})
        rows = {name: said for name, said in rows.items() if "marks" not in name}
    texts = [point.text for point in queries.points_of(section)]
    assert ("Strainer fitted" in texts, "Point marks" in texts, len(texts)) == (True, False, 10)
    assert "Strainer fitted" in look("gate-sheet", section.pk)


def test_leak_test_is_begun_read_struck_and_shown_with_its_picture_and_table(post, look, section):
    shown = look("new-leak-test", section.pk)
    assert "Never compressed air from the line" in shown
    assert "common practice" in shown
    limit = {"name": "Left tank", "drop": "0.5", "minutes": "15", "source": "an invented manual"}
    refused = post("new-leak-test", section.pk, **limit, key=uuid4())
    assert "Say in which unit." in refused.content.decode()
    key = uuid4()
    for _ in range(2):
        post("new-leak-test", section.pk, **limit, drop_unit="inH2O", key=key)
    test = LeakTest.objects.get()

    reading = uuid4()
    for _ in range(2):
        post("add-reading", test.pk, **READING, key=reading)
    post("add-reading", test.pk, **READING | {"at": "2027-02-20T09:15", "pressure": "26.4"}, key=uuid4())
    assert LeakReading.objects.count() == 2
    shown = look("leak-test", test.pk)
    for told in ("beyond the limit entered", "0.6 inH2O", "<svg", "<desc", "Squares on a dashed line", "This decides nothing"):
        assert told in shown
    bad = post("add-reading", test.pk, **READING | {"barometer": "10"}, key=uuid4())
    assert bad.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "10 hPa is no air pressure" in bad.content.decode()

    wrong = LeakReading.objects.order_by("-at")[0]
    assert post("strike-reading", wrong.pk, why="").status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    post("strike-reading", wrong.pk, why="the other gauge")
    assert "the other gauge" in look("leak-test", test.pk)
    post("change-leak-test", test.pk, name="Left outer tank", key=key)
    assert "no drop given" in look("leak-test", test.pk)


def test_no_pressure_stands_in_a_form_before_somebody_enters_it(look, section, leak, read):
    read(0, 27)
    for shown in (look("new-leak-test", section.pk), look("leak-test", leak.pk)):
        for name in ("pressure", "drop"):
            found = [part for part in shown.split("<input") if f'name="{name}"' in part.split(">")[0]]
            assert all("value=" not in part.split(">")[0] and "placeholder" not in part.split(">")[0] for part in found)
            assert found or name == "drop"


def test_reader_sees_everything_and_is_offered_nothing(look, reader, section, leak, read):
    read(0, 27)
    for shown in (look("gate", section.pk, by=reader), look("leak-test", leak.pk, by=reader)):
        for offered in ("tick-gate", "/tick/", "/close/", "/readings/", "/strike/", "/list/"):
            assert offered not in shown


def test_pages_take_as_many_queries_for_many_rows_as_for_one(queries_of, owner, section, leak, read, project, builder):
    read(0, 27)
    services.tick(section=section, point="edges", by=builder, now=NOW)
    addresses = [reverse("closing"), *(reverse(name, args=[section.pk]) for name in ("gate", "gate-sheet"))]
    addresses.append(reverse("leak-test", args=[leak.pk]))
    few = [queries_of(owner, address) for address in addresses]

    for number in range(6):
        read(number + 1, 26)
        factories.StepFactory(project=project, section=section)
        factories.StepFactory(project=project, section__name=f"Section {number}")
        services.tick(section=section, point=CODES[number + 3], by=builder, now=NOW)
    assert [queries_of(owner, address) for address in addresses] == few
    assert max(few) <= 34


@pytest.mark.usefixtures("project")
def test_plan_that_changes_a_closed_section_is_refused_and_one_that_leaves_it_is_loaded(owner, tmp_path):
    def load(*lines):
        folder = tmp_path / str(uuid4())
        loads.table(folder / "steps.csv", loads.STEPS, *lines)
        return loads.load("plan", folder, "--project", "TERN-1")

    assert load("A,Tanks,Do it", "B,Tanks,Do it", "C,Wings,Do it").code == 0
    tanks = Section.objects.get(name="Tanks")
    services.close(section=tanks, reasons=dict.fromkeys(CODES, "as built"), by=owner, now=NOW, key=uuid4())

    for lines, named in (
        (("A,Wings,Do it", "B,Tanks,Do it", "C,Wings,Do it"), "A"),
        (("A,Tanks,Do it", "B,Tanks,Do it", "C,Tanks,Do it"), "C"),
    ):
        told = f"steps.csv: section: Tanks is closed up, and the file changes it: {named}: open it again first"
        assert load(*lines).errors == [told]
    assert load("A,Tanks,Do it well", "B,Tanks,Do it", "C,Wings,Do it").code == 0

    factories.ItemFactory(workshop=owner.workshop, code="AN3-5A")
    steps = tmp_path / "last"
    loads.table(steps / "steps.csv", loads.STEPS, "A,Tanks,Do it well", "B,Tanks,Do it", "C,Wings,Do it")
    loads.table(steps / "needs.csv", loads.NEEDS, "A,AN3-5A,4")
    told = "Tanks is closed up, and the file changes what is called out of A: open the section again first, with the reason"
    assert loads.load("plan", steps, "--project", "TERN-1").errors == [told]

    services.reopen(section=tanks, why="renamed", by=owner, now=NOW)
    assert load("A,Fuel,Do it", "B,Fuel,Do it", "C,Wings,Do it").code == 0
    assert {row.name for row in queries.gates()} == {"Fuel", "Tanks", "Wings"}
