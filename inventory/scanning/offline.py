"""What the scan page is made of, kept in the browser by its service worker so that it opens without a network."""

import hashlib
import json
from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles import finders
from django.templatetags.static import static
from django.urls import reverse
from django.utils.translation import override

from inventory.scanning.script_words import ABSENT

_WORKER = "scan/worker.js"
_DECODER = "scan/decoder.js"
_MODULES = ("page", "answers", "camera", "codes", "feedback", "listing", "outbox", "sender", "standing", "wedge", "worker-client")
_FILES = (
    "rivetloft.css",
    "find.js",
    "texts.js",
    "rivetloft.svg",
    "vendor/pico/pico.classless.min.css",
    "vendor/zxing-wasm/reader.js",
    "vendor/zxing-wasm/zxing_reader.wasm",
    "scan/scan.css",
    *(f"scan/{name}.js" for name in _MODULES),
)


def decoder() -> str:
    """The worker that reads pictures of codes."""
    return _path(_DECODER).read_text()


def worker() -> str:
    """The service worker, with what it has to know of this site before it."""
    files = [static(name) for name in _FILES] + [reverse("scan-decoder")]
    known = {"VERSION": version(), "PAGE": reverse("scan"), "SIGN_OUT": reverse("sign-out"), "FILES": files, "ABSENT": _absent()}
    return "".join(f"const {name} = {json.dumps(value)};\n" for name, value in known.items()) + _path(_WORKER).read_text()


def _absent() -> dict[str, str]:
    """What it says where nobody is signed in, by language, the site's own first."""
    said = {}
    for code, _ in settings.LANGUAGES:
        with override(code):
            said[code] = str(ABSENT)
    return said


def version() -> str:
    """A hash of the files: it changes when one of them does."""
    digests = (_digest(path, path.stat().st_mtime_ns) for path in map(_path, (*_FILES, _DECODER, _WORKER)))
    return hashlib.sha256("".join(digests).encode()).hexdigest()[:16]


def _path(name: str) -> Path:
    found = finders.find(name)
    if found is None:
        raise FileNotFoundError(name)
    return Path(found)


@lru_cache(maxsize=64)
def _digest(path: Path, changed: int) -> str:
    """Read again only where the file has changed since."""
    del changed
    return hashlib.sha256(path.read_bytes()).hexdigest()
