"""Files out: the columns of loading, so that what is written loads back equal."""

import csv
import os
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from decimal import Decimal, localcontext
from fractions import Fraction
from functools import partial
from io import TextIOWrapper
from itertools import chain
from pathlib import Path
from typing import IO, Any, TypeAlias

from django.db.models import Sum
from openpyxl import Workbook
from openpyxl.cell import Cell, WriteOnlyCell

from buildplan.cutting.models import Blank, Piece
from buildplan.hardware.models import RivetRow
from buildplan.loading.records import shown
from buildplan.logbook.files import HEADINGS as LOG_HEADINGS
from buildplan.logbook.files import cells_of as log_cells
from buildplan.logbook.models import LogEntry
from buildplan.logbook.queries import rows as log_rows
from buildplan.plan.models import CallOut, Project, Step, StepAfter
from buildplan.sealing.models import Seam
from inventory.catalogue.calc import key
from inventory.common.fields import plain
from inventory.common.problems import Problem
from inventory.models import Bench, Holding, Identifier, Item
from inventory.shelflife.calc import of_columns

RowTexts: TypeAlias = Sequence[str]
Tables: TypeAlias = Mapping[str, Iterable[RowTexts]]

# As they are documented, in that order.
TITLES = {
    "catalogue": "ITEM NAME KIND UNIT identifiers pack lead_days life_months open_life_days min_life_days"
    " diameter gravity base accelerator",
    "stock": "ITEM QUANTITY unit PLACE lot made expires opened state",
    "steps": "STEP SECTION TITLE planned after minutes done hand",
    "needs": "STEP ITEM QUANTITY unit",
    "rows": "STEP ROW RIVET HOLES grip cleco_every clecos_until",
    "seams": "STEP SEAM SEALANT SHAPE length unit leg_a leg_b thickness size_unit count grams_each loss_percent",
    "blanks": "BLANK FORM unit length width thickness grain kerf end_trim",
    "pieces": "STEP PIECE BLANK count per_blank cut length width unit allowance grain hand item",
}
HEADERS: Mapping[str, RowTexts] = {name: titles.split() for name, titles in TITLES.items()}
_FIRST_ROWS: Mapping[str, RowTexts] = {**HEADERS, "log": LOG_HEADINGS}
DIGITS_OF_A_RATIO = 9
DIGITS_OF_A_DECIMAL = 60


class NoTarget(ValueError):  # noqa: N818 - wrong usage of a command, told apart from bad input
    """A path that nothing can be written to."""


class NothingThere(Problem):
    """A file of no rows would not load back."""

    title = "Nothing to export"


class NotForFiles(Problem):
    """What no file can say."""

    title = "This can't be exported"


def export_catalogue(path: Path) -> dict[str, int]:
    """Write the items of the workshop in scope; how many rows of each table."""
    return _write(path, {"catalogue": _catalogue()})


def export_stock(path: Path, bench: Bench) -> dict[str, int]:
    """Write what is on hand of a bench; how many rows of each table."""
    return _write(path, {"stock": _stock(bench)})


def export_plan(path: Path, project: Project) -> dict[str, int]:
    """Write a project's steps, what they take and the blanks of their pieces, to a folder or a workbook; how many rows of each table."""
    tables = {"steps": _steps, "needs": _needs, "rows": _rows, "seams": _seams, "blanks": _blanks, "pieces": _pieces}
    return _write(path, {name: rows(project) for name, rows in tables.items()})


def export_log(path: Path, project: Project) -> dict[str, int]:
    """Write a project's log, the first day first, with what is told beside it; how many rows."""
    found = LogEntry.objects.filter(project=project).order_by("on", "pk")
    return _write(path, {"log": log_cells(log_rows(found))})


def _catalogue() -> Iterator[RowTexts]:
    further = _identifiers()
    for item in Item.objects.order_by("pk"):
        yield _texts(
            item.code, item.name, item.kind, item.unit, ";".join(further[item.pk]), item.pack, item.lead_days, item.life_months,
            item.open_life_days, item.min_life_days or None, item.diameter, item.gravity, item.base, item.accelerator,
        )  # fmt: skip


def _identifiers() -> Mapping[int, Sequence[str]]:
    """Each item's codes besides its own."""
    found: dict[int, list[str]] = defaultdict(list)
    for pk, code, text in Identifier.objects.order_by("pk").values_list("item_id", "item__code", "text"):
        if key(code) != key(text):
            found[pk].append(_without_semicolon(text, code))
    return found


def _without_semicolon(text: str, item: str) -> str:
    if ";" in text:
        raise NotForFiles(f'{shown(text)}, a code of {item}, holds a ";", which stands between codes in a file')
    return text


def _stock(bench: Bench) -> Iterator[RowTexts]:
    """Holdings of lots that a file can't tell apart stand in one row."""
    lot = ("lot__code", "lot__made_on", "lot__made_as", "lot__expires_on", "lot__expires_as", "lot__opened_on", "lot__state")
    columns = ("lot__item__code", "lot__item__unit", "place__path", *lot)
    held = Holding.objects.filter(lot__bench=bench, quantity__gt=0).values(*columns).annotate(total=Sum("quantity"))
    for row in held.order_by(*columns).values_list(*columns, "total").iterator(chunk_size=2000):
        item, unit, place, code, made_on, made_as, expires_on, expires_as, opened, state, total = row
        yield _texts(item, total, unit, place, code, of_columns(made_on, made_as), of_columns(expires_on, expires_as), opened, state)


def _steps(project: Project) -> Iterator[RowTexts]:
    afters: dict[int, list[str]] = defaultdict(list)
    for step, after in StepAfter.objects.filter(step__project=project).order_by("after__position").values_list("step_id", "after__code"):
        afters[step].append(after)
    for row in Step.objects.filter(project=project).order_by("position").select_related("section"):
        done = (row.done_on or "yes") if row.done else ""
        yield _texts(row.code, row.section.name, row.title, row.planned_on, ";".join(afters[row.pk]), row.minutes, done, row.hand)


def _needs(project: Project) -> Iterator[RowTexts]:
    rows = CallOut.objects.filter(step__project=project).order_by("step__position", "pk")
    for row in rows.values_list("step__code", "item__code", "quantity", "item__unit"):
        yield _texts(*row)


def _rows(project: Project) -> Iterator[RowTexts]:
    rows = RivetRow.objects.filter(step__project=project).order_by("position", "pk")
    columns = ("step__code", "code", "rivet__code", "holes", "grip", "cleco_every", "clecos_until__code")
    for row in rows.values_list(*columns):
        yield _texts(*row)


def _seams(project: Project) -> Iterator[RowTexts]:
    rows = Seam.objects.filter(step__project=project).order_by("position", "pk")
    sizes = ("length", "unit", "leg_a", "leg_b", "thickness", "size_unit", "count", "grams_each", "loss_percent")
    for row in rows.values_list("step__code", "code", "sealant__code", "shape", *sizes):
        yield _texts(*row)


def _blanks(project: Project) -> Iterator[RowTexts]:
    rows = Blank.objects.filter(pieces__step__project=project).distinct().order_by("item__code")
    columns = ("item__code", "form", "unit", "length", "width", "thickness", "grain", "kerf", "end_trim")
    for row in rows.values_list(*columns):
        yield _texts(*row)


def _pieces(project: Project) -> Iterator[RowTexts]:
    rows = Piece.objects.filter(step__project=project).order_by("position", "pk")
    columns = ("step__code", "code", "blank__item__code", "count", "per_blank", "cut", "length", "width", "unit", "allowance")
    for row in rows.values_list(*columns, "grain", "hand", "item__code"):
        yield _texts(*row)


def _texts(*values: object) -> RowTexts:
    return [_text(value) for value in values]


def _text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, Fraction):
        return _size(value)
    return plain(value) if isinstance(value, Decimal) else str(value)


def _size(size: Fraction) -> str:
    """`1/8`; a size that was given in many decimals as these, since that ratio would be too long to read."""
    if max(len(str(size.numerator)), len(str(size.denominator))) <= DIGITS_OF_A_RATIO:
        return str(size)
    with localcontext(prec=DIGITS_OF_A_DECIMAL):
        return plain(Decimal(size.numerator) / size.denominator)


def _write(path: Path, tables: Tables) -> dict[str, int]:
    """Write the tables that have rows, the first of which must; how many rows each."""
    filled = {name: rows for name, rows in ((name, list(rows)) for name, rows in tables.items()) if rows}
    main = next(iter(tables))
    if main not in filled:
        raise NothingThere(f"there is nothing to export: no row of {main}")
    try:
        _write_files(path, filled, several=len(tables) > 1)
    except OSError as error:
        raise NoTarget(f"{path}: cannot be written ({error.strerror}): check the path") from error
    return {name: len(rows) for name, rows in filled.items()}


def _write_files(path: Path, tables: Mapping[str, Sequence[RowTexts]], *, several: bool) -> None:
    suffix = path.suffix.lower()
    if suffix == ".xlsx":
        _replace(path, partial(_write_book, tables=tables))
    elif several and suffix != ".csv":
        _write_folder(path, tables)
    elif suffix == ".csv" and not several:
        [(name, rows)] = tables.items()
        _replace(path, partial(_write_csv, header=_FIRST_ROWS[name], rows=rows))
    else:
        raise NoTarget(f"{path}: name {'a folder, or a file that ends in .xlsx' if several else 'a file that ends in .csv or .xlsx'}")


def _write_folder(folder: Path, tables: Mapping[str, Sequence[RowTexts]]) -> None:
    folder.mkdir(exist_ok=True)
    for name, rows in tables.items():
        _replace(folder / f"{name}.csv", partial(_write_csv, header=_FIRST_ROWS[name], rows=rows))
    for name in ("needs", "rows", "seams", "blanks", "pieces"):
        if name not in tables:
            (folder / f"{name}.csv").unlink(missing_ok=True)  # of an earlier export: it would load what is needed no more


def _replace(path: Path, write: Callable[[IO[bytes]], None]) -> None:
    """Write beside `path`, then take its place at once: a crash leaves the old file or the new one, whole."""
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        with beside.open("wb") as file:
            write(file)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def _write_csv(file: IO[bytes], *, header: RowTexts, rows: Iterable[RowTexts]) -> None:
    text = TextIOWrapper(file, encoding="utf-8", newline="")
    csv.writer(text).writerows(chain([header], rows))
    text.flush()
    text.detach()


def _write_book(file: IO[bytes], *, tables: Mapping[str, Sequence[RowTexts]]) -> None:
    book = Workbook(write_only=True)
    for name, rows in tables.items():
        sheet = book.create_sheet(name)
        for row in chain([_FIRST_ROWS[name]], rows):
            sheet.append([_cell(sheet, text) for text in row])
    book.save(file)


def _cell(sheet: Any, text: str) -> Cell | None:
    """A cell that stays the text it is: `1/8` no date, `007` no 7, and what begins with `=` no formula."""
    if not text:
        return None
    cell = WriteOnlyCell(sheet, text)
    cell.data_type, cell.number_format = "s", "@"
    return cell
