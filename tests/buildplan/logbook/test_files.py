"""The log as files: CSV that loads again, bad rows told all at once, PDF for an inspector."""

import csv
from io import BytesIO, StringIO
from uuid import uuid4

import pypdfium2
import pytest
import time_machine
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone
from django_scopes import scope, scopes_disabled
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from buildplan.loading.services import Request, load
from buildplan.loading.targets import Named
from buildplan.logbook import services
from buildplan.logbook.files import READ, as_csv
from buildplan.logbook.queries import rows
from buildplan.logbook.services import Worked
from buildplan.models import LogEntry, LogHours, Signature
from inventory.photos.services import read_picture
from tests import factories
from tests.buildplan.logbook.conftest import BEFORE
from tests.factories import DAY
from tests.pictures import picture


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel(DAY, tick=False):
        yield


@pytest.fixture
def told(write, builder, inspector, finished):
    """Entries of a step and of none, one struck out, one signed; two people in one."""
    first = write(text='Riveted "the keel",\nthen =1+1.', minutes=None, hours=[Worked(90, builder), Worked(20, name="Jon, a guest")])
    services.sign(of=first, key=uuid4(), by=inspector, now=timezone.now(), licence="A-1234")
    wrong = write(text="Of the other float", of=None, minutes=None)
    services.strike_entry(entry=wrong, why="=wrong float", by=builder, now=timezone.now())
    write(text="-5 rivets short", of=None, on=DAY, minutes=30)
    return first


@pytest.fixture
def empty():
    """Another workshop with the same plan and nobody in it, its scope active while it is asked for."""
    with scopes_disabled():
        workshop = factories.WorkshopFactory(code="EMPTY")
        project = factories.ProjectFactory(bench=factories.BenchFactory(workshop=workshop), code="TERN-1")
        factories.StepFactory(project=project, code="F3-05")
    return workshop


def read_back(text):
    """What loading reads of a file: the other columns are told by the ledger and the signers."""
    return [[row[name] for name in READ] for row in csv.DictReader(StringIO(text))]


def load_text(text, folder, workshop, name="log.csv", **said):
    path = folder / name
    path.write_text(text, newline="")
    return load(Request("log", path, Named(workshop=workshop, project="TERN-1"), **said), today=DAY)


def log_of(project):
    return as_csv(rows(LogEntry.objects.filter(project=project).order_by("on", "pk")))


class TestCsv:
    def test_file_tells_lots_signatures_and_one_row_a_person(self, as_member, reader, told):
        found = list(csv.DictReader(StringIO(as_member(reader).get(reverse("log-csv")).content.decode())))

        first = [row for row in found if row["entry"] == str(told.key)]
        assert [(row["person"], row["hours"]) for row in first][1] == ("Jon, a guest", "0:20")
        assert "lot R7 (made 2026-06-01, expires 2027-06-30)" in first[0]["lots"]
        assert first[0]["seen_by"].startswith("seen by Amos Reed (inspector, A-1234)")
        assert {row["struck"] for row in found} == {"", "'=wrong float"}
        assert {row["text"] for row in found} >= {"'-5 rivets short"}

    def test_exported_log_loads_into_an_empty_workshop_and_exports_equal(self, told, project, tmp_path, empty):
        path = tmp_path / "log.csv"
        call_command("export", "log", str(path), workshop="MARSH", project=project.code, stdout=StringIO())
        text = path.read_text()
        outcome = load_text(text, tmp_path, "EMPTY", "again.csv")

        assert outcome.errors == []
        assert outcome.loaded == {"entries": 3, "there_already": 0}
        assert outcome.warnings == ["again.csv: lots, seen_by: not read: the ledger tells the lots, people sign and photograph anew"]
        with scope(workshop=empty):
            assert read_back(log_of(empty.projects.get())) == read_back(text)
            assert not Signature.objects.exists()

    def test_file_loaded_twice_writes_nothing_twice(self, told, project, tmp_path, empty):
        text = log_of(project)
        load_text(text, tmp_path, "EMPTY")

        assert load_text(text, tmp_path, "EMPTY").loaded == {"entries": 0, "there_already": 3}
        assert load_text(text, tmp_path, "MARSH").loaded == {"entries": 0, "there_already": 3}

    def test_list_kept_by_hand_loads_with_members_by_name(self, project, step, builder, tmp_path):
        text = (
            "day,text,step,person,hours\n"
            f"2027-02-17,Dimpled the ribs,f3-05,{builder.name},1.5\n"
            "2027-02-17,Dimpled the ribs,F3-05,Jon,45 min\n"
            "2030-01-01,Far ahead,,,\n"
        )
        assert load_text(text, tmp_path, "MARSH").errors == []
        assert load_text(text, tmp_path, "MARSH").loaded == {"entries": 0, "there_already": 2}

        dimpled, _ = LogEntry.objects.order_by("on")
        assert dimpled.step == step
        assert [(row.member, row.name, row.minutes) for row in dimpled.hours.order_by("pk")] == [(builder, "", 90), (None, "Jon", 45)]

    def test_bad_rows_are_all_told_and_nothing_is_written(self, project, step, tmp_path, write):
        there = write(text="as it was", minutes=None)
        text = (
            "entry,day,text,step,person,hours,lot\n1,2027-02-30,x,,,,\n2,2027-02-17,,,,,\n3,2027-02-17,x,F3-06,,,\n"
            f"4,2027-02-17,x,,Jon,25:00,\n5,2027-02-17,x,,,1:00,\n6,2027-02-17,x,,Jon,1,\n6,2027-02-17,y,,Ida,1,\n7,2027-02-17,z,,Jon,1,\n"
            f"7,2027-02-17,z,,jon,1,\n{there.key},{BEFORE},otherwise,F3-05,,,\n"
        )
        good = text.replace(",lot\n", "\n").replace(",\n", "\n")
        assert "no such column" in " ".join(load_text(text, tmp_path, "MARSH").errors)

        errors = load_text(good, tmp_path, "MARSH").errors
        for told in (
            "log.csv:2: day: '2027-02-30' is no day of the calendar",
            "log.csv:3: text: it is blank",
            "log.csv:4: step: 'F3-06' is no step of the project: did you mean F3-05?",
            "log.csv:5: hours: '25:00': give more than nothing",
            "log.csv:6: person: whose hours are these",
            "log.csv:8: entry: it is on log.csv:7 too",
            "log.csv:10: person: 'jon' stands twice",
            "log.csv:11: entry: it is there already and says something else",
        ):
            assert any(error.startswith(told) for error in errors), (told, errors)
        assert len(errors) == 8
        assert LogEntry.objects.count() == 1

    @given(
        st.lists(
            st.tuples(st.text(max_size=12), st.dictionaries(st.sampled_from(["Jon", "=Ida", "Ö"]), st.integers(1, 1440), max_size=3)),
            min_size=1,
            max_size=4,
        )
    )
    @settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
    def test_whatever_was_written_loads_back_equal(self, write, project, empty, tmp_path_factory, entries):
        """Against the file itself: what is exported after loading is what was loaded."""
        LogHours.objects.all().delete()
        LogEntry.objects.all().delete()
        with scope(workshop=empty):
            LogHours.objects.all().delete()
            LogEntry.objects.all().delete()
        for text, hours in entries:
            said = "".join(char for char in text if char.isprintable() or char == "\n").strip() or "x"
            write(text=said, of=None, minutes=None, hours=[Worked(minutes, name=name) for name, minutes in hours.items()])
        exported = log_of(project)

        assert load_text(exported, tmp_path_factory.mktemp("log"), "EMPTY").errors == []
        with scope(workshop=empty):
            assert read_back(log_of(empty.projects.get())) == read_back(exported)


class TestPdf:
    def pages(self, data):
        return [page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(BytesIO(data))]

    def test_print_has_lots_signatures_photos_page_numbers_and_cautions(self, as_member, reader, told, write, builder, step):
        services.add_photo(of=step, picture=read_picture(picture(900, 600)), caption="tails inside", at=timezone.now(), by=builder)
        services.add_photo(of=write(), picture=read_picture(picture(800, 600)), caption="keel", at=timezone.now(), by=builder)
        for number in range(60):
            write(text=f"Entry {number} with a line of its own", minutes=15)
        answer = as_member(reader).get(reverse("log-pdf"), {"project": step.project.code})
        found = self.pages(answer.content)
        text = " ".join(" ".join(found).split())

        assert answer["Content-Type"] == "application/pdf"
        assert f"page 2 of {len(found)}" in found[1]
        for said in (
            "Builder's log of Project TERN-1",
            "it never approves an aeroplane",
            "Seen by Amos Reed (inspector, A-1234)",
            "lot R7 (made 2026-06-01, expires 2027-06-30)",
            "tails inside",
            "keel",
            "STRUCK OUT",
            "Hours by section",
        ):
            assert said in text, said
        assert text.count("lot R7") == 1  # once a step, however many entries it has

    def test_print_of_a_section_and_period_has_only_that(self, as_member, reader, told, step):
        asked = {"project": step.project.code, "section": step.section_id, "first": BEFORE, "last": BEFORE}
        text = " ".join(self.pages(as_member(reader).get(reverse("log-pdf"), asked).content))

        assert "Section: Floats" in text
        assert "Riveted" in text
        assert "rivets short" not in text

    def test_print_of_nothing_says_so(self, as_member, reader, project):
        assert "no entry in this part" in self.pages(as_member(reader).get(reverse("log-pdf")).content)[0]
