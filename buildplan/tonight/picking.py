"""Which line of a pick list a scan ticks off. Pure: no Django, no clock."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from inventory.common.problems import FieldProblem


class NotPicked(FieldProblem):
    """A scan that ticks nothing off, with what would do."""

    title = "Nothing is ticked off"

    def __init__(self, text: str) -> None:
        """Say it at the field of the code."""
        super().__init__("code", text)


@dataclass(frozen=True, slots=True)
class Line:
    """A line of the list, in the order of the walk."""

    key: str
    item_id: int
    item: str
    lot_id: int
    lot: str
    place_id: int
    path: str

    def __str__(self) -> str:
        """As people name it."""
        return f"lot {self.lot} in {self.path}" if self.lot else f"no lot code in {self.path}"


@dataclass(frozen=True, slots=True)
class Scanned:
    """What a code means here: a place; or an item, where the label says so with its lot (`lot_id` by a label of ours, `lot` as printed)."""

    item_id: int | None = None
    item: str = ""
    lot_id: int | None = None
    lot: str = ""
    place_id: int | None = None
    path: str = ""


def line_of(scanned: Scanned, lines: Sequence[Line], ticked: Collection[str]) -> Line:
    """The one line that a scan ticks off; else `NotPicked` says why none."""
    if scanned.place_id is not None:
        return _at_place(scanned, lines, ticked)
    of_item = [line for line in lines if line.item_id == scanned.item_id]
    if not of_item:
        named = f"{scanned.item}, lot {scanned.lot}" if scanned.lot else scanned.item
        raise NotPicked(f"{named} is not on this list")
    of_lot = [line for line in of_item if _is_lot(line, scanned)]
    if not of_lot:
        raise NotPicked(
            f"wrong lot: this is lot {scanned.lot or 'without a code'} of {scanned.item}, and the list wants {_named(of_item)}. "
            "Put it back; or take it, and say so where the step is finished"
        )
    left = [line for line in of_lot if line.key not in ticked]
    if not left:
        raise NotPicked(f"{scanned.item} is ticked off already: {_named(of_lot)}")
    if len({line.lot_id for line in left}) > 1:
        raise NotPicked(f"{scanned.item} is on this list from several lots: {_named(left)}. Scan the label of the lot, or press its line")
    return left[0]


def _is_lot(line: Line, scanned: Scanned) -> bool:
    """Whether a line is of the scanned lot, as far as its label and ours say which that is."""
    if scanned.lot_id is not None:
        return line.lot_id == scanned.lot_id
    return not scanned.lot or not line.lot or line.lot.casefold() == scanned.lot.casefold()


def _at_place(scanned: Scanned, lines: Sequence[Line], ticked: Collection[str]) -> Line:
    here = [line for line in lines if line.place_id == scanned.place_id]
    if not here:
        raise NotPicked(f"nothing of this list lies in {scanned.path}")
    left = [line for line in here if line.key not in ticked]
    if not left:
        raise NotPicked(f"all of this list that lies in {scanned.path} is ticked off already")
    if len(left) > 1:
        items = ", ".join(dict.fromkeys(line.item for line in left))
        raise NotPicked(f"{len(left)} lines of this list lie in {scanned.path}: {items}. Scan each, or press it")
    return left[0]


def _named(lines: Iterable[Line]) -> str:
    return " and ".join(str(line) for line in lines)
