"""Temperature logs as files and forms give them. Pure: text in, readings out, and every row that is none named."""

import csv
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal, InvalidOperation
from zoneinfo import ZoneInfo

from inventory.shelflife.storage import Reading, check_readings

COLUMNS = ("time", "temperature", "unit")
MOST_READINGS = 100_000
Told = Callable[[datetime], str]  # how an instant is written for people
_DEGREES = {"c": "C", "°c": "C", "celsius": "C", "f": "F", "°f": "F", "fahrenheit": "F"}


@dataclass(frozen=True, slots=True)
class Log:
    """What a file holds: the readings, named by `rows`, and what is wrong with each other row. `faults` are sentences."""

    readings: tuple[Reading, ...]
    faults: tuple[str, ...]
    rows: tuple[str, ...] = ()


def celsius(temperature: Decimal, unit: str) -> float:
    """Degrees Celsius, to a hundredth. `ValueError` where the unit is neither C nor F."""
    degrees = _DEGREES.get(unit.strip().casefold())
    if degrees is None:
        raise ValueError(f"unit {unit!r} is none of a temperature: give C or F")
    return round(float(temperature if degrees == "C" else (temperature - 32) * 5 / 9), 2)


def read_log(text: str, *, zone: ZoneInfo | None = None, told: Told = str) -> Log:
    """Read a CSV with columns time, temperature and unit, in any order and case. Times without a zone are in `zone`.

    Only in a file with semicolons a comma is a decimal comma. A row is named by its line; the header is line 1.
    """
    lines = text.removeprefix("\ufeff").splitlines()
    semicolons = bool(lines) and ";" in lines[0]
    reader = csv.reader(lines, delimiter=";" if semicolons else ",", skipinitialspace=True)
    header = [cell.strip().casefold() for cell in next(reader, [])]
    if sorted(header) != sorted(COLUMNS):
        return Log((), (f"line 1: the header must be {', '.join(COLUMNS)}, not {', '.join(header) or 'nothing'}",))
    found: list[Reading] = []
    rows: list[str] = []
    faults: list[str] = []
    for cells in reader:
        if not any(cell.strip() for cell in cells):
            continue
        try:
            if len(found) + len(faults) >= MOST_READINGS:
                return Log((), (f"line {reader.line_num}: a file has at most {MOST_READINGS} readings: split it",))
            reading = _reading(_row(header, cells), semicolons=semicolons, zone=zone)
            _refuse_before(found, reading, told)
            found.append(reading)
            rows.append(f"line {reader.line_num}")
        except ValueError as error:
            faults.append(f"line {reader.line_num}: {error}")
    if not found and not faults:
        faults.append("line 1: a header alone, without a reading")
    return Log(tuple(found), tuple(faults), tuple(rows))


def instant(text: str, zone: ZoneInfo | None = None) -> datetime:
    """An ISO time with its zone, or in `zone`. `ValueError` where it is none, has no zone, or is no hour of that zone."""
    try:
        at = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise ValueError(f"{text!r} is no ISO time, such as 2027-03-14T09:30:00+01:00") from error
    if at.tzinfo is not None:
        return at
    if zone is None:
        raise ValueError(f"{text!r} has no time zone: write one, such as +01:00, or choose one for the file")
    earlier, later = at.replace(tzinfo=zone, fold=0), at.replace(tzinfo=zone, fold=1)
    if earlier.utcoffset() != later.utcoffset():
        raise ValueError(f"{text!r} comes twice or never in {zone.key}, where clocks changed: write the offset, such as +01:00")
    return earlier


def faulty(readings: Sequence[Reading], rows: Sequence[str] = (), told: Told = str) -> Iterator[str]:
    """What is wrong with readings that come one by one, from a device. `rows` name them, else their numbers do."""
    kept: list[Reading] = []
    for reading, row in zip(readings, rows or numbered(readings), strict=True):
        try:
            _refuse_before(kept, reading, told)
            kept.append(reading)
        except ValueError as error:
            yield f"{row}: {error}"


def numbered(readings: Sequence[Reading]) -> tuple[str, ...]:
    """The names of readings that have none."""
    return tuple(f"reading {number}" for number in range(1, len(readings) + 1))


def _row(header: Sequence[str], cells: Sequence[str]) -> dict[str, str]:
    if len(cells) != len(header):
        raise ValueError(f"{len(cells)} cells where the header has {len(header)}")
    return dict(zip(header, cells, strict=True))


def _reading(row: dict[str, str], *, semicolons: bool, zone: ZoneInfo | None) -> Reading:
    figure = row["temperature"].strip()
    try:
        temperature = Decimal(figure.replace(",", ".") if semicolons else figure)
    except InvalidOperation as error:
        raise ValueError(f"{figure!r} is no temperature") from error
    if not temperature.is_finite():
        raise ValueError(f"{figure!r} is no temperature")
    return Reading(instant(row["time"], zone), celsius(temperature, row["unit"]))


def _refuse_before(kept: Sequence[Reading], reading: Reading, told: Told) -> None:
    """Refuse what no thermometer gives, and a time that isn't after the one before."""
    try:
        check_readings([*kept[-1:], reading], told)
    except ValueError as error:
        raise ValueError(str(error).partition(": ")[2]) from error
