"""Pictures that people send, and files that only look like one."""

import struct
import zlib
from io import BytesIO

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from inventory.common.pictures import LARGEST, BadPicture, as_jpeg, open_picture

ORIENTATION, MAKER, GPS = 0x0112, 0x010F, 0x8825
TURNED = 6  # the camera was held upright: a quarter turn clockwise sets it right


def encoded(picture, form="JPEG", **options):
    file = BytesIO()
    picture.save(file, form, **options)
    return file.getvalue()


def half_red(width=80, height=40):
    """Red on the left, blue on the right."""
    picture = Image.new("RGB", (width, height), "blue")
    picture.paste("red", (0, 0, width // 2, height))
    return picture


def png_of(width, height):
    """A PNG whose header promises that many pixels, and that holds almost none."""
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunks = ((b"IHDR", header), (b"IDAT", zlib.compress(b"\0")), (b"IEND", b""))
    written = [struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body)) for name, body in chunks]
    return b"\x89PNG\r\n\x1a\n" + b"".join(written)


def is_reddish(pixel):
    red, green, blue = pixel
    return red > 200 and green < 80 and blue < 80


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_picture_of_each_format_opens(form):
    assert open_picture(encoded(half_red(), form)).size == (80, 40)


def test_bomb_is_refused_by_its_header():
    with pytest.raises(BadPicture, match="8000 x 8000 pixels are more than the 40 megapixels"):
        open_picture(png_of(8000, 8000))


@pytest.mark.parametrize("side", [12_000, 60_000])
def test_bomb_that_the_library_warns_of_is_refused_in_our_words(side):
    with pytest.raises(BadPicture, match="more than the 40 megapixels"):
        open_picture(png_of(side, side))


def test_pdf_as_photo_is_called_a_pdf():
    with pytest.raises(BadPicture, match="This is a PDF"):
        open_picture(b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj")


@pytest.mark.parametrize("data", [b"", b"hello", b"GIF89a\1\0\1\0\0\0\0;", b"<svg xmlns='http://www.w3.org/2000/svg'/>"])
def test_what_is_no_such_picture_is_refused(data):
    with pytest.raises(BadPicture, match="no JPEG, PNG or WebP"):
        open_picture(data)


def test_truncated_jpeg_is_refused():
    data = encoded(Image.effect_noise((300, 300), 80).convert("RGB"))

    with pytest.raises(BadPicture, match="cut off or damaged"):
        open_picture(data[: len(data) // 2])


def test_huge_file_is_refused_before_it_is_looked_at():
    with pytest.raises(BadPicture, match="at most 15 MB"):
        open_picture(encoded(half_red()) + bytes(LARGEST))


@given(st.binary(max_size=300), st.sampled_from([b"", b"\xff\xd8\xff\xe0", b"\x89PNG\r\n\x1a\n", b"RIFF\x20\0\0\0WEBPVP8 "]))
def test_any_bytes_open_or_are_refused(data, start):
    try:
        open_picture(start + data)
    except BadPicture as problem:
        assert str(problem)  # noqa: PT017 - either way is right


@given(st.binary(max_size=60), st.integers(20, 600))
def test_damaged_jpeg_opens_or_is_refused(data, at):
    whole = encoded(half_red())
    try:
        as_jpeg(open_picture(whole[:at] + data + whole[at + len(data) :]))
    except BadPicture as problem:
        assert str(problem)  # noqa: PT017 - either way is right


def test_exif_and_comment_are_dropped():
    notes = Image.Exif()
    notes[MAKER] = "Some camera"
    notes.get_ifd(GPS)[1] = "N"
    sent = encoded(half_red(), exif=notes, comment=b"where it was taken", icc_profile=b"profile", xmp=b"<x>place</x>")

    kept = as_jpeg(open_picture(sent))

    assert b"Some camera" in sent
    assert not any(word in kept for word in (b"Some camera", b"Exif", b"where it was taken", b"profile", b"place"))
    assert not Image.open(BytesIO(kept)).getexif()


def test_orientation_is_applied():
    notes = Image.Exif()
    notes[ORIENTATION] = TURNED

    kept = Image.open(BytesIO(as_jpeg(open_picture(encoded(half_red(), exif=notes)))))

    assert kept.size == (40, 80)
    assert is_reddish(kept.getpixel((20, 10)))  # what was left is on top now


@pytest.mark.filterwarnings("ignore:Corrupt EXIF")
def test_orientation_that_does_not_read_is_no_reason_to_lose_the_picture():
    kept = as_jpeg(open_picture(encoded(half_red(), exif=b"Exif\0\0II*\0\xff\xff\xff\xff")))

    assert Image.open(BytesIO(kept)).size == (80, 40)


@pytest.mark.parametrize(("size", "kept"), [((3000, 1500), (2000, 1000)), ((500, 4000), (250, 2000)), ((80, 40), (80, 40))])
def test_longer_side_is_at_most_two_thousand(size, kept):
    assert Image.open(BytesIO(as_jpeg(Image.new("RGB", size)))).size == kept


@pytest.mark.parametrize("mode", ["1", "L", "P", "LA", "RGBA", "I;16"])
def test_every_kind_of_png_becomes_a_jpeg(mode):
    kept = as_jpeg(open_picture(encoded(Image.new(mode, (10, 10)), "PNG")))

    assert Image.open(BytesIO(kept)).mode == "RGB"


def test_clear_parts_become_white():
    kept = as_jpeg(open_picture(encoded(Image.new("RGBA", (10, 10), (0, 0, 0, 0)), "PNG")))

    assert Image.open(BytesIO(kept)).getpixel((5, 5)) == (255, 255, 255)
