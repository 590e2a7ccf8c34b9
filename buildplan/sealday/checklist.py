"""The list to be through with the night before, made from a day's plan; lines of people's own stand behind it. Reads nothing."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from buildplan.sealday.dayview import BatchLot, CheckLine, Person, PlannedBatch, StepOnDay
from buildplan.sealday.models import DayCheck, SealDay
from buildplan.sealing.calc import HIGHEST_F, LOWEST_F
from buildplan.sealing.models import SealingSupply
from inventory.common.exact import decimal_text
from inventory.common.fields import plain
from inventory.common.reasons import PRACTICE

MOST_TEXT = 200
MOST_KEY = 80
OURS = "ours, made from this day's plan"
KEYS = ("lot", "scale", "supply", "people", "step", "temperature", "caution")

_CAUTIONS = (
    (
        "sheet",
        "Data sheets and safety data sheets of the day's products at hand and read: they win over what is reckoned here.",
        "its maker",
    ),
    (
        "solvents",
        "Solvents (MEK, acetone) are highly flammable: air the place, gloves and eye protection on, no source of ignition near.",
        "the product's safety data sheet",
    ),
    (
        "accelerators",
        "Type 1 accelerators hold chromium(VI); manganese-dioxide ones oxidise and irritate: gloves and eye protection on.",
        "the types: SAE AMS-S-8802; the hazards: the product's safety data sheet",
    ),
    ("waste", "A lidded can for rests and wipes stands ready; rests go by the safety data sheet.", "the local fire and waste authority"),
)


@dataclass(frozen=True, slots=True)
class _Line:
    """A line that the plan gives. A tick counts as long as the text is what was ticked."""

    key: str
    text: str
    source: str


def check_lines(  # noqa: PLR0913 - what the list is made from
    day: SealDay,
    *,
    batches: Sequence[PlannedBatch],
    people: Sequence[Person],
    steps: Sequence[StepOnDay],
    before: Iterable[tuple[int, str]],
    supplies: Iterable[SealingSupply],
    rows: Sequence[DayCheck],
) -> tuple[CheckLine, ...]:
    """The plan's lines with their ticks, then what was ticked and is in the plan no more, then people's own.

    `before` are the steps, by id and name, that must be done first. Of a day that is over only what was ticked or written is left.
    """
    given = list(_given(day, batches, people, before, supplies)) if day.open and any(not step.done for step in steps) else []
    kept = {row.key: row for row in rows if row.key}
    lines = [_ticked(line, kept.get(line.key)) for line in given]
    known = {line.key for line in given}
    lines += [_row(row) for row in rows if row.key and row.key not in known and row.ticked_at is not None]
    return (*lines, *(_row(row) for row in rows if not row.key))


def _ticked(line: _Line, row: DayCheck | None) -> CheckLine:
    if row is None or row.ticked_at is None or row.text != line.text:
        return CheckLine(row.pk if row else None, line.key, line.text, None, None, line.source)
    return CheckLine(row.pk, line.key, line.text, _by(row), row.ticked_at, line.source)


def _row(row: DayCheck) -> CheckLine:
    return CheckLine(row.pk, row.key, row.text, _by(row), row.ticked_at, "")


def _by(row: DayCheck) -> str | None:
    return row.ticked_by.name if row.ticked_by else None


def _given(
    day: SealDay,
    batches: Sequence[PlannedBatch],
    people: Sequence[Person],
    before: Iterable[tuple[int, str]],
    supplies: Iterable[SealingSupply],
) -> Iterator[_Line]:
    yield from (_Line(f"step:{pk}", _cut(f"Done before: {name}"), "the order of the plan") for pk, name in before)
    yield from _lots(batches)
    if batches and day.division is not None:
        text = f"A scale of {decimal_text(day.division, 3)} g division stands ready and shows 0 when empty."
        yield _Line("scale", text, "the scale, as entered")
    for one in supplies if batches else ():
        text = f"{plain(one.quantity * len(batches))} {one.unit} {one.name}, for {_batches(len(batches))}."
        yield _Line(f"supply:{one.pk}", _cut(text), "the workshop's own list of what a batch uses up")
    if people:
        told = ", ".join(f"{one.name} {one.comes:%H:%M}-{one.goes:%H:%M}" for one in people)
        yield _Line("people", _cut(f"Everyone knows when: {told}"), OURS)
    yield from _temperature(day)
    yield from (_Line(f"caution:{key}", text, source) for key, text, source in _CAUTIONS)


def _lots(batches: Iterable[PlannedBatch]) -> Iterator[_Line]:
    """The lots to take out, in the order in which they are opened, and where they lie."""
    lots: dict[str, tuple[str, BatchLot]] = {}
    for batch in batches:
        for lot in batch.lots:
            lots.setdefault(f"{batch.item_id} {lot.label}", (batch.product, lot))
    for product, lot in lots.values():
        if lot.lot_id is None:
            yield _Line(f"lot:{lot.label}"[:MOST_KEY], _cut(f"{product}: {lot.label} has come and is put away"), "the crate's due day")
            continue
        places = " and ".join(path for _, path, _ in lot.places)
        where = "" if lot.label.endswith(places) else f" from {places}"  # a label may name the place already
        yield _Line(f"lot:{lot.lot_id}", _cut(f"Take out {product} {lot.label}{where}"), "where the ledger says it lies")


def _temperature(day: SealDay) -> Iterator[_Line]:
    if day.temperature_f is None:
        return
    text = (
        f"The metal is at {LOWEST_F:g} F or over and below {HIGHEST_F:g} F ({decimal_text(day.temperature_f, 1)} F expected); "
        "a contact thermometer is at hand."
    )
    yield _Line("temperature", text, f"NAVEDTRA 14315 and T.O. 1-1-700 par. 12.5.1.3; the product's data sheet wins. Measuring: {PRACTICE}")


def _batches(count: int) -> str:
    return "1 batch" if count == 1 else f"{count} batches"


def _cut(text: str) -> str:
    return text if len(text) <= MOST_TEXT else f"{text[: MOST_TEXT - 3]}..."
