"""Pins held day by day against pins owned: when they don't reach, who holds them, and whose absence would do. Pure.

For clecos and all else that comes back. The figures are those of netting (`calc.net`), so that chart and order sheet can't differ.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from buildplan.shortfall.calc import NOTHING, ONE_DAY, Held, Line, Need
from inventory.common.fields import plain
from inventory.common.reasons import Reason

SOURCE = "held at once, day by day: things that come back"


@dataclass(frozen=True, slots=True)
class Holder:
    """What a step holds during a stretch. `alone`: without this one step the rest would fit."""

    step: int
    label: str
    held: Decimal
    alone: bool


@dataclass(frozen=True, slots=True)
class Stretch:
    """Days in a row on which nothing changes. `through` is the last one; None: no end of it is known.

    `holders` are the steps that hold something where it is more than there is, those that hold most first.
    """

    first: date
    through: date | None
    held: Decimal
    owned: Decimal
    holders: tuple[Holder, ...] = ()

    @property
    def lacking(self) -> Decimal:
        """By how much what is held is over what is owned."""
        return max(NOTHING, self.held - self.owned)


@dataclass(frozen=True, slots=True)
class Pins:
    """One returned thing over the days of a demand."""

    line: Line
    stretches: tuple[Stretch, ...]

    @property
    def over(self) -> tuple[Stretch, ...]:
        """The stretches on which it doesn't reach."""
        return tuple(stretch for stretch in self.stretches if stretch.lacking)

    @property
    def lacking(self) -> Decimal:
        """The most that is lacking on any day: what the order sheet calls short."""
        return self.line.short


def pins(lines: Iterable[Line]) -> tuple[Pins, ...]:
    """The returned things among some lines: those that don't reach first, by the day on which they first don't; then by item."""
    found = [Pins(line, stretches(line)) for line in lines if line.item.returned]
    return tuple(sorted(found, key=lambda one: (one.line.first_short or date.max, one.line.item.code)))


def stretches(line: Line) -> tuple[Stretch, ...]:
    """From the demand's day on, as long as anything is held. Days on which nothing changes make one stretch."""
    days = since(line.held, line.as_of)
    holding = _Holding(line.needs)
    found = []
    for at, (first, held, owned) in enumerate(days):
        through = days[at + 1][0] - ONE_DAY if at + 1 < len(days) else None
        by_step = holding.on(first)
        holders = tuple(_holders(by_step, held - owned)) if held > owned else ()
        found.append(Stretch(first, through, held, owned, holders))
    while found and not found[-1].held:
        found.pop()
    return tuple(found)


def why(pins: Pins) -> Iterator[Reason]:
    """What is lacking when, which steps compete for it, and what would make it fit."""
    for stretch in pins.over:
        unit = pins.line.item.unit
        holders = ", ".join(f"{holder.label} ({plain(holder.held)})" for holder in stretch.holders)
        figures = f"{plain(stretch.owned)} there, {plain(stretch.lacking)} lacking"
        yield Reason(f"{when(stretch)}: {plain(stretch.held)} {unit} held by {holders}; {figures}; {way_out(stretch)}", SOURCE)


def when(stretch: Stretch) -> str:
    """The days of a stretch in words."""
    if stretch.through is None:
        return f"from {stretch.first} on"
    return f"on {stretch.first}" if stretch.through == stretch.first else f"from {stretch.first} through {stretch.through}"


def way_out(stretch: Stretch) -> str:
    """What would make a stretch fit: one step moved to other days, or more than one."""
    alone = [holder.label for holder in stretch.holders if holder.alone]
    if alone:
        return f"it fits if {' or '.join(alone)} alone is on other days, or holds {plain(stretch.lacking)} less"
    return f"no single step's absence is enough: free {plain(stretch.lacking)} over several steps, or space rows wider"


def since(held: Sequence[Held], as_of: date) -> list[Held]:
    """The changes from a day on, what came before it folded into that day."""
    folded: list[Held] = [(as_of, NOTHING, NOTHING)]
    for day, holding, owned in held:
        first = max(day, as_of)
        if folded[-1][0] == first:
            folded.pop()
        folded.append((first, holding, owned))
    return folded


class _Holding:
    """Which step holds how much, as days go by: asked for days in order."""

    def __init__(self, needs: Iterable[Need]) -> None:
        changes: dict[date, list[tuple[Need, Decimal]]] = defaultdict(list)
        for need in needs:
            changes[need.day].append((need, need.quantity))
            if need.through < date.max:
                changes[need.through + ONE_DAY].append((need, -need.quantity))
        self._changes = sorted(changes.items(), reverse=True)
        self._held: dict[tuple[tuple[int, int], int, str], Decimal] = {}

    def on(self, day: date) -> dict[tuple[tuple[int, int], int, str], Decimal]:
        """What each step holds on a day; days must come in order."""
        while self._changes and self._changes[-1][0] <= day:
            for need, quantity in self._changes.pop()[1]:
                key = need.order, need.step, need.label
                self._held[key] = self._held.get(key, NOTHING) + quantity
                if not self._held[key]:
                    del self._held[key]
        return self._held


def _holders(held: dict[tuple[tuple[int, int], int, str], Decimal], lacking: Decimal) -> Iterator[Holder]:
    """Those that hold most first, then in plan order."""
    for (_, step, label), quantity in sorted(held.items(), key=lambda pair: (-pair[1], pair[0])):
        yield Holder(step, label, quantity, alone=quantity >= lacking)
