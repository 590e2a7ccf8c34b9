"""The pages of the log, as people meet them."""

from http import HTTPStatus
from uuid import uuid4

import pytest
import time_machine
from django.urls import reverse
from django.utils import timezone

from buildplan.logbook import services
from buildplan.logbook.services import Worked
from buildplan.models import Finish, LogEntry, LogHours, Signature
from inventory.models import BenchHolder, Photo
from tests import factories
from tests.buildplan.logbook.conftest import BEFORE
from tests.factories import DAY
from tests.pictures import files, picture, upload


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel(DAY, tick=False):
        yield


def words(answer):
    return " ".join(answer.content.decode().split())


@pytest.fixture
def step_page(step):
    return reverse("step", args=[step.project.code, step.code])


@pytest.fixture
def writing(step):
    return reverse("write-log", args=[step.project.code, step.code])


def said(builder, **more):
    return {
        "key": uuid4(),
        "on": BEFORE,
        "text": "Riveted the keel.\r\nTwo rivets redone.",
        "who-0": builder.name,
        "time-0": "1:30",
        **more,
    }


class TestWrite:
    def test_form_begins_with_what_the_finish_said(self, as_member, builder, writing, finished):
        found = words(as_member(builder).get(writing))

        assert f'value="{BEFORE}"' in found
        assert "Seal the seams. both sides" in found
        assert f'value="{builder.name}"' in found
        assert "The plan says 90 minutes." in found

    def test_entry_keeps_day_lines_hours_of_members_and_helpers_and_a_photo(self, as_member, builder, writing, step):
        sent = said(builder, **{"who-1": "Jon, a guest", "time-1": "45 min", "photo": upload(picture()), "caption": "tails"})
        answer = as_member(builder).post(writing, sent)

        entry = LogEntry.objects.get()
        assert answer.url == reverse("log-entry", args=[entry.pk])
        assert (entry.step, entry.on, entry.text) == (step, BEFORE, "Riveted the keel.\nTwo rivets redone.")
        assert list(LogHours.objects.order_by("pk").values_list("member", "name", "minutes")) == [
            (builder.pk, "", 90),
            (None, "Jon, a guest", 45),
        ]
        assert list(Photo.objects.values_list("ref", "caption")) == [(f"log:{entry.pk}", "tails")]
        shown = words(as_member(builder).get(answer.url))
        assert "Two rivets redone." in shown
        assert "in all <strong>2:15 h</strong>" in shown

    def test_form_sent_twice_writes_one_entry_and_keeps_one_photo(self, as_member, builder, writing):
        client, key = as_member(builder), uuid4()
        answers = [client.post(writing, said(builder, key=key, photo=upload(picture()))) for _ in range(2)]

        assert answers[0].url == answers[1].url
        assert LogEntry.objects.count() == LogHours.objects.count() == Photo.objects.count() == len(files()) == 1

    def test_wrong_form_keeps_what_was_typed(self, as_member, builder, writing):
        cases = {
            "Write hours and minutes": {"time-0": "soon"},
            "is still to come": {"on": "2027-02-21"},
            "Say whose hours these are": {"who-0": ""},
            "stands twice": {"who-1": builder.name.upper(), "time-1": "1"},
        }
        client = as_member(builder)
        for sentence, wrong in cases.items():
            answer = client.post(writing, said(builder, **wrong))
            assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
            assert sentence in words(answer)
            assert "Two rivets redone." in words(answer)
        assert not LogEntry.objects.exists()

    def test_more_people_adds_boxes_and_writes_nothing(self, as_member, builder, writing):
        answer = as_member(builder).post(writing, said(builder, more="1", **{"who-2": "", "time-2": ""}))

        assert answer.status_code == HTTPStatus.OK
        assert 'name="who-4"' in words(answer)
        assert "Two rivets redone." in words(answer)
        assert not LogEntry.objects.exists()

    def test_finishing_can_go_on_to_the_log(self, as_member, builder, step_page, writing, step):
        answer = as_member(builder).post(step_page, {"on": DAY, "note": "", "log": "1"})

        assert answer.url == writing
        assert Finish.objects.filter(step=step).exists()

    def test_builder_of_another_bench_and_reader_do_not_write(self, as_member, builder, reader, writing, step, workshop):
        BenchHolder.objects.create(workshop=workshop, bench=step.project.bench, member=factories.MemberFactory(workshop=workshop))
        for who in (builder, reader):
            assert as_member(who).post(writing, said(builder)).status_code == HTTPStatus.FORBIDDEN
        assert not LogEntry.objects.exists()

    def test_entry_of_the_project_has_no_step_and_no_lots(self, as_member, builder, project, finished):
        as_member(builder).post(reverse("write-project-log", args=[project.code]), said(builder))

        entry = LogEntry.objects.get()
        assert entry.step is None
        assert "R7" not in words(as_member(builder).get(reverse("log-entry", args=[entry.pk])))


class TestStepPage:
    def test_step_tells_lots_log_photos_and_history(self, as_member, builder, inspector, step_page, step, finished, write):
        entry = write()
        as_member(builder).post(
            reverse("step-photos", args=[step.project.code, step.code]), {"photo": upload(picture()), "caption": "before the skin"}
        )
        services.sign(of=entry, key=uuid4(), by=inspector, now=timezone.now())

        found = words(as_member(builder).get(step_page))
        assert "expires 2027-06-30" in found
        assert "Riveted the keel." in found
        assert "before the skin" in found
        assert "Seen by Amos Reed" in found
        assert f"finished it on {BEFORE}: both sides" in found
        assert f"wrote the log entry of {BEFORE}" in found
        assert "took a photo: before the skin" in found
        assert f"Nobody holds {step.project.bench.name}" in found
        assert found.index('id="log"') < found.index('id="needs"')

    def test_step_to_do_says_first_what_to_do(self, as_member, builder, step_page):
        found = words(as_member(builder).get(step_page))

        assert found.index('id="needs"') < found.index('id="finish"') < found.index('id="log"') < found.index('id="photos"')

    def test_step_takes_the_same_queries_whatever_is_written(self, queries_of, builder, inspector, step_page, step, finished, write):
        def grow(number):
            entry = write(text=f"Entry {number}")
            services.sign(of=entry, key=uuid4(), by=inspector, now=timezone.now())
            Photo.objects.create(
                workshop=step.workshop, ref=f"step:{step.pk}", file=f"{number}.jpg", digest=str(number), width=4, height=3, by=builder
            )

        grow(1)
        few = queries_of(builder, step_page)
        for number in range(2, 9):
            grow(number)
        assert queries_of(builder, step_page) == few


class TestLog:
    def test_log_adds_hours_and_filters(self, as_member, builder, workshop, project, step, write):
        ida = factories.MemberFactory(workshop=workshop, role="builder", name="Ida")
        tail = factories.StepFactory(project=project, code="T1", section=factories.SectionFactory(project=project, name="Tail", position=2))
        write(text="floats", minutes=90)
        write(text="tail", of=tail, minutes=None, hours=[Worked(60, builder), Worked(30, ida)], on=DAY)
        write(text="general", of=None, minutes=15, on=DAY)
        client = as_member(builder)
        cases = [
            ({}, "3:15", {"floats", "tail", "general"}),
            ({"section": tail.section_id}, "1:30", {"tail"}),
            ({"first": DAY}, "1:45", {"tail", "general"}),
            ({"last": BEFORE}, "1:30", {"floats"}),
            ({"member": ida.pk}, "0:30", {"tail"}),
            ({"project": project.code}, "3:15", {"floats", "tail", "general"}),
        ]
        for asked, hours, texts in cases:
            found = words(client.get(reverse("log"), {"project": project.code, **asked}))
            assert f"<dd>{hours} <small>" in found, asked
            assert {text for text in ("floats", "tail", "general") if f"<p>{text}</p>" in found} == texts

    def test_period_that_ends_before_it_begins_is_said(self, as_member, builder, write):
        answer = as_member(builder).get(reverse("log"), {"first": DAY, "last": BEFORE})

        assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "is before" in words(answer)

    def test_log_and_hours_take_the_same_queries_at_one_entry_and_at_many(self, queries_of, builder, write, finished):
        write()
        few = [queries_of(builder, reverse(name)) for name in ("log", "log-hours", "log-csv")]
        for number in range(12):
            write(text=f"Entry {number}", of=None if number % 2 else write().step)

        assert [queries_of(builder, reverse(name)) for name in ("log", "log-hours", "log-csv")] == few

    def test_hours_have_a_picture_and_the_table(self, as_member, builder, write):
        write()
        found = words(as_member(builder).get(reverse("log-hours")))

        assert '<title id="hours-title">Hours by section</title>' in found
        assert '<rect x="0" y="22" width="100.000%"' in found
        assert "1:30" in found.split("<table")[1]

    def test_empty_log_says_what_to_do(self, as_member, reader):
        assert "best written from the page of the step" in words(as_member(reader).get(reverse("log")))


class TestEdit:
    def test_correction_keeps_the_former_text(self, as_member, builder, write):
        entry = write(text="Rivetted the kell.")
        client = as_member(builder)
        client.post(reverse("edit-log", args=[entry.pk]), said(builder, **{"time-0": "2"}))

        found = words(client.get(reverse("log-entry", args=[entry.pk])))
        assert "2:00" in found
        assert "All 2 versions" in found
        assert "Rivetted the kell." in found

    def test_correction_of_a_signed_entry_is_refused_with_what_was_typed(self, as_member, builder, inspector, write):
        entry = write()
        services.sign(of=entry, key=uuid4(), by=inspector, now=timezone.now())

        answer = as_member(builder).post(reverse("edit-log", args=[entry.pk]), said(builder, text="other"))
        assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "Amos Reed has seen and signed this entry" in words(answer)
        entry.refresh_from_db()
        assert entry.text == "Riveted the keel."

    def test_person_who_left_keeps_their_hours_as_a_member(self, as_member, builder, workshop, write):
        gone = factories.MemberFactory(workshop=workshop, role="builder", name="Gone Gerda")
        entry = write(minutes=None, hours=[Worked(60, gone)])
        gone.active = False
        gone.save()

        as_member(builder).post(
            reverse("edit-log", args=[entry.pk]), {"on": BEFORE, "text": "same work", "who-0": "Gone Gerda", "time-0": "1:00"}
        )
        assert list(LogHours.objects.values_list("member", "name")) == [(gone.pk, "")]

    def test_struck_entry_stays_and_counts_no_hours(self, as_member, builder, write):
        entry = write()
        client = as_member(builder)
        client.post(reverse("strike-log", args=[entry.pk]), {"why": "of the other float"})

        found = words(client.get(reverse("log")))
        assert "Struck out:</strong> of the other float" in found
        assert "<dd>0:00 <small>" in found


class TestSign:
    def test_inspector_signs_as_seen_with_a_number_of_their_own(self, as_member, inspector, write):
        entry = write()
        sent = {"key": uuid4(), "licence": "LAA 1234", "statement": "Looked at each\r\ntail."}
        for _ in range(2):
            as_member(inspector).post(reverse("sign-log", args=[entry.pk]), sent)

        signature = Signature.objects.get()
        assert (signature.name, signature.role, signature.licence) == ("Amos Reed", "inspector", "LAA 1234")
        assert signature.statement == "Looked at each tail."
        found = words(as_member(inspector).get(reverse("log-entry", args=[entry.pk])))
        assert "Seen by <strong>Amos Reed</strong> (inspector)" in found
        assert "approved" not in found.lower()

    def test_owner_signs_only_without_an_inspector_and_names_who_looked(self, as_member, owner, workshop, write):
        entry = write()
        sent = {"key": uuid4(), "name": "A visiting inspector", "licence": "", "statement": "Seen."}
        as_member(owner).post(reverse("sign-log", args=[entry.pk]), sent)
        assert list(Signature.objects.values_list("name", "role", "by")) == [("A visiting inspector", "owner", owner.pk)]

        factories.MemberFactory(workshop=workshop, role="inspector", name="Amos Reed")
        answer = as_member(owner).post(reverse("sign-log", args=[write().pk]), {**sent, "key": uuid4()})
        assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "Amos Reed is inspector here" in words(answer)

    def test_withdrawn_signature_stays_with_its_reason(self, as_member, inspector, write, builder):
        entry = write()
        signature = services.sign(of=entry, key=uuid4(), by=inspector, now=timezone.now())
        client = as_member(inspector)
        client.post(reverse("withdraw-signature", args=[signature.pk]), {"why": "wrong float"})

        found = words(client.get(reverse("log-entry", args=[entry.pk])))
        assert "Withdrawn" in found
        assert "wrong float" in found
        assert "Correct it" in words(as_member(builder).get(reverse("log-entry", args=[entry.pk])))

    def test_step_signed_as_seen_shows_what_changed_since(self, as_member, inspector, builder, step_page, step, finished):
        sign = reverse("sign-step", args=[step.project.code, step.code])
        as_member(inspector).post(sign, {"key": uuid4(), "licence": "", "statement": "Seen before closing."})
        assert "Changed since" not in words(as_member(builder).get(step_page))

        as_member(builder).post(reverse("take-back", args=[step.project.code, step.code]))
        assert "Changed since it was seen:</strong> what it took of stock, the finish" in words(as_member(builder).get(step_page)).replace(
            "the finish, what it took of stock", "what it took of stock, the finish"
        )


class TestPhotos:
    def test_photo_is_kept_captioned_and_removed(self, as_member, builder, step, django_capture_on_commit_callbacks):
        client, where = as_member(builder), reverse("step-photos", args=[step.project.code, step.code])
        client.post(where, {"photo": upload(picture(1200, 900)), "caption": "tails"})
        kept = Photo.objects.get()
        assert kept.ref == f"step:{step.pk}"

        small = client.get(reverse("photo", args=[kept.pk]), {"small": "1"})
        assert len(small.content) < len(client.get(reverse("photo", args=[kept.pk])).content)
        with django_capture_on_commit_callbacks(execute=True):
            client.post(reverse("remove-photo", args=[kept.pk]), {"next": where})
        assert not Photo.objects.exists()
        assert files() == []

    def test_what_is_no_picture_is_refused(self, as_member, builder, step):
        answer = as_member(builder).post(
            reverse("step-photos", args=[step.project.code, step.code]), {"photo": upload(b"%PDF-1.7", "a.jpg")}
        )

        assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "This is a PDF" in words(answer)

    def test_signed_entry_takes_no_further_photo(self, as_member, builder, inspector, write):
        entry = write()
        services.sign(of=entry, key=uuid4(), by=inspector, now=timezone.now())

        answer = as_member(builder).post(reverse("log-photos", args=[entry.pk]), {"photo": upload(picture()), "caption": ""})
        assert answer.status_code == HTTPStatus.CONFLICT
        assert not Photo.objects.exists()
