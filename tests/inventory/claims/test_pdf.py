"""The letter on paper: read back with a second library."""

import re
from io import BytesIO

import pypdfium2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from inventory.claims import pdf, queries
from inventory.claims.calc import Letter, Photo, Row
from inventory.models import Tally
from inventory.photos.services import path_of, read_picture
from inventory.tallying.photos import keep_picture
from tests.inventory.claims.conftest import NOON


def letter(rows=(), photos=(), **more):
    facts = {
        "subject": "Shortage in crate CRATE-7",
        "sent_by": ("Marsh",),
        "to": ("Kit Works",),
        "day": "2027-02-20",
        "facts": (("Crate", "CRATE-7"),),
        "opening": "Missing:",
        "heads": ("Listed", "Found good", "Found damaged", "Claimed"),
        "closing": ("Please answer.",),
    }
    return Letter(**{**facts, "rows": tuple(rows), "photos": tuple(photos), **more})


def row(number):
    return Row(f"ITEM-{number}", "a thing", f"bag 7A, line {number}", ("240 ea", "200 ea", "3 ea", f"{number} ea"))


def pages(data):
    paper = pypdfium2.PdfDocument(data)
    try:
        return [" ".join(page.get_textpage().get_text_range().split()) for page in paper]
    finally:
        paper.close()


def pictures(data):
    paper = pypdfium2.PdfDocument(data)
    try:
        return [obj for page in paper for obj in page.get_objects() if isinstance(obj, pypdfium2.PdfImage)]
    finally:
        paper.close()


def picture(colour="red", size=(900, 600)):
    file = BytesIO()
    Image.new("RGB", size, colour).save(file, "JPEG")
    return file.getvalue()


def none(photo):
    return None


def test_letter_is_on_one_page_with_its_number():
    (page,) = pages(pdf.as_pdf(letter([row(12)]), none))

    for text in ("Marsh", "Kit Works", "2027-02-20", "Shortage in crate CRATE-7", "Crate: CRATE-7", "Missing:", "Please answer."):
        assert text in page
    assert "1. ITEM-12 a thing bag 7A, line 12 240 ea 200 ea 3 ea 12 ea" in page
    assert "page 1 of 1" in page


def test_long_table_runs_over_pages_with_its_headings_on_each():
    found = pages(pdf.as_pdf(letter(map(row, range(1, 201))), none))

    assert len(found) > 5
    for number, page in enumerate(found, 1):
        assert f"page {number} of {len(found)}" in page
        assert "Found damaged" in page
    text = " ".join(found)
    assert [int(number) for number in re.findall(r"ITEM-(\d+)", text)] == list(range(1, 201))


def test_pdf_says_the_same_each_time():
    assert pdf.as_pdf(letter([row(1)]), none) == pdf.as_pdf(letter([row(1)]), none)


def test_markup_in_a_name_is_text():
    (page,) = pages(pdf.as_pdf(letter([Row("A<b>&", "<i>x", "", ("1", "2", "3", "4"))]), none))

    assert "A<b>& <i>x" in page


@pytest.fixture(params=["DejaVuSans.ttf", "Vera.ttf"])
def typeface(request, monkeypatch):
    """Each of the two types that a machine may have."""
    monkeypatch.setattr(pdf, "TYPES", (request.param,))
    pdf._type.cache_clear()
    yield request.param
    pdf._type.cache_clear()


def test_names_print_in_their_own_letters_as_far_as_the_type_goes(typeface):
    shown = letter(to=("Flugwerft Grün & Søn", "Авиаремонт", "東京"))
    (page,) = pages(pdf.as_pdf(shown, none))

    assert "Flugwerft Grün & Søn" in page
    assert ("Авиаремонт" in page) == (typeface == "DejaVuSans.ttf")
    assert "東京" not in page
    assert "◊◊" in page
    assert pdf.unshown(shown)
    assert "◊ stands for a letter that this print has no type for" in page


def test_letter_that_prints_whole_says_nothing_of_types(typeface):
    shown = letter([row(1)], photos=[Photo(1, "é")])

    assert not pdf.unshown(shown)
    assert "no type" not in " ".join(pages(pdf.as_pdf(shown, none)))


def test_right_to_left_script_is_not_set_backwards(typeface):
    assert pdf.printable("שלום") == "◊◊◊◊"


@settings(max_examples=30)
@given(st.text(max_size=60), st.text(max_size=200), st.text(max_size=400))
def test_any_text_prints(name, note, where):
    shown = letter(
        [Row(name, note, where, ("1", "2", "3", name), note)], sent_by=(name or "x",), facts=((name, note),), photos=[Photo(1, where)]
    )

    assert pages(pdf.as_pdf(shown, none))


def test_photos_stand_small_behind_the_letter():
    photos = [Photo(number, f"photo number {number}") for number in range(1, 21)]
    data = pdf.as_pdf(letter([row(1)], photos), {photo.id: picture() for photo in photos}.get)

    assert len(pictures(data)) == 20
    text = " ".join(pages(data))
    assert all(f"{number}. photo number {number}" in text for number in range(1, 21))
    assert len(data) < 400_000


def test_tall_photo_stays_on_its_page():
    data = pdf.as_pdf(letter([row(1)], [Photo(1, "tall")]), lambda _: picture(size=(20, 2000)))

    assert len(pictures(data)) == 1


def test_photo_that_is_gone_or_broken_is_said():
    data = pdf.as_pdf(letter([row(1)], [Photo(1, "gone"), Photo(2, "broken")]), {2: b"no picture"}.get)

    text = " ".join(pages(data))
    assert "This photo is no longer kept." in text
    assert "This is no JPEG, PNG or WebP picture." in text


@pytest.mark.django_db(transaction=True)
def test_letter_of_a_claim_has_its_photos_and_agrees_with_its_text(crate, sent, short, storekeeper):
    tally = Tally.objects.filter(line=short, finding="damaged").get()
    keep_picture(crate=crate, tally=tally, picture=read_picture(picture()), caption="bent", at=NOON, by=storekeeper)
    assert not queries.letter(sent).photos  # it was sent without


@pytest.mark.django_db(transaction=True)
def test_photo_of_a_draft_is_read_from_its_file(crate, drafts, short, storekeeper):
    tally = Tally.objects.filter(line=short, finding="damaged").get()
    photo = keep_picture(crate=crate, tally=tally, picture=read_picture(picture()), caption="bent", at=NOON, by=storekeeper)
    shown = queries.letter(drafts["concealed"])

    assert len(pictures(pdf.as_pdf(shown, queries.pictures(shown)))) == 1
    path_of(photo).unlink()
    assert not pictures(pdf.as_pdf(shown, queries.pictures(shown)))
