"""ISO/IEC 15434 envelopes and the MH10.8.2 data identifiers. Pure, and our own: biip knows neither."""

import re
from datetime import date

from inventory.scanning.days import long_day, short_day
from inventory.scanning.gs1 import gather_message
from inventory.scanning.reading import EOT, GS, RS, Gathered, Kind, Reading

START = "[)>"

_DI = re.compile(r"(\d{0,3}[A-Z])(.+)", re.ASCII | re.DOTALL)
_TEI = re.compile(r"([A-Z]{3}) (.+)", re.DOTALL)
# Without an envelope a letter alone could be a part number's first: only these, which start with a digit, are taken for identifiers.
_BARE_DI = re.compile(rf"(1P|1T|1K|3S|4S|5S|4L|7Q|14D|16D)([^{GS}{RS}{EOT}]+)")
_BARE_DAY = re.compile(r"\d{8}", re.ASCII)

_LONG_DATES = {"14D": "expires", "16D": "made"}
_SHORT_DATE = "D"  # what sort of date only the pharmacy rules fix, so it is shown as a date without a meaning


def read_envelope(text: str, today: date) -> Reading:
    """A text that starts as an envelope, however it goes on. What can still be read of a broken one is kept."""
    into = Gathered()
    envelopes = [envelope for envelope in _inside(text, into).split(RS) if envelope]
    for envelope in envelopes:
        _gather_envelope(envelope, today, into)
    if not envelopes or not (into.fields or into.problems):
        into.fault("empty")
    return into.reading(Kind.ISO15434)


def read_bare(text: str, today: date) -> Reading | None:
    """A data identifier that stands alone; None where the text may as well be a part number."""
    found = _BARE_DI.fullmatch(text)
    if not found or (found[1] in _LONG_DATES and not _BARE_DAY.fullmatch(found[2])):
        return None
    into = Gathered()
    _keep(found[1], found[2], today, into)
    return into.reading(Kind.DI)


def _inside(text: str, into: Gathered) -> str:
    """What stands between the header and the end, both of which must be there."""
    body, end, behind = text.removeprefix(START).partition(EOT)
    if not (body.startswith(RS) and body.endswith(RS) and end) or behind:
        into.fault("envelope")
    return body.removeprefix(RS).removesuffix(RS)


def _gather_envelope(envelope: str, today: date, into: Gathered) -> None:
    form, separator, data = envelope[:2], envelope[2:3], envelope[3:]
    if form not in {"05", "06", "12", "DD"}:
        into.fault("unknown_format")
        return
    if separator != GS:
        into.fault("envelope")
        data = envelope[2:]
    if form == "05":
        gather_message(data, today, into)
        return
    for element in filter(None, data.split(GS)):
        _gather_element(form, element, today, into)


def _gather_element(form: str, element: str, today: date, into: Gathered) -> None:
    pattern, fault = (_DI, "unknown_di") if form == "06" else (_TEI, "unknown_tei")
    found = pattern.fullmatch(element)
    if not found:
        into.fault(fault)
    elif form == "06":
        _keep(found[1], found[2], today, into)
    else:
        into.keep(found[1], found[2])


def _keep(di: str, value: str, today: date, into: Gathered) -> None:
    """Keep what a data identifier says, and its date in a field of its own."""
    if di != _SHORT_DATE and di not in _LONG_DATES:
        into.keep(di, value)
        return
    day = short_day(value, today) if di == _SHORT_DATE else long_day(value)
    if day is None:
        into.fault("date")
        return
    into.keep(di, value)
    into.fields.setdefault(_LONG_DATES.get(di, "date"), day.isoformat())
