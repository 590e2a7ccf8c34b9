"""How often an assembly is put together and taken apart, and the clecos that takes: from the phases of its steps. Pure."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from buildplan.fitting.calc import Phase
from buildplan.hardware.clecos import clecos_for_row, pin_peak
from inventory.common.reasons import Reason

RULE = "the phases of its steps, in plan order: deburring takes it apart, any other phase has it together"
ROWS = "the rivet rows of its steps"


@dataclass(frozen=True, slots=True)
class Row:
    """A rivet row that clecos hold: `until` is the plan position of the step whose day frees them; None: its own step."""

    step: int
    cleco: str
    holes: int
    every: int
    until: int | None = None


@dataclass(frozen=True, slots=True)
class Phased:
    """A step of an assembly at its position in the plan, and one of the phases it is there for."""

    position: int
    step: str
    phase: Phase


@dataclass(frozen=True, slots=True)
class Pins:
    """Clecos of one size while it is together: `put` in all, `most` of them at once, first in the step `when`."""

    cleco: str
    put: int
    most: int
    when: str


@dataclass(frozen=True, slots=True)
class Together:
    """One time that it is together: the steps of that time, the one that takes it apart (blank: it stays), and the clecos it takes."""

    number: int
    steps: tuple[str, ...]
    apart: str
    pins: tuple[Pins, ...] = ()


@dataclass(frozen=True, slots=True)
class Handling:
    """Every time that an assembly is together, in plan order. `final` says that its last time is for good."""

    times: tuple[Together, ...]
    final: bool
    trace: tuple[Reason, ...]

    @property
    def assemblies(self) -> int:
        """How often it is put together."""
        return len(self.times)

    @property
    def disassemblies(self) -> int:
        """How often it is taken apart."""
        return sum(bool(one.apart) for one in self.times)


def handling(steps: Iterable[Phased], rows: Sequence[Row]) -> Handling:
    """How often it is put together and taken apart. Within a step the phases stand in their usual order."""
    order = list(Phase)
    ordered = sorted(steps, key=lambda one: (one.position, order.index(one.phase)))
    times = tuple(_times(ordered, rows))
    final = bool(times) and not times[-1].apart and ordered[-1].phase is Phase.FINAL
    return Handling(times, final, tuple(_told(times, ordered, final=final)))


def _times(ordered: Sequence[Phased], rows: Sequence[Row]) -> Iterator[Together]:
    spells = [(apart, list(of)) for apart, of in groupby(ordered, key=lambda one: one.phase is Phase.DEBURR)]
    number = 0
    for at, (apart, of) in enumerate(spells):
        if apart:
            continue
        number += 1
        after = spells[at + 1][1][0] if at + 1 < len(spells) else None
        together = Together(number, tuple(dict.fromkeys(one.step for one in of)), after.step if after else "")
        yield replace(together, pins=tuple(_pins(_rows_of(spells, at, rows), of, after)))


def _rows_of(spells: Sequence[tuple[bool, Sequence[Phased]]], at: int, rows: Sequence[Row]) -> list[Row]:
    """The rows of the steps of one time; a step that is in two of them gives its rows to the first."""
    earlier = {one.position for apart, of in spells[:at] for one in of if not apart}
    here = {one.position for one in spells[at][1]} - earlier
    return [row for row in rows if row.step in here]


def _pins(rows: Sequence[Row], steps: Sequence[Phased], after: Phased | None) -> Iterator[Pins]:
    names = {one.position: one.step for one in steps}
    for cleco in sorted({row.cleco for row in rows}):
        of = [(row, clecos_for_row(row.holes, row.every)) for row in rows if row.cleco == cleco]
        most, when = pin_peak([(row.step, _freed(row, after), count) for row, count in of])
        yield Pins(cleco, sum(count for _, count in of), most, "" if when is None else names[when])


def _freed(row: Row, after: Phased | None) -> int:
    """The plan position at which a row's clecos are free: taking it apart frees all, and a row holds its own step at least."""
    until = row.step + 1 if row.until is None else row.until
    return max(row.step + 1, until if after is None else min(until, after.position))


def _told(times: Sequence[Together], ordered: Sequence[Phased], *, final: bool) -> Iterator[Reason]:
    if not times:
        yield Reason("no step says that it is put together", RULE)
        return
    for one in times:
        end = f"{one.apart} takes it apart" if one.apart else "it stays together" if final else "no step takes it apart or closes it"
        yield Reason(f"time {one.number}: together in {', '.join(one.steps)}; {end}", RULE)
        for pins in one.pins:
            yield Reason(f"time {one.number}: {pins.put} of {pins.cleco}, {pins.most} at once, first in {pins.when}", ROWS)
        if not one.pins:
            yield Reason(f"time {one.number}: no rivet row of its steps says where a cleco goes", ROWS)
    if ordered[-1].phase is Phase.DEBURR:
        yield Reason("the last thing said of it is deburring: no step puts it together again", RULE)
