"""The order of steps, and how others name one. Pure: no Django, no clock."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta

STEP_REF = "step:"
FARTHEST = timedelta(days=3660)  # ours: nobody plans a hangar's Saturday ten years ahead


def too_far(day: date, today: date) -> str:
    """Why a day is too far off to plan for, as a sentence; nothing where it isn't."""
    return f"{day} is more than ten years off: name a day up to {today + FARTHEST}" if day - today > FARTHEST else ""


def step_ref(step: int) -> str:
    """How inventory's opaque references name a step."""
    return f"{STEP_REF}{step}"


def loops(afters: Mapping[str, Sequence[str]]) -> Iterator[tuple[str, ...]]:
    """Chains of steps that lead back to where they start, which is named at both ends: `("A", "B", "A")`.

    `afters` names for each step those it waits for. Once one link of each loop is cut, no loop is left.
    """
    settled: set[str] = set()
    for start in afters:
        if start not in settled:
            yield from _loops_from(start, afters, settled)


def _loops_from(start: str, afters: Mapping[str, Sequence[str]], settled: set[str]) -> Iterator[tuple[str, ...]]:
    """Walk depth first, without recursion: a plan may be one chain of thousands of steps."""
    path = {start: iter(afters[start])}
    while path:
        step, waits_for = next(reversed(path.items()))
        after = next(waits_for, None)
        if after is None:
            settled.add(step)
            del path[step]
        elif after in path:
            yield _closed(list(path), after)
        elif after not in settled:
            path[after] = iter(afters.get(after, ()))


def _closed(path: list[str], after: str) -> tuple[str, ...]:
    return (*path[path.index(after) :], after)
