"""Reading a code, whatever sent it: a scanner, a camera, a person typing. Pure."""

import re
from collections.abc import Container
from datetime import date

from inventory.catalogue.calc import key
from inventory.scanning.envelopes import START, read_bare, read_envelope
from inventory.scanning.gs1 import KEYS, checks, gather_message, is_gtin
from inventory.scanning.links import read_address
from inventory.scanning.reading import SENTENCES, Gathered, Kind, Reading, bare, bytes_of, sentences, shown
from inventory.scanning.tokens import BITS, is_token, make_token, token_of

__all__ = ["BITS", "SENTENCES", "Kind", "Reading", "is_token", "make_token", "read", "sentences", "shown", "token_of"]

# ISO/IEC 15424: `]`, a letter for the sort of bar code, and a modifier.
_SYMBOLOGY = re.compile(r"\][A-Za-z][0-9A-Za-z]")
_GS1_SYMBOLOGIES = frozenset({"]C1", "]Q3", "]d2", "]e0", "]J1"})
_GTIN_SYMBOLOGIES = {"]E0": 13, "]E4": 8}
_DIGITS = re.compile(r"\d+", re.ASCII)

# Faults of a message that could be split into elements all the same.
_PARSED_ALL = frozenset({"no_separator", "repeated", "check_digit"})


def read(text: str, *, today: date, known: Container[str] = frozenset()) -> Reading:
    """What `text` is. Never raises: what can't be read is `opaque`, and what is wrong stands in `problems`.

    `known` holds the codes that mean something already, as written or as they are compared (`inventory.catalogue.calc.key`).
    """
    body = bytes_of(text)
    found = _SYMBOLOGY.match(body)
    if not found:
        return _read_envelope(body, today) or _unmarked_gs1(bare(body), today) or _read_plain(bare(body), today, known)
    symbology, body = found[0], body[found.end() :]
    if symbology in _GS1_SYMBOLOGIES:
        return _gs1(body, today)
    if symbology in _GTIN_SYMBOLOGIES:
        return _gtin(bare(body), _GTIN_SYMBOLOGIES[symbology])
    return _read_envelope(body, today) or _read_plain(bare(body), today, known)


def _read_envelope(body: str, today: date) -> Reading | None:
    return read_envelope(body, today) if body.startswith(START) else None


def _read_plain(body: str, today: date, known: Container[str]) -> Reading:
    """A code that says nothing of its own sort. The order matters: a data identifier looks like many a part number."""
    if not body:
        return Reading(Kind.OPAQUE, {"text": ""}, ("empty",))
    if address := read_address(body, today):
        return address
    if token := token_of(body):
        return Reading(Kind.TOKEN, {"token": token})
    if is_gtin(body):
        return Reading(Kind.GTIN, {"01": body.zfill(14)})
    if body in known or key(body) in known:
        return Reading(Kind.KNOWN, {"text": body})
    return read_bare(body, today) or Reading(Kind.OPAQUE, {"text": body})


def _gs1(body: str, today: date) -> Reading:
    into = Gathered()
    gather_message(body, today, into)
    return into.reading(Kind.GS1)


def _unmarked_gs1(body: str, today: date) -> Reading | None:
    """A GS1 message that does not say so: all of it must be one, with a key whose check digit is right."""
    reading = _gs1(body, today)
    return reading if _PARSED_ALL.issuperset(reading.problems) and KEYS & reading.fields.keys() else None


def _gtin(digits: str, length: int) -> Reading:
    """The number that a bar code of this sort carries."""
    if not digits:
        return Reading(Kind.GTIN, {}, ("empty",))
    if len(digits) != length or not _DIGITS.fullmatch(digits):
        return Reading(Kind.GTIN, {}, ("digits",))
    return Reading(Kind.GTIN, {"01": digits.zfill(14)}) if checks(digits) else Reading(Kind.GTIN, {}, ("check_digit",))
