"""Small pictures, and the files that were kept of them."""

from io import BytesIO
from pathlib import Path

from django.conf import settings
from PIL import Image


def picture(width=40, height=30, kind="JPEG", colour="red"):
    """The bytes of a picture of one colour."""
    file = BytesIO()
    Image.new("RGB", (width, height), colour).save(file, kind)
    return file.getvalue()


def upload(data, name="photo.jpg"):
    """What a form sends."""
    file = BytesIO(data)
    file.name = name
    return file


def files():
    """Every file in the folder of uploads."""
    folder = Path(settings.MEDIA_ROOT)
    return [path for path in folder.rglob("*") if path.is_file()] if folder.exists() else []
