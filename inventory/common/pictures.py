"""Pictures that people send: looked at by their header first, decoded only then, and kept without what the camera wrote into them."""

from io import BytesIO

from PIL import Image, ImageOps, UnidentifiedImageError

from inventory.common.problems import Problem

LARGEST = 15 * 1024 * 1024  # bytes
MOST_PIXELS = 40_000_000
LONGEST = 2000  # pixels of the longer side, as kept
FORMATS = ("JPEG", "PNG", "WEBP")
_QUALITY = 85
_WHITE = (255, 255, 255)
_BOMB = (Image.DecompressionBombError, Image.DecompressionBombWarning)


class BadPicture(Problem):
    """What was sent is no picture that can be used."""

    status = 422
    title = "This picture can't be read"


def open_picture(data: bytes) -> Image.Image:
    """The decoded picture, as the camera laid it down. Refuses what is no JPEG, PNG or WebP, and what would fill the memory."""
    if len(data) > LARGEST:
        raise BadPicture(f"The file is {_megabytes(len(data))} MB; at most {_megabytes(LARGEST)} MB are taken. Send a smaller picture.")
    picture = _by_header(data)
    if picture.width * picture.height > MOST_PIXELS:
        raise _too_many_pixels(picture.width, picture.height)
    try:
        picture.load()
    except Exception as error:  # a broken file fails in as many ways as there are decoders
        raise BadPicture("The picture is cut off or damaged: send it once more.") from error
    return picture


def as_jpeg(picture: Image.Image, longest: int = LONGEST) -> bytes:
    """The picture made anew as a JPEG: upright, its longer side at most `longest` pixels, no metadata, clear parts white."""
    made = _opaque(_upright(picture))
    made.thumbnail((longest, longest))
    file = BytesIO()
    made.save(file, "JPEG", quality=_QUALITY, optimize=True)
    return file.getvalue()


def _by_header(data: bytes) -> Image.Image:
    if data.lstrip()[:5] == b"%PDF-":
        raise BadPicture("This is a PDF, not a picture. Take a photo of the page, or save the page as JPEG or PNG.")
    try:
        return Image.open(BytesIO(data), formats=FORMATS)
    except _BOMB as error:
        raise _too_many_pixels() from error
    except UnidentifiedImageError as error:
        raise BadPicture("This is no JPEG, PNG or WebP picture. Save it as one of these and send it again.") from error
    except Exception as error:
        raise BadPicture("The picture's header doesn't read: send it once more.") from error


def _too_many_pixels(width: int = 0, height: int = 0) -> BadPicture:
    size = f"{width} x {height} pixels are" if width else "That is"
    return BadPicture(f"{size} more than the {MOST_PIXELS // 1_000_000} megapixels that are taken. Send a smaller picture.")


def _upright(picture: Image.Image) -> Image.Image:
    """Turned as its orientation says; as it lies where that note doesn't read."""
    try:
        return ImageOps.exif_transpose(picture)
    except Exception:  # noqa: BLE001 - the note is anything that a camera wrote, and not worth losing the picture
        return picture


def _opaque(picture: Image.Image) -> Image.Image:
    """A new picture with the same pixels and nothing else: a copy would take the notes along."""
    made = Image.new("RGB", picture.size, _WHITE)
    if picture.has_transparency_data:
        layer = picture.convert("RGBA")
        made.paste(layer, mask=layer)
    else:
        made.paste(picture.convert("RGB"))
    return made


def _megabytes(size: int) -> str:
    return f"{size / (1024 * 1024):.1f}".removesuffix(".0")
