"""What a file holds, before anybody says what it means: its sheets, their columns, how many rows."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from buildplan.loading.csv_tables import CsvFile
from buildplan.loading.records import Source, Unreadable
from buildplan.loading.xlsx_tables import Book

MOST_TITLES = 200  # columns of a sheet: more is no list, or its rows stand in columns


def look_into(path: Path, called: str) -> dict[str, Any]:
    """A file by its sheets, as a row keeps it: what can't be read says so in `fault`. A CSV file is one sheet without a name."""
    try:
        sheets = list(_sheets(path, called))
    except Unreadable as error:
        sheets = [_sheet("", fault=error.text)]
    return {"name": called, "stored": path.name, "sheets": sheets}


def _sheets(path: Path, called: str) -> Iterator[dict[str, Any]]:
    if path.suffix.lower() == ".csv":
        yield _read("", CsvFile(path, called))
        return
    book = Book(path, called)
    for title in book.titles():
        yield _read(title, book.sheet(title))


def _read(sheet: str, source: Source) -> dict[str, Any]:
    try:
        records = source.records()
        first = next(records, None)
        titles = list(first.cells) if first is not None else []
        rows = sum(not record.blank for record in records)
    except Unreadable as error:
        return _sheet(sheet, fault=error.text)
    while titles and not titles[-1]:
        titles.pop()
    if len(titles) > MOST_TITLES:
        return _sheet(sheet, fault=f"has {len(titles)} columns, and {MOST_TITLES} are the most: is it the right file?")
    return _sheet(sheet, titles=titles, rows=rows)


def _sheet(sheet: str, *, titles: list[str] | None = None, rows: int = 0, fault: str = "") -> dict[str, Any]:
    return {"sheet": sheet, "titles": titles or [], "rows": rows, "fault": fault}
