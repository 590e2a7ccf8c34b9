"""Web addresses: GS1 Digital Links, and the ones on our own labels. Pure.

biip's reader of Digital Links is not used: it judges which identifiers may stand together, passes over a query name without a
value, and takes the last of two different ones. The rules here are those of the GS1 Digital Link standard, URI syntax.
"""

import re
from dataclasses import dataclass
from datetime import date

from inventory.scanning.gs1 import gather_value
from inventory.scanning.reading import Gathered, Kind, Reading
from inventory.scanning.tokens import token_of

# GS1 Digital Link standard, URI syntax, section 4.3: the keys that a link can start from.
PRIMARY_KEYS = frozenset(
    {"00", "01", "253", "255", "401", "402", "414", "415", "417", "8003", "8004", "8006", "8010", "8013", "8017", "8018"}
)

_ADDRESS = re.compile(r"https?://([^/?#]*)([^?#]*)(?:\?([^#]*))?(?:#.*)?", re.IGNORECASE | re.DOTALL)
_LABEL = re.compile(r"(?:.*/)?t/([^/]+)/?", re.IGNORECASE | re.DOTALL)
_ESCAPE = re.compile(r"%([0-9A-Fa-f]{2})")
_DIGITS = re.compile(r"\d+", re.ASCII)
_GTIN_DIGITS = re.compile(r"\d{8}|\d{12,13}", re.ASCII)


@dataclass(frozen=True, slots=True)
class _Address:
    host: str
    path: str
    query: str


def read_address(text: str, today: date) -> Reading | None:
    """An http or https address, read as a label of ours or else as a Digital Link; None where it is no address."""
    found = _ADDRESS.fullmatch(text)
    if not found:
        return None
    address = _Address(found[1], found[2], found[3] or "")
    token = _token(address.path)
    return Reading(Kind.TOKEN, {"token": token}) if token else _digital_link(address, today)


def _token(path: str) -> str | None:
    found = _LABEL.fullmatch(path)
    return token_of(found[1]) if found else None


def _digital_link(address: _Address, today: date) -> Reading:
    into = Gathered()
    if not address.host:
        into.fault("no_host")
    pairs = _path_pairs(address.path, into)
    for ai, value in pairs:
        _gather(ai, value, today, into)
    for ai, value in _query_pairs(address.query):
        _gather(ai, value, today, into)
    return into.reading(Kind.DIGITAL_LINK)


def _path_pairs(path: str, into: Gathered) -> list[tuple[str, str]]:
    """The pairs of the path from its primary key on. The key is looked for from the end: what stands before it is anybody's."""
    segments = path.split("/")
    if PRIMARY_KEYS.isdisjoint(segments):
        into.fault("no_primary_key")
        return []
    if not segments[-1]:
        into.fault("trailing_slash")
        segments.pop()
    for start in range(len(segments) - 2, 0, -2):
        if segments[start] in PRIMARY_KEYS:
            return list(zip(segments[start::2], segments[start + 1 :: 2], strict=True))
    into.fault("no_value")
    return []


def _query_pairs(query: str) -> list[tuple[str, str]]:
    """The pairs of the query whose names are all digits. There, as in any query, a plus is a blank."""
    pairs = (part.replace("+", " ").partition("=") for part in query.split("&"))
    named = ((_decoded(name), value) for name, _, value in pairs)
    return [(name, value) for name, value in named if _DIGITS.fullmatch(name)]


def _gather(ai: str, escaped: str, today: date, into: Gathered) -> None:
    value = _decoded(escaped)
    if "%" in _ESCAPE.sub("", escaped):
        into.fault("escape")
    elif not value:
        into.fault("no_value")
    else:
        gather_value(ai, _long_gtin(value) if ai == "01" else value, today, into)


def _long_gtin(value: str) -> str:
    """A trade item number with the zeros in front that some links leave out."""
    return value.zfill(14) if _GTIN_DIGITS.fullmatch(value) else value


def _decoded(text: str) -> str:
    """`text` without percent escapes. A byte is one character: no value of GS1 has others."""
    return _ESCAPE.sub(lambda found: chr(int(found[1], 16)), text)
