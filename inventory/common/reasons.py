"""The trace behind a figure: what was reckoned, and where the rule comes from. Pure."""

from dataclasses import dataclass

PRACTICE = "common practice of the trade"
MEMORY = "from memory, not verified"
ARITHMETIC = "computed"


@dataclass(frozen=True, slots=True)
class Reason:
    """One line of a trace. `text` says what holds here; `source` is what a person can look up, or says that nobody published it."""

    text: str
    source: str
