"""What comes of reading a code, and what the readers of each kind gather on the way. Pure."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

GS, RS, EOT = "\x1d", "\x1e", "\x04"

# How people, and scanners set to print, write these bytes.
_SPELLED = {"<GS>": GS, "<RS>": RS, "<EOT>": EOT, "\u241d": GS, "\u241e": RS, "\u2404": EOT}
_PICTURES = str.maketrans({GS: "\u241d", RS: "\u241e", EOT: "\u2404"})
_AROUND = " \t\r\n"  # not str.strip's own list: that one eats separators


class Kind(StrEnum):
    """What sort of code it is."""

    GS1 = "gs1"
    DIGITAL_LINK = "digital_link"
    ISO15434 = "iso15434"
    GTIN = "gtin"
    TOKEN = "token"  # noqa: S105 - no secret: it stands on a label
    KNOWN = "known"
    DI = "di"
    OPAQUE = "opaque"


SENTENCES: Mapping[str, str] = {
    "empty": "there is nothing in it: scan it again",
    "check_digit": "its check digit is wrong: scan it again, or type it anew",
    "digits": "it has not the number of digits that this kind of bar code carries",
    "date": "it has a date that is no day of the calendar",
    "value": "a value in it has not the form that its identifier asks for",
    "repeated": "it says one thing twice, with different values",
    "no_separator": "a value of open length ends without a separator, so that its end is a guess: let the scanner send FNC1 as GS",
    "unknown_ai": "it has an application identifier that GS1 does not list",
    "unknown_di": "it has a part that starts with no data identifier",
    "unknown_tei": "it has a part that starts with no text element identifier and a blank",
    "unknown_format": "its envelope is of a format that is not read here: 05, 06, 12 and DD are",
    "envelope": "its envelope is not whole: its header, a separator or its end is missing",
    "no_host": "its address names no host",
    "no_primary_key": "its address says no GS1 key, and is not one of this program's labels",
    "trailing_slash": "its address ends in a slash, so that a value is missing",
    "no_value": "its address names a value and does not give it",
    "escape": "its address has a percent sign that stands for no byte",
}


@dataclass(frozen=True, slots=True)
class Reading:
    """One code, read: its kind, what it says, and the short names of what is wrong with it (`SENTENCES` has them at length)."""

    kind: Kind
    fields: dict[str, str] = field(default_factory=dict)
    problems: tuple[str, ...] = ()


@dataclass(slots=True)
class Gathered:
    """What a reader has found so far. Only what passed its check is kept."""

    fields: dict[str, str] = field(default_factory=dict)
    problems: list[str] = field(default_factory=list)

    def keep(self, key: str, value: str) -> None:
        """Keep what `key` says. Another value under the same key is a fault, and the first one stays."""
        if self.fields.setdefault(key, value) != value:
            self.fault("repeated")

    def fault(self, problem: str) -> None:
        """Say once that something is wrong."""
        if problem not in self.problems:
            self.problems.append(problem)

    def reading(self, kind: Kind) -> Reading:
        """All of it, as a reading of this kind."""
        return Reading(kind, self.fields, tuple(self.problems))


def bytes_of(text: str) -> str:
    """`text` with the separators as the bytes they are, however they were written; blanks around it are dropped."""
    for spelled, byte in _SPELLED.items():
        text = text.replace(spelled, byte)
    return text.strip(_AROUND)


def bare(text: str) -> str:
    """`text` without separators and blanks at either end."""
    return text.strip(_AROUND + GS + RS + EOT)


def shown(text: str) -> str:
    """`text` as people see it: each separator as its picture."""
    return text.translate(_PICTURES)


def sentences(reading: Reading) -> list[str]:
    """What is wrong with a code, in words."""
    return [SENTENCES[problem] for problem in reading.problems]
