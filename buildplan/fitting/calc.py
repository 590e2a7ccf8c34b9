"""Hands, the record of which side was right, and marks: pure, no Django, no clock."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from inventory.common.reasons import ARITHMETIC, Reason

LETTERS = "abcdefghjkmnpqrstuvwxyz"  # without i, l and o: a felt pen makes 7l look like 71
STATED = "as a builder stated it"
SETTLED = "the workshop's own settled conflicts"
HISTORY = "what was written down of its pieces"


class Source(StrEnum):
    """Which reading of the plans turned out right."""

    TEXT = "text"
    DRAWING = "drawing"
    NEITHER = "neither"


class Phase(StrEnum):
    """What a step does with an assembly."""

    FIT_UP = "fit_up"
    MATCH_DRILL = "match_drill"
    DEBURR = "deburr"
    FINAL = "final"


# Which side was right so far


@dataclass(frozen=True, slots=True)
class Record:
    """How often which source turned out right in settled conflicts of one kind."""

    kind: str
    text: int
    drawing: int
    neither: int

    @property
    def cases(self) -> int:
        """How many conflicts it rests on."""
        return self.text + self.drawing + self.neither

    @property
    def trace(self) -> tuple[Reason, ...]:
        """The counts in words, and how little they say."""
        if not self.cases:
            return (Reason(f"no conflict of {self.kind} is settled yet: nothing to go by", SETTLED),)
        of = f"of {self.cases} settled {'conflict' if self.cases == 1 else 'conflicts'} of {self.kind}"
        sides = (("the text", self.text), ("the drawing", self.drawing), ("neither", self.neither))
        told = ", ".join(f"{side} right in {count}" for side, count in sides)
        only = "rests on 1 case" if self.cases == 1 else f"rests on {self.cases} cases"
        return (Reason(f"{of}: {told}", SETTLED), Reason(f"it {only} and is shown, not applied: the maker's answer decides", ARITHMETIC))


def records(settled: Iterable[tuple[str, str]], kinds: Sequence[str]) -> tuple[Record, ...]:
    """For each of `kinds` how often which side was right; `settled` are (kind, side), one for each settled conflict."""
    counted = Counter((kind, Source(side)) for kind, side in settled)
    return tuple(Record(kind, *(counted[kind, side] for side in Source)) for kind in kinds)


# Hands


@dataclass(frozen=True, slots=True)
class Lookalike:
    """An item that looks like the mirror image of another and is none, and what tells them apart."""

    code: str
    told_apart: str


@dataclass(frozen=True, slots=True)
class Sided:
    """A part that a step calls out: its hand as stated, its mirror image where that is known, and what it is mistaken for."""

    code: str
    hand: str = ""
    mirror: str = ""
    lookalikes: tuple[Lookalike, ...] = ()


def cautions(step_hand: str, parts: Iterable[Sided]) -> tuple[Reason, ...]:
    """What to look at twice: parts of the other hand than the step's, and parts that are easily mistaken."""
    return tuple(one for part in parts for one in (*_other_hand(step_hand, part), *_mistaken(part)))


def _other_hand(step_hand: str, part: Sided) -> Iterable[Reason]:
    sides = {"left", "right"}
    if step_hand in sides and part.hand in sides and part.hand != step_hand:
        mirror = f"; its mirror image is {part.mirror}" if part.mirror else ""
        yield Reason(f"the step is {step_hand} hand, and {part.code} is a {part.hand} part{mirror}: look at both before you cut", STATED)


def _mistaken(part: Sided) -> Iterable[Reason]:
    for one in part.lookalikes:
        yield Reason(f"{part.code} looks like the mirror image of {one.code} and is not: {one.told_apart}", STATED)


# Marks


def mark_text(number: int, serial: int) -> str:
    """What is written on a piece: `7` on the first of position 7, `7b` on the one that replaces it, then `7c`, at last `7aa`."""
    if number < 1 or serial < 0:
        raise ValueError(f"number and serial: {number} and {serial} are no position and piece")
    return f"{number}{_letters(serial + 1) if serial else ''}"


def next_serial(used: Iterable[int]) -> int:
    """The next piece's serial at a position where these were given: past the highest, so that no mark comes back."""
    return max(used, default=-1) + 1


def _letters(count: int) -> str:
    found = ""
    while count:
        count, at = divmod(count - 1, len(LETTERS))
        found = LETTERS[at] + found
    return found


# Holes


@dataclass(frozen=True, slots=True)
class Drilling:
    """That a piece was drilled with others: `drill` the drill's name, `final` to the size that the rivet takes."""

    mates: str
    drill: str
    final: bool
    on: date
    by: str


@dataclass(frozen=True, slots=True)
class PieceHoles:
    """A piece of a position with its drillings, oldest first. `ended` is the day on which it was taken away, `why` the reason."""

    mark: str
    drilled: tuple[Drilling, ...]
    ended: date | None = None
    ended_by: str = ""
    why: str = ""

    @property
    def final(self) -> bool:
        """Its holes are of final size."""
        return any(one.final for one in self.drilled)


def holes(part: str, pieces: Sequence[PieceHoles], mates: Sequence[tuple[str, PieceHoles]] = ()) -> tuple[Reason, ...]:
    """The holes of a position, piece by piece, oldest first; `mates` are the standing pieces that share its number, by part.

    A new piece among drilled ones is told where its holes must come from.
    """
    told = [line for piece in pieces for line in _piece(part, piece)]
    standing = [piece for piece in pieces if piece.ended is None]
    if standing and not standing[-1].drilled:
        told += [_guide(part, standing[-1], mate, piece) for mate, piece in mates if piece.drilled]
    return tuple(told)


def _piece(part: str, piece: PieceHoles) -> Iterable[Reason]:
    name = f"{part} {piece.mark}"
    if not piece.drilled:
        yield Reason(f"{name}: no hole of it is written down", HISTORY)
    for one in piece.drilled:
        size = f" #{one.drill}" if one.drill.isdigit() else f" {one.drill}" if one.drill else ""
        finish = "to final size" if one.final else "not to final size"
        mates = f" with {one.mates}" if one.mates else " alone"
        yield Reason(f"{name}: drilled{size}{mates}, {finish}, on {one.on} by {one.by}", HISTORY)
    if piece.ended is not None:
        yield Reason(f"{name}: taken away on {piece.ended} by {piece.ended_by}: {piece.why}", HISTORY)


def _guide(part: str, new: PieceHoles, mate: str, drilled: PieceHoles) -> Reason:
    how = "to final size already: they are its guide, and must not be opened further" if drilled.final else "already: they are its guide"
    return Reason(f"{part} {new.mark} is not drilled, and {mate} {drilled.mark} is drilled {how}", HISTORY)
