"""What a section's list holds before anybody changes it: a starting list of ours, from nobody's instructions."""

from dataclasses import dataclass
from enum import StrEnum


class Fact(StrEnum):
    """What the program knows something of."""

    STEPS = "steps"
    CONFLICTS = "conflicts"
    MOVEMENTS = "movements"
    MARKS = "marks"
    CURES = "cures"
    LEAK = "leak"
    SEEN = "seen"
    PHOTOS = "photos"


@dataclass(frozen=True, slots=True)
class Start:
    """A point of the starting list. Its code names it until it has a row."""

    code: str
    text: str


START = (
    Start(Fact.STEPS, "All steps of the section are done"),
    Start("edges", "Edges and noses are rounded, holes deburred"),
    Start("inside", "Nothing is left inside: swarf, rags, clecos, tools"),
    Start(Fact.CONFLICTS, "Conflicts of text and drawing are settled"),
    Start(Fact.MOVEMENTS, "What went in is recorded: lots and batches"),
    Start(Fact.MARKS, "Every piece is at the position that it was drilled for"),
    Start(Fact.CURES, "Curing has ended"),
    Start(Fact.LEAK, "The leak test was made, as the kit maker says"),
    Start(Fact.PHOTOS, "Photos of the inside are taken"),
    Start(Fact.SEEN, "The inspector has seen it open"),
)
CODES = tuple(one.code for one in START)
OURS = "a starting list of ours, from nobody's instructions: make it your own"
