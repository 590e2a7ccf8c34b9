"""A step's place in the plan: what it waits for and what waits for it, in layers. Pure: no Django, no clock.

A step lies one layer farther than the farthest that leads to it, so that a line between two always goes the same way. Chains end at steps
that are done. Plans have no rings, since loading refuses them; one all the same is cut at its first step in plan order.
"""

from collections import deque
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

BACK, AHEAD, SLOTS = 3, 2, 3  # layers shown before and behind, and boxes side by side on a phone: starting values of ours

Links = Mapping[int, Sequence[int]]
Order = Callable[[int], tuple[bool, tuple[int, int]]]


@dataclass(frozen=True, slots=True)
class Layer:
    """Steps side by side, and how many more lie there. `far` is how many layers from the step: below 0 before it."""

    far: int
    steps: tuple[int, ...]
    more: int = 0


@dataclass(frozen=True, slots=True)
class Place:
    """The layers from the farthest before the step to the farthest behind it; how many lie farther still; and which leads to which."""

    step: int
    layers: tuple[Layer, ...]
    earlier: int
    later: int
    lines: tuple[tuple[int, int], ...]

    @property
    def shown(self) -> tuple[int, ...]:
        """All steps that are shown, in the order of the layers."""
        return tuple(step for layer in self.layers for step in layer.steps)


def place(step: int, after: Links, done: Collection[int], order: Mapping[int, tuple[int, int]]) -> Place:
    """Where a step stands. `after` names for each step those it waits for; `order` is plan order, those not done come first."""
    behind = _turned(after)

    def first(one: int) -> tuple[bool, tuple[int, int]]:
        return one in done, order[one]

    back, earlier = _cut(_layers(step, after, done, first), BACK)
    ahead, later = _cut(_layers(step, behind, done, first), AHEAD)
    layers = (
        *(Layer(-far, *_slots(found, first)) for far, found in reversed(back)),
        Layer(0, (step,)),
        *(Layer(far, *_slots(found, first)) for far, found in ahead),
    )
    return Place(step, layers, earlier, later, tuple(_lines(layers, after)))


def _turned(after: Links) -> Links:
    found: dict[int, list[int]] = {}
    for step, waits_for in after.items():
        for one in waits_for:
            found.setdefault(one, []).append(step)
    return found


def _layers(step: int, links: Links, done: Collection[int], first: Order) -> list[list[int]]:
    """All that a step leads to by `links`, by how far it lies at most; steps that are done lead no farther."""
    leads = _reached(step, links, done)
    waiting = dict.fromkeys(leads, 0)
    for found in leads.values():
        for one in found:
            waiting[one] += 1
    far = {step: 0}
    free, settled = deque([step]), set[int]()
    while len(settled) < len(leads):
        one = free.popleft() if free else min(far.keys() - settled, key=first)  # the second only in a ring
        if one in settled:
            continue
        settled.add(one)
        for other in leads[one]:
            far[other] = max(far.get(other, 0), far[one] + 1) if other not in settled else far[other]
            waiting[other] -= 1
            if not waiting[other]:
                free.append(other)
    layers: list[list[int]] = [[] for _ in range(max(far.values()))]
    for one, at in far.items():
        if one != step:
            layers[at - 1].append(one)
    return layers


def _reached(step: int, links: Links, done: Collection[int]) -> dict[int, list[int]]:
    """Where each step leads of all that can be reached; nothing leads back to where one starts."""
    leads: dict[int, list[int]] = {}
    left = [step]
    while left:
        one = left.pop()
        if one not in leads:
            ends = one in done and one != step
            leads[one] = [] if ends else [other for other in links.get(one, ()) if other != step]
            left.extend(leads[one])
    return leads


def _cut(layers: Sequence[Sequence[int]], most: int) -> tuple[list[tuple[int, Sequence[int]]], int]:
    """The nearest layers, each with how far it lies, and how many steps lie farther."""
    return list(enumerate(layers[:most], start=1)), sum(map(len, layers[most:]))


def _slots(found: Sequence[int], first: Order) -> tuple[tuple[int, ...], int]:
    """As many as have room; where not all have, the last slot says how many more."""
    ordered = sorted(found, key=first)
    shown = ordered if len(ordered) <= SLOTS else ordered[: SLOTS - 1]
    return tuple(shown), len(ordered) - len(shown)


def _lines(layers: Sequence[Layer], after: Links) -> Iterator[tuple[int, int]]:
    """Which of the shown steps leads straight to which; what a chain of shown ones says already is left out."""
    far = {step: layer.far for layer in layers for step in layer.steps}
    leads: dict[int, list[int]] = {step: [] for step in far}
    for step, at in far.items():
        for one in after.get(step, ()):
            if one in far and far[one] < at and far[one] * at >= 0:  # what leads past the step does so through it, too
                leads[one].append(step)
    for one, found in leads.items():
        for step in sorted(found, key=lambda each: far[each]):
            if not any(step in _onward(other, leads) for other in found if other != step):
                yield one, step


def _onward(step: int, leads: Links) -> set[int]:
    found: set[int] = set()
    left = [*leads[step]]
    while left:
        one = left.pop()
        if one not in found:
            found.add(one)
            left.extend(leads[one])
    return found
