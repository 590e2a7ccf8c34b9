"""What a file calls an item, and how much of it: codes and quantities against the catalogue."""

from dataclasses import dataclass
from decimal import Decimal
from functools import partial

from buildplan.loading import values
from buildplan.loading.cells import Cells
from buildplan.loading.columns import near
from buildplan.loading.records import shown
from buildplan.loading.values import BadValue
from inventory.catalogue import calc
from inventory.catalogue.units import Converted, RangeError, UnitError, to_stock_unit
from inventory.common.fields import LIMIT, plain
from inventory.common.quantities import part_of_piece
from inventory.models import Identifier, Item

COLUMNS = ("key", "text", "item_id", "item__code", "item__unit", "item__life_months", "item__open_life_days")

ROUNDING_LENGTH = 200


@dataclass(frozen=True, slots=True)
class Known:
    """What loading must know of an item."""

    pk: int
    code: str
    unit: str
    life_months: int | None
    open_life_days: int | None


class Codes:
    """Every code that means an item of the workshop in scope. One query, however many rows ask."""

    def __init__(self) -> None:
        """Read the catalogue."""
        self._texts: list[str] = []
        self._by_key: dict[str, Known] = {}
        self._by_text: dict[str, Known] = {}
        self.items: dict[int, Known] = {}
        self.unknown: dict[str, Known | None] = {}
        for key, text, pk, *rest in Identifier.objects.values_list(*COLUMNS).iterator(chunk_size=2000):
            self._by_key[key] = self.items.setdefault(pk, Known(pk, *rest))
            self._texts.append(text)

    def find(self, text: str, *, advise: bool = True) -> Known:
        """The item that a code means. `advise` with the code most like it is costly, and may be left out.

        A code that means nothing is kept in `unknown` with the item of the code most like it, where that was looked for.
        """
        if found := self._by_text.get(text):
            return found
        found = self._by_key.get(calc.key(values.filled(text)))
        if found is None:
            raise BadValue(f"{shown(text)} is no code of the catalogue: {self._advice(text) if advise else 'add it there'}")
        self._by_text[text] = found
        return found

    def _advice(self, text: str) -> str:
        if not self._texts:
            return "which is empty: load the catalogue first"
        match = near(text, self._texts)
        self.unknown.setdefault(text, self._by_key[calc.key(match)] if match else None)
        return f"did you mean {match}? Else add it there" if match else "add it there"


def item_of(cells: Cells, codes: Codes) -> Known:
    """The item that the row is about."""
    return cells.need("item", partial(codes.find, advise=not cells.reading.problems.full))


def amount_of(cells: Cells, item: Known | None, *, zero: str = "") -> Converted:
    """The row's quantity in the item's stock unit. Without an item only the figure itself is checked. `zero` is what to do about 0."""
    quantity: Decimal | None = cells.need("quantity", partial(_figure, comma=cells.row.decimal_comma, zero=zero))
    if quantity is None or item is None:
        return Converted(Decimal(0), "")
    return _converted(cells, quantity, item)


def warn_of_part(cells: Cells, amount: Converted, item: Known | None) -> None:
    """Say that a file tells of part of a piece. It is kept as written, since a file may have been saved so; a count puts it right."""
    if item is not None and part_of_piece(amount.quantity, item.unit):
        what = f"{plain(amount.quantity)} {item.unit} of {item.code}"
        told = f"{what} is no whole number of pieces: kept as written; count it to put it right"
        cells.reading.problems.add_warning(cells.row.error("quantity", told))


def _figure(text: str, *, comma: bool, zero: str) -> Decimal:
    if zero and not values.decimal_not_negative(text, decimal_comma=comma):
        raise BadValue(f"{shown(text)} is zero: {zero}")
    return values.quantity(text, decimal_comma=comma)


def _converted(cells: Cells, quantity: Decimal, item: Known) -> Converted:
    try:
        return to_stock_unit(quantity, cells.row["unit"], item.unit)
    except RangeError as error:
        cells.fault("quantity", str(error))
    except UnitError as error:
        cells.fault("unit", str(error))
    return Converted(quantity, "")


def too_much(total: Decimal, unit: str) -> str | None:
    """What is wrong with a sum of rows, if anything: each row alone was within bounds."""
    return f"with the rows before it {plain(total)} {unit}, past 10^12: check them" if total > LIMIT else None


def joined(first: str, second: str) -> str:
    """The notes of two roundings as one, as far as there is room."""
    return "; ".join(filter(None, (first, second)))[:ROUNDING_LENGTH]


def catalogued() -> dict[int, Item]:
    """Every item of the workshop in scope, by its number: for rows that ask more of an item than its unit. One query."""
    return {item.pk: item for item in Item.objects.all()}
