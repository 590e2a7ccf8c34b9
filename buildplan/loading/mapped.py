"""A source whose columns somebody else named: read by a choice of columns, as if it were one of ours."""

from collections.abc import Iterator, Mapping, Sequence

from buildplan.loading.mapping import ColumnMap, letters
from buildplan.loading.records import Fault, Record, Source, ragged_text, shown


class Mapped:
    """Another source behind our names. Columns that nobody chose aren't read at all, whatever stands in them."""

    ragged: bool = False  # rows of the wrong width are faults here already

    def __init__(self, source: Source, chosen: ColumnMap) -> None:
        """Read `source` by `chosen`."""
        self.label = source.label
        self.decimal_comma = source.decimal_comma
        self.warnings = source.warnings
        self.called: Mapping[str, str] = {}
        self._source = source
        self._places = list(chosen.positions.values())
        self._names = [*chosen.positions, *chosen.constants]
        self._said = list(chosen.constants.values())
        self._chosen = chosen

    def records(self) -> Iterator[Record]:
        """Each row from the header on, blank ones included."""
        width = 0
        for count, record in enumerate(self._source.records()):
            if not count:
                width = len(record.cells)
                self.called = self._called(record.cells)
                yield record if record.faults or record.blank else Record(record.row, self._names)
            else:
                yield self._read(record, width)

    def _read(self, record: Record, width: int) -> Record:
        if record.blank:
            return record
        if not record.faults and self._source.ragged and len(record.cells) != width:
            return Record(record.row, (), (Fault(ragged_text(len(record.cells), width, self.decimal_comma)),))
        cells = [record.cells[at] if at < len(record.cells) else "" for at in self._places]
        return Record(record.row, [*cells, *self._said], tuple(self._ours(record.faults)))

    def _ours(self, faults: Sequence[Fault]) -> Iterator[Fault]:
        """The faults of rows and of chosen columns; what is wrong in a column that isn't read is no matter."""
        for fault in faults:
            if fault.index is None:
                yield fault
            elif fault.index in self._places:
                yield Fault(fault.text, self._places.index(fault.index))

    def _called(self, titles: Sequence[str]) -> dict[str, str]:
        """How messages name a column: ours, with theirs beside it where that is another word."""
        found: dict[str, str] = {}
        for name, at in self._chosen.positions.items():
            title = titles[at] if at < len(titles) else ""
            if title.lower() != name:
                found[name] = f"{name} ({shown(title) if title else f'column {letters(at)}'})"
        return found
