"""The pages of traces and notices."""

from datetime import date, time, timedelta
from decimal import Decimal
from fractions import Fraction
from http import HTTPStatus
from io import BytesIO

import pypdfium2
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from buildplan.models import Notice, NoticeLetter, Task
from buildplan.sealday import services as seal_days
from buildplan.sealday.services import PersonData
from buildplan.trace import pdf, services
from tests import factories
from tests.buildplan.trace.conftest import AT


def words_of(data):
    """The text of a PDF."""
    return "\n".join(page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(BytesIO(data)))


@pytest.fixture
def seen(as_member, owner):
    """A page as the owner sees it."""

    def seen(name, *args, **asked):
        return as_member(owner).get(reverse(name, args=args), asked)

    return seen


def test_a_trace_is_reached_from_lot_and_step_and_chosen_on_its_page(seen, rivet, lot_of, step_of, finish, project):
    lot, step = lot_of(rivet), step_of("F1")
    finish(step, (lot, 3))

    assert f"{reverse('trace')}?lot={lot.pk}" in seen("lot", lot.pk).text
    assert f"{reverse('trace')}?project=TERN-1&amp;step=F1" in seen("step", "TERN-1", "F1").text
    assert "TERN-1" in seen("trace").text
    went, came = seen("trace", lot=lot.pk).text, seen("trace", project="TERN-1", step="F1").text
    assert "certain" in went
    assert reverse("step", args=["TERN-1", "F1"]) in went
    assert reverse("lot", args=[lot.pk]) in came


def test_a_lot_of_an_open_notice_says_so_wherever_it_is_offered(seen, workshop, bench, lot_of, step_of, notice_of, owner):
    today = timezone.localdate()
    known = {"gravity": Decimal("1.55"), "base": Decimal(100), "accelerator": Decimal(10)}
    sealant = factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g", **known)
    lot = lot_of(sealant, "S-2231", expires_on=today + timedelta(days=90), day=today)
    lot_of(sealant, "S-2232", expires_on=today + timedelta(days=99), day=today)
    step = step_of("F1", planned_on=today)
    factories.SeamFactory(step=step, sealant=sealant, code="KEEL", length=Fraction("1.15"))
    day = seal_days.plan_seal_day(
        bench=bench, on=today, steps=[step], by=owner, today=today, temperature_f=Fraction(72), pace=Fraction(20), division=Fraction("0.1")
    )
    seal_days.set_people(day=day, people=[PersonData("Ida", time(9), time(17))], by=owner)
    seal_days.set_product(day=day, item=sealant, life_hours=Fraction(2), cure_hours=Fraction(14), by=owner)
    pages = [("seal-day", [day.pk], {}), ("seal-day-card", [day.pk], {}), ("mix-card", [day.pk, 1], {}), ("step", ["TERN-1", "F1"], {})]
    pages += [("code", [], {"code": "SEAL-B2"}), ("shelf-life", [], {})]
    notice = notice_of(sealant, codes=["S-2231"], reference="SN-14", title="Slow cure")
    link = f'<a href="{reverse("notice", args=[notice.pk])}">SN-14 Slow cure</a>'
    assert not [name for name, args, asked in pages if link in seen(name, *args, **asked).text]

    services.sweep(notice=notice, by=owner, now=timezone.now())
    for name, args, asked in pages:
        text = seen(name, *args, **asked).text
        assert link in text, name
        assert "to look at" in text, name
    with CaptureQueriesContext(connection) as found:
        seen("shelf-life")  # the lot stands there twice
    assert sum(f'FROM "{Task._meta.db_table}"' in one["sql"] for one in found) == 1

    services.tick(task=Task.objects.get(lot=lot), outcome="cures as ever", by=owner, now=timezone.now())
    assert not [name for name, args, asked in pages if link in seen(name, *args, **asked).text]


def test_a_trace_of_a_code_says_what_may_be_of_it(seen, rivet, lot_of, step_of, finish):
    lot_of(rivet, "R-7")
    finish(step_of("F1"), (lot_of(rivet, ""), 3))

    text = seen("trace", code="r-7", item="ms20470ad4-6").text

    assert "possible" in text
    assert "has no code and may be of it" in text


def test_a_trace_too_long_for_paper_is_refused_and_has_its_file(seen, rivet, lot_of, monkeypatch):
    lot = lot_of(rivet)
    monkeypatch.setattr(pdf, "MOST_LINES", 0)

    answer = seen("trace-pdf", lot=lot.pk)

    assert answer.status_code == HTTPStatus.BAD_REQUEST
    assert "take the CSV file, which has all" in answer.text


@pytest.mark.parametrize(
    "asked", [{"lot": "0"}, {"lot": "x"}, {"code": "nothing"}, {"project": "NONE"}, {"assembly": "9"}, {"code": "R-1", "item": "NONE"}]
)
def test_what_is_not_here_is_a_404(seen, asked, outsider):
    for name in ("trace", "trace-csv", "trace-pdf"):
        assert seen(name, **asked).status_code == HTTPStatus.NOT_FOUND


def test_lot_that_is_no_number_is_told_what_would_do_in_words_for_people(seen, outsider):
    page = seen("trace", lot="R-1")

    assert "there is no lot number R-1 here: to follow what a label says, give its lot code" in page.content.decode()


def test_a_trace_starts_from_one_thing(seen, rivet, lot_of):
    assert seen("trace", lot=lot_of(rivet).pk, project="TERN-1").status_code == HTTPStatus.BAD_REQUEST
    assert seen("trace-csv").status_code == HTTPStatus.BAD_REQUEST


def test_a_trace_is_a_file_and_on_paper(seen, rivet, lot_of, step_of, finish):
    lot = lot_of(rivet)
    finish(step_of("F1"), (lot, 3))

    file, paper, back = seen("trace-csv", lot=lot.pk), seen("trace-pdf", lot=lot.pk), seen("trace-pdf", project="TERN-1")

    assert file.text.startswith("certainty,how,project")
    assert "certain,taken by a step,TERN-1" in file.text
    assert "F1 took 3 ea of lot R-1" in " ".join(words_of(paper.content).split())
    assert "certain" in words_of(back.content)


def test_a_notice_is_written_swept_looked_at_and_told(as_member, owner, rivet, lot_of, step_of, finish):
    client, lot = as_member(owner), lot_of(rivet)
    finish(step_of("F1"), (lot, 3))
    said = {"reference": "SB-7", "title": "Heads", "text": "Look.", "issued_on": "2027-03-01", "items": "ms20470ad4-6", "codes": "R-1, R-2"}
    form = client.get(reverse("new-notice")).context["form"]

    first = client.post(reverse("new-notice"), {**said, "key": form["key"].value()})
    again = client.post(reverse("new-notice"), {**said, "key": form["key"].value()})

    notice = Notice.objects.get()
    assert first.url == again.url == reverse("notice", args=[notice.pk])
    text = client.get(first.url).text
    assert "taken" not in text.partition("Every lot")[0] or "affected" in text
    assert "Into quarantine" in text
    assert notice.reference in client.get(reverse("notices")).text
    step = Task.objects.get(where="step")
    done = client.post(reverse("tick-notice-task", args=[step.pk]), {"outcome": "sound"}, follow=True)
    assert "sound" in done.text
    assert reverse("untick-notice-task", args=[step.pk]) in done.text
    shelf = Task.objects.get(where="shelf").pk
    client.post(reverse("quarantine-notice-task", args=[shelf]))
    client.post(reverse("untick-notice-task", args=[shelf]), {"release": "1"})
    lot.refresh_from_db()
    assert lot.state == "good"
    client.post(reverse("quarantine-notice-task", args=[shelf]))
    lot.refresh_from_db()
    assert lot.state == "quarantined"
    client.post(reverse("sweep-notice", args=[notice.pk]))
    client.post(reverse("write-notice-letters", args=[notice.pk]))
    letter = NoticeLetter.objects.get()
    assert "SB-7" in client.get(reverse("notice-letter", args=[letter.pk])).text
    assert "SB-7: Heads" in client.get(reverse("notice-letter-text", args=[letter.pk])).text
    assert "SB-7: Heads" in words_of(client.get(reverse("notice-letter-pdf", args=[letter.pk])).content)
    assert notice.title in client.get(reverse("lot", args=[lot.pk])).text


def test_a_failing_form_shows_what_was_typed(as_member, owner, rivet):
    said = {"reference": "SB-7", "title": "Heads", "text": "Look.", "issued_on": "2027-03-01", "items": "NONE"}

    answer = as_member(owner).post(reverse("new-notice"), said)

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "NONE: no item here has that code." in answer.text
    assert "SB-7" in answer.text


def test_a_notice_is_changed_and_removed(as_member, owner, rivet, notice_of):
    client, notice = as_member(owner), notice_of(rivet, made_from=date(2026, 1, 1))
    form = client.get(reverse("change-notice", args=[notice.pk])).context["form"]
    said = {name: form[name].value() or "" for name in form.fields}

    client.post(reverse("change-notice", args=[notice.pk]), {**said, "title": "Loose heads"})

    notice.refresh_from_db()
    assert (notice.title, notice.made_from) == ("Loose heads", date(2026, 1, 1))
    client.post(reverse("remove-notice", args=[notice.pk]))
    assert not Notice.objects.exists()


def test_a_reader_sees_and_changes_nothing(as_member, reader, rivet, lot_of, notice_of, owner):
    lot_of(rivet)
    notice = notice_of(rivet)
    services.sweep(notice=notice, by=owner, now=AT)

    text = as_member(reader).get(reverse("notice", args=[notice.pk])).text

    assert "Sweep again" not in text
    assert "Looked at</a>" not in text


def test_pages_take_as_many_queries_for_one_as_for_many(queries_of, owner, rivet, lot_of, step_of, finish, notice_of, workshop):
    lot = lot_of(rivet, quantity=1000)
    finish(step_of("S1"), (lot, 1))
    notice = notice_of(rivet)
    pages = [
        f"{reverse('trace')}?lot={lot.pk}",
        f"{reverse('trace')}?project=TERN-1",
        reverse("notices"),
        reverse("notice", args=[notice.pk]),
    ]
    services.sweep(notice=notice, by=owner, now=AT)
    before = [queries_of(owner, address) for address in pages]

    for number in range(5):
        finish(step_of(f"M{number}"), (lot_of(rivet, f"R-{number}", place=factories.PlaceFactory(workshop=workshop)), Decimal(0) or 1),
               place=factories.Place.objects.order_by("-pk")[0])  # fmt: skip
        notice_of(rivet, reference=f"SB-{number}")
    services.sweep(notice=notice, by=owner, now=AT)

    assert [queries_of(owner, address) for address in pages] == before
