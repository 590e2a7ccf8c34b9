"""What a workshop and its members choose of time, sizes, days and language: who may, what is refused, and what pages do with it."""

from datetime import UTC, datetime
from http import HTTPStatus

import pytest
import time_machine
from django.conf import settings as site
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone, translation
from django_scopes import scopes_disabled

from inventory.common.showing import USUAL, Showing, now_reading
from inventory.workshop import reading
from inventory.workshop.models import Member, Workshop
from inventory.workshop.policy import NotAllowed
from tests import factories

LATE = datetime(2027, 3, 6, 23, 30, tzinfo=UTC)  # already the 7th in Berlin
CHOICES = {"time_zone": "Europe/Berlin", "sizes": "metric", "inches": "fraction", "dates": "dotted", "language": "de"}


@pytest.fixture
def chosen(workshop, owner):
    return reading.set_workshop(workshop=workshop, by=owner, **CHOICES)


class TestChoosing:
    def test_zone_is_found_in_any_case_by_its_city_alone_and_by_older_names(self):
        asked = ["europe/berlin", "Berlin", "new york", "UTC", "US/Eastern", ""]
        assert [reading.zone_named(text) for text in asked] == [
            "Europe/Berlin", "Europe/Berlin", "America/New_York", "UTC", "US/Eastern", "",
        ]  # fmt: skip

    @pytest.mark.parametrize(("text", "said"), [("Europe/Berln", "did you mean Europe/Berlin"), ("half past", "such as Europe/Berlin")])
    def test_zone_that_there_is_none_of_is_refused_with_what_would_do(self, workshop, owner, text, said):
        with pytest.raises(reading.BadShowing, match=said):
            reading.set_workshop(workshop=workshop, by=owner, time_zone=text)

    def test_workshop_s_choices_are_the_owner_s_and_leave_a_trace(self, workshop, owner, chosen):
        kept = chosen.history.count()
        reading.set_workshop(workshop=workshop, by=owner, **CHOICES)  # the same again changes nothing

        assert [(row.history_user, row.time_zone) for row in chosen.history.all()[:1]] == [(owner, "Europe/Berlin")]
        assert chosen.history.count() == kept
        for role in ("storekeeper", "builder", "inspector", "reader"):
            with pytest.raises(NotAllowed):
                reading.set_workshop(workshop=workshop, by=factories.MemberFactory(workshop=workshop, role=role), dates="iso")

    def test_own_choices_are_nobody_else_s(self, workshop, owner, outsider):
        wren = factories.MemberFactory(workshop=workshop, role="reader")
        assert reading.set_own(member=wren, by=wren, dates="dotted").dates == "dotted"
        with scopes_disabled():
            stranger = Member.objects.filter(workshop=outsider, role="owner").first()
        for by in (owner, stranger):
            with pytest.raises(NotAllowed):
                reading.set_own(member=wren, by=by, dates="iso")

    @pytest.mark.parametrize("choice", [{"sizes": "cubits"}, {"inches": ""}, {"dates": "x"}, {"language": "tlh"}])
    def test_what_is_no_choice_is_refused_by_service_and_database(self, workshop, owner, choice):
        with pytest.raises(reading.BadShowing, match="there are"):
            reading.set_workshop(workshop=workshop, by=owner, **choice)
        if "language" not in choice:
            with pytest.raises(IntegrityError), transaction.atomic():
                Workshop.objects.filter(pk=workshop.pk).update(**choice)

    def test_own_choice_goes_over_the_workshop_s_and_a_blank_gives_way(self, chosen, owner):
        member = reading.set_own(member=owner, by=owner, sizes="inch", dates="", language="en")

        found = reading.reader_of(chosen, member)
        assert (found.showing, found.language, str(found.zone)) == (Showing("inch", "fraction", "dotted"), "en", "Europe/Berlin")

    def test_zone_and_language_that_are_gone_fall_back(self, workshop):
        workshop.time_zone, workshop.language = "Atlantis/Harbour", "tlh"
        found = reading.reader_of(workshop)
        assert (str(found.zone), found.language) == (site.TIME_ZONE, "")


class TestPages:
    def test_request_is_read_by_the_workshop_s_clock_and_the_member_s_choices_and_nothing_stays(self, chosen, client, owner, workshop):
        reading.set_own(member=owner, by=owner, dates="day_first")
        with time_machine.travel(LATE, tick=False):
            client.force_login(owner.user)
            page = client.get(reverse("showing")).content.decode()

        assert "7 Mär 2027 00:30" in page
        assert '<html lang="de">' in page
        assert (now_reading(), translation.get_language(), timezone.get_current_timezone_name()) == (USUAL, "en", site.TIME_ZONE)

    def test_today_is_the_workshop_s_in_pages_and_api(self, chosen, client, owner):
        with time_machine.travel(LATE, tick=False):
            client.force_login(owner.user)
            said = client.get(reverse("api-reminders")).json()
        assert said["as_of"] == "2027-03-07"  # ISO, whatever pages show

    def test_api_answers_in_english_whatever_is_chosen(self, chosen, client, owner):
        client.force_login(owner.user)
        said = client.patch(reverse("api-settings"), {"receiving_days": "x"}, "application/json", headers={"If-Match": "*"}).json()
        assert said["errors"] == {"receiving_days": ["A valid integer is required."]}

    def test_signed_out_pages_are_in_the_browser_s_language(self, client, db):
        for asked, lang in (("de-AT,de;q=0.9", "de"), ("fr", "en"), ("", "en")):
            answer = client.get(reverse("sign-in"), headers={"Accept-Language": asked})
            assert f'<html lang="{lang}">' in answer.content.decode()
            assert answer["Content-Language"] == lang
            assert "Accept-Language" in answer["Vary"]

    def test_own_choices_are_made_shown_by_examples_and_undone_by_choosing_again(self, client, workshop):
        wren = factories.MemberFactory(workshop=workshop, role="reader")
        client.force_login(wren.user)
        page = client.get(reverse("own-showing")).content.decode()
        for example in ("as in the workshop (the browser&#x27;s)", "Sat 6.3.2027"):
            assert example in page

        for dates in ("dotted", ""):
            answer = client.post(reverse("own-showing"), {"sizes": "metric", "dates": dates})
            assert answer.url == reverse("account")
            assert Member.objects.get(pk=wren.pk).dates == dates
        assert client.post(reverse("own-showing"), {"sizes": "cubits"}).status_code == HTTPStatus.UNPROCESSABLE_ENTITY

    def test_workshop_s_form_keeps_a_wrong_zone_as_typed_and_says_what_would_do(self, client, owner):
        client.force_login(owner.user)
        given = {"time_zone": "Europe/Berln", "sizes": "metric", "inches": "usual", "dates": "iso"}
        answer = client.post(reverse("showing"), given)
        assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert 'value="Europe/Berln"' in answer.content.decode()
        assert "did you mean Europe/Berlin" in answer.content.decode()

        answer = client.post(reverse("showing"), {**given, "time_zone": "berlin"}, follow=True)
        assert "Europe/Berlin" in answer.content.decode()
        assert "4.76 mm (0.1875 in)" in answer.content.decode()


def test_api_reads_and_changes_the_settings_with_an_etag(as_member, owner):
    client, where = as_member(owner), reverse("api-settings")

    def patch(body, **headers):
        return client.patch(where, body, "application/json", headers=headers)

    read = client.get(where)
    assert read.json()["time_zone"] == ""
    assert client.get(where, headers={"If-None-Match": read["ETag"]}).status_code == HTTPStatus.NOT_MODIFIED

    change = {"time_zone": "Europe/Berlin", "receiving_days": 5, "rivet_rounding": "up_whole"}
    kept = patch(change, **{"If-Match": read["ETag"]})
    assert kept.json() == {**read.json(), **change}
    assert patch({"dates": "dotted"}, **{"If-Match": read["ETag"]}).status_code == HTTPStatus.PRECONDITION_FAILED
    assert patch({"dates": "dotted"}).status_code == HTTPStatus.PRECONDITION_REQUIRED
    wrong = patch({"time_zone": "Nowhere"}, **{"If-Match": kept["ETag"]})
    assert (wrong.status_code, "no time zone" in wrong.json()["detail"]) == (HTTPStatus.BAD_REQUEST, True)
