"""From labels to a PDF, to a picture, to the same tokens."""

import random
from dataclasses import replace
from decimal import Decimal

import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.labels.calc import STARTING
from inventory.labels.drawing import (
    MOST_LABELS,
    QUIET,
    BadStart,
    Job,
    SheetTooSmall,
    Symbol,
    TooMany,
    Words,
    address,
    matrix,
    measure,
    printable,
    sheet_pdf,
    words_pdf,
)
from inventory.labels.queries import Face, Thing
from inventory.scanning.calc import BITS, make_token
from tests.inventory.labels.sheets import pictures, words

BASE = "https://rivetloft.club.example"
A4, LETTER, DRAWERS, ROLL = STARTING
PRINTED = [*((sheet, symbol) for sheet in (A4, LETTER, ROLL) for symbol in Symbol), (DRAWERS, Symbol.DATA_MATRIX)]
FORMATS = {Symbol.QR: "QR Code", Symbol.DATA_MATRIX: "Data Matrix"}
NAME = "Rivet, universal head, 1/8 x 3/8 in, AD, with a name that goes on and on"


def faces(count, name=NAME):
    chance = random.Random(7)  # noqa: S311 - the same labels each time
    return [
        Face(
            Thing("lot", number),
            make_token(chance.getrandbits(BITS)),
            "MS20470AD4-6",
            name,
            ("lot R-344", "expires 2027-03"),
            "Hangar/Rack 2",
        )
        for number in range(count)
    ]


def codes(picture):
    return zxingcpp.read_barcodes(picture)


def tokens(pdf, dpi):
    """What a reader makes of all pages, in no order."""
    return sorted(code.text.rsplit("/", 1)[-1] for picture in pictures(pdf, dpi) for code in codes(picture))


@pytest.mark.parametrize("dpi", [300, 203])
@pytest.mark.parametrize(("sheet", "symbol"), PRINTED, ids=lambda value: getattr(value, "key", value))
def test_every_label_of_full_sheets_reads_back_as_its_token(sheet, symbol, dpi):
    wanted = faces(sheet.cells + 1)
    pdf = sheet_pdf(wanted, Job(sheet, BASE, symbol))

    assert tokens(pdf, dpi) == sorted(face.token for face in wanted)
    assert len(pictures(pdf, 20)) == 2


@pytest.mark.parametrize("symbol", Symbol)
def test_code_is_of_its_kind_and_says_what_it_should(symbol):
    (face,) = faces(1)
    (code,) = codes(pictures(sheet_pdf([face], Job(ROLL, BASE, symbol)), 300)[0])

    assert str(code.format) == FORMATS[symbol]
    assert code.text == {Symbol.QR: f"HTTPS://RIVETLOFT.CLUB.EXAMPLE/T/{face.token}", Symbol.DATA_MATRIX: face.token}[symbol]


@pytest.mark.parametrize("dpi", [300, 203])
@pytest.mark.parametrize(("sheet", "symbol"), PRINTED, ids=lambda value: getattr(value, "key", value))
def test_quiet_zones_hold_no_ink(sheet, symbol, dpi):
    (picture,) = pictures(sheet_pdf(faces(sheet.cells), Job(sheet, BASE, symbol)), dpi)
    found = codes(picture)
    assert len(found) == sheet.cells
    for code in found:
        left, top, right, bottom = corners(code.position)
        side = len(matrix(symbol, BASE, code.text[-11:]))
        quiet = QUIET[symbol] * (right - left) / side
        around = picture.crop((round(left - quiet + 2), round(top - quiet + 2), round(right + quiet - 2), round(bottom + quiet - 2)))
        around.paste(255, (round(quiet - 4), round(quiet - 4), round(quiet + right - left), round(quiet + bottom - top)))
        assert around.getextrema() == (255, 255)


def corners(position):
    points = [position.top_left, position.top_right, position.bottom_left, position.bottom_right]
    across, down = [point.x for point in points], [point.y for point in points]
    return min(across), min(down), max(across), max(down)


@pytest.mark.parametrize("symbol", Symbol)
def test_nothing_is_printed_beyond_a_label(symbol):
    """One label alone on its sheet: all ink lies within its cell."""
    face = replace(faces(1, "W" * 200)[0], head="W" * 40, where="M/" * 100, facts=("lot " + "W" * 80, "expires 2027-03-14"))
    (picture,) = pictures(sheet_pdf([face], Job(LETTER, BASE, symbol, start=5)), 254)
    left, top, right, bottom = picture.point(lambda grey: 255 - grey).getbbox()

    tenths = (LETTER.left + LETTER.label_width + LETTER.gap_x, LETTER.top + LETTER.label_height)
    assert left >= tenths[0] * 10
    assert top >= tenths[1] * 10
    assert right <= (tenths[0] + LETTER.label_width) * 10
    assert bottom <= (tenths[1] + LETTER.label_height) * 10


def test_text_beside_the_code_is_for_people():
    (text,) = words(sheet_pdf(faces(1), Job(ROLL, BASE)))

    assert text.split("\r\n") == ["MS20470AD4-6", NAME, "lot R-344", "expires 2027-03", "Hangar/Rack 2", faces(1)[0].token]


def test_words_alone_are_large_and_stay_on_their_label():
    for head in ("7b", "W" * 60):
        (picture,) = pictures(words_pdf([Words(head, ("stiffener", "Float skin " * 9))], Job(ROLL, BASE)), 254)
        left, top, right, bottom = picture.point(lambda grey: 255 - grey).getbbox()
        assert (left >= 0, top >= 0, right <= 1000, bottom <= 500) == (True,) * 4
    pdf = words_pdf([Words("7b", ("stiffener", "Float skin"))], Job(ROLL, BASE))
    assert [text.split("\r\n") for text in words(pdf)] == [["7b", "stiffener", "Float skin"]]
    assert not codes(pictures(pdf, 254)[0])


def test_the_same_job_gives_the_same_bytes():
    assert sheet_pdf(faces(3), Job(A4, BASE)) == sheet_pdf(faces(3), Job(A4, BASE))


def test_copies_stand_beside_each_other_and_the_start_is_left_free():
    (page,) = words(sheet_pdf(faces(2), Job(A4, BASE, start=20, copies=2)))
    first, second = (face.token for face in faces(2))

    assert [line for line in page.split() if line.startswith("RL")] == [first, first, second, second]
    assert len(pictures(sheet_pdf(faces(2), Job(A4, BASE, start=22, copies=2)), 20)) == 2


def test_ten_thousand_labels_are_refused():
    with pytest.raises(TooMany, match="these are 10,000 labels: 1,000 at once are the most"):
        sheet_pdf(faces(1) * 10_000, Job(A4, BASE))
    with pytest.raises(TooMany):
        sheet_pdf(faces(1) * (MOST_LABELS // 2 + 1), Job(A4, BASE, copies=2))


@pytest.mark.parametrize("start", [0, 25])
def test_start_that_the_sheet_has_not_got_is_refused(start):
    with pytest.raises(BadStart, match="labels 1 to 24"):
        sheet_pdf(faces(1), Job(A4, BASE, start=start))


def test_labels_too_small_for_a_qr_code_are_refused_with_what_would_do():
    with pytest.raises(SheetTooSmall, match=r"37 mm by 13 mm is too small.*A Data Matrix takes less room"):
        sheet_pdf(faces(1), Job(DRAWERS, BASE))


@pytest.mark.parametrize(
    ("base", "wanted"),
    [
        ("https://rivetloft.club.example", "HTTPS://RIVETLOFT.CLUB.EXAMPLE/T/RL0"),
        ("http://10.0.0.7:8000/", "HTTP://10.0.0.7:8000/T/RL0"),
        ("https://club.example/loft", "HTTPS://CLUB.EXAMPLE/loft/T/RL0"),
    ],
)
def test_address_is_in_capitals_where_that_changes_nothing(base, wanted):
    assert address(base, "RL0") == wanted


def test_capitals_keep_the_qr_code_small():
    assert len(matrix(Symbol.QR, BASE, faces(1)[0].token)) == 29
    assert len(matrix(Symbol.DATA_MATRIX, BASE, faces(1)[0].token)) == 16


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Grüße, 1/8 × 3/8 in", "Grüße, 1/8 × 3/8 in"),
        ("ọ́kàn", "okàn"),
        ("a\u202eb\u0007", "ab"),
        ("Ж", "?"),
        ("ﬁne", "ﬁne"),
    ],
)
def test_printable_keeps_what_the_type_has(text, shown):
    assert printable(text) == shown


@settings(max_examples=50)
@given(text=st.text(max_size=80))
def test_any_text_prints(text):
    face = replace(faces(1)[0], head=text, name=text, facts=(text,), where=text)

    assert sheet_pdf([face], Job(ROLL, BASE, Symbol.DATA_MATRIX)).startswith(b"%PDF")
    assert measure(printable(text), 8.0, False) >= 0


def test_sheet_of_odd_measurements_prints_at_its_true_size():
    odd = replace(A4, page_width=Decimal("105.41"), page_height=Decimal("148.5"), columns=1, rows=1)
    (picture,) = pictures(sheet_pdf(faces(1), Job(odd, BASE)), 254)

    assert picture.size == pytest.approx((1054, 1485), abs=2)
