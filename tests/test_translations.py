"""Every text for people has its German, placeholders and plurals intact; and pages are shown in it."""

import re
import shutil
from datetime import timedelta
from decimal import Decimal
from pathlib import Path

import polib
import pytest
from django.conf import settings
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.formats import localize

from inventory.workshop import reading
from tests import factories, needs

LOCALE = Path(settings.BASE_DIR) / "locale"
LANGUAGES = [code for code, _ in settings.LANGUAGES if code != settings.LANGUAGE_CODE]
SOURCES = ("buildplan", "inventory", "templates")
PLACEHOLDER = re.compile(r"%\(\w+\)[sd]|%%|</?\w+[^>]*>")


def catalogue(code):
    return polib.pofile(str(LOCALE / code / "LC_MESSAGES" / "django.po"))


def texts(entry):
    """Each text with its translation; the first plural form is that of one thing, which may leave its number out."""
    if not entry.msgid_plural:
        return [(entry.msgid, entry.msgstr)]
    return [(entry.msgid if form == 0 else entry.msgid_plural, text) for form, text in entry.msgstr_plural.items()]


@pytest.mark.parametrize("code", LANGUAGES)
class TestCatalogue:
    @pytest.mark.skipif(not needs.gettext(), reason=needs.NO_GETTEXT)
    def test_every_text_in_the_sources_has_its_translation(self, code, tmp_path, monkeypatch):
        for name in SOURCES:
            shutil.copytree(Path(settings.BASE_DIR) / name, tmp_path / name, ignore=shutil.ignore_patterns("static", "__pycache__"))
        (tmp_path / "locale" / code).mkdir(parents=True)
        monkeypatch.chdir(tmp_path)
        settings_here = {"LOCALE_PATHS": [str(tmp_path / "locale")]}
        with pytest.MonkeyPatch.context() as patch:
            for name, value in settings_here.items():
                patch.setattr(settings, name, value)
            call_command("makemessages", locale=[code], add_location="never", verbosity=0)

        asked = {(one.msgctxt, one.msgid) for one in polib.pofile(str(tmp_path / "locale" / code / "LC_MESSAGES" / "django.po"))}
        known = {(one.msgctxt, one.msgid) for one in catalogue(code) if one.translated()}
        assert len(asked) > 1000
        assert sorted(text for _, text in asked - known) == []

    def test_no_translation_is_empty_guessed_or_of_a_text_that_is_gone(self, code):
        found = catalogue(code)
        assert [one.msgid for one in found if not one.translated() or one.fuzzy] == []
        assert [one.msgid for one in found.obsolete_entries()] == []

    def test_placeholders_and_tags_are_those_of_the_text(self, code):
        wrong = [
            (source, text)
            for entry in catalogue(code)
            for source, text in texts(entry)
            if sorted(set(PLACEHOLDER.findall(source))) != sorted(set(PLACEHOLDER.findall(text)))
        ]
        assert wrong == []

    def test_blanks_at_the_ends_are_those_of_the_text(self, code):
        ends = [(source, text) for entry in catalogue(code) for source, text in texts(entry)]
        assert [one for one in ends if (one[0][:1].isspace(), one[0][-1:].isspace()) != (one[1][:1].isspace(), one[1][-1:].isspace())] == []

    def test_compiled_file_is_what_the_text_says(self, code):
        compiled = polib.mofile(str(LOCALE / code / "LC_MESSAGES" / "django.mo"))

        def said(entries):
            return {(one.msgctxt, one.msgid): one.msgstr_plural or one.msgstr for one in entries}

        assert said(compiled) == said(catalogue(code))

    def test_numbers_are_written_alike_in_every_language(self, code):
        """A comma in a coordinate of a drawing would break it, and what is shown can be typed back."""
        with translation.override(code):
            assert (localize(1234.5), localize(Decimal("0.125"))) == ("1234.5", "0.125")


@pytest.fixture
def german(workshop, owner, as_member):
    """A client of an owner who reads German, sizes in mm first and days with dots."""
    reading.set_own(member=owner, by=owner, language="de", sizes="metric", dates="dotted")
    return as_member(owner)


def test_pages_are_german_for_who_chose_it_and_english_for_others(german, workshop, project, lot, as_member):
    sample = {
        "home": "Heute Abend",
        "shelves": "Regale",
        "crates": "Kisten unterwegs",
        "plans": "Bauplan",
        "order-sheets": "Bestellliste",
        "settings": "Zuschlag für den Wareneingang",
        "account": "Wie du dich anmeldest",
        "members": "Wer hier arbeitet",
        "senders": "Einen Absender hinzufügen",
        "shelf-life": "Haltbarkeit",
        "figures": "Gramm einer Naht",
        "words": "Die meisten Clecos eines Maßes",
        "roles": "Zählen, was kam.",
        "pool": "Der Pool",
        "pool-rules": "Längste Ausleihe",
        "transfers": "Von Werkbank zu Werkbank",
        "labels": "Eine getippte Liste",
        "scan": "Einen Beutel zählen",
        "supplies": "Was jede Mischung Dichtmasse verbraucht",
        "seal-days": "Ein geplanter Tag zum Abdichten",
        "club": "Wer was hat",
        "club-day": "Schritte bekommen ihre Tage im",
        "surplus": "der Pool</a> verleiht sie",
        "code": "Nachschlagen",
        "reminders": "Eine Adresse machen",
        "api": "Für Scanner und andere Programme",
    }
    for name, said in sample.items():
        page = german.get(reverse(name), follow=True).content.decode()
        assert '<html lang="de">' in page, name
        assert said in page, name

    plain = as_member(factories.MemberFactory(workshop=workshop)).get(reverse("crates"), headers={"Accept-Language": "en"}).content.decode()
    assert ('<html lang="en">' in plain, "Kisten" in plain) == (True, False)


def test_step_and_calculator_are_german_and_their_figures_are_not(german, project):
    step = factories.StepFactory(project=project, code="1", hand="left")
    page = german.get(reverse("step", args=[project.code, step.code])).content.decode()
    assert [text for text in ("linke Seite", "Was er braucht", "Kommt nach", "Abschließen") if text not in page] == []

    asked = {"grip": "0.064", "diameter": "1/8", "policy": "up_half"}
    page = german.get(reverse("figure", args=["rivet-length"]), asked).content.decode()
    assert "Klemmlänge (in oder mm)" in page
    assert "auf das nächste halbe Maß" in page
    assert "such as" not in page
    assert german.get(f"{reverse('api-figures')}rivet-length", asked).json()["results"][0]["note"] == "rounded up, half sizes allowed"


def test_plural_and_days_are_the_reader_s(german, workshop, project):
    step = factories.StepFactory(project=project, code="1")
    factories.StepFactory(project=project, code="2")
    day = timezone.localdate() + timedelta(days=2)
    step.planned_on = day
    step.save()

    tonight = german.get(reverse("home")).content.decode()
    assert "Insgesamt sind 2 Schritte zu tun." in tonight
    assert "mit 1 Person" in tonight
    step.delete()
    assert "Insgesamt ist 1 Schritt zu tun." in german.get(reverse("home")).content.decode()
    assert f"{timezone.localdate().day}.{timezone.localdate().month}.{timezone.localdate().year}" in tonight


def test_words_worked_out_in_python_are_german_on_the_page_and_english_for_programs(german, project):
    for code in ("F1", "F2"):
        factories.StepFactory(project=project, code=code, title="Kiel vernieten", planned_on=None)

    page = german.get(reverse("find"), {"q": "Kiel"}).content.decode()
    assert [text for text in (f"Schritt von {project.name}", "noch ohne Tag") if text not in page] == []
    hits = german.get(reverse("api-find"), {"q": "Kiel"}).json()["groups"][0]["hits"]
    assert {(hit["what"], hit["line"]) for hit in hits} == {(f"step of {project.name}", "no day yet")}


def test_spacings_and_how_a_page_is_worked_out_are_german(german, project):
    assert "jedes dritte Loch" in german.get(reverse("settings")).content.decode()
    assert (
        "Kaufen = was fehlt, aufgerundet auf ganze Packungen." in german.get(reverse("order-sheet", args=[project.code])).content.decode()
    )
