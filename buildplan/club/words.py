"""A change in words, and why it does. Pure."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from buildplan.club.calc import NOTHING
from buildplan.club.changes import Borrow, Change, Move, Scene, Widen
from inventory.common.fields import plain
from inventory.common.reasons import ARITHMETIC, PRACTICE, Reason

NEAREST = "the nearest day on which all fits, a later one before an earlier one as near: a starting value of ours"
PLAN = "what comes after what, as the plan says"
STAGES = {"fit_up": "first fit-up of long straight skins", "match_drill": "match drilling"}
SPACED = {1: "every hole", 2: "every other hole", 3: "every third hole"}


@dataclass(frozen=True, slots=True)
class Words:
    """What people call steps, items (with their units) and benches, and who holds those."""

    day: date
    label: Callable[[int], str]
    items: Mapping[int, tuple[str, str]]
    benches: Mapping[int, str]
    holders: Mapping[int, tuple[str, ...]]

    def text(self, change: Change) -> str:
        """What to do, as a sentence without its full stop."""
        match change:
            case Move(step=step, to=to, along=along):
                too = f", and with it {', '.join(map(self.label, along))}" if along else ""
                return f"{self.label(step)} goes from {self.day} to {to}{too}"
            case Widen(row=_, step=step, was=was, every=every, freed=freed, item=item):
                code, unit = self.items[item]
                wider = f"{self.label(step)} takes its clecos wider, {_spaced(every)} instead of {_spaced(was)}"
                return f"{wider}: {plain(freed)} {unit} of {code} are free"
            case Borrow(giver=giver, taken=taken):
                whom = ", ".join(dict.fromkeys(self.benches[one.taker] for one in taken))
                return f"{whom} borrows {_and(self._much(one.item, one.quantity) for one in taken)} from {self.benches[giver]}"

    def _much(self, item: int, quantity: Decimal) -> str:
        code, unit = self.items[item]
        return f"{plain(quantity)} {unit} of {code}"

    def why(self, change: Change, scene: Scene) -> Iterator[Reason]:
        """What was reckoned, and by which rule."""
        match change:
            case Move():
                yield from self._why_move(change, scene)
            case Widen(stage=stage):
                yield Reason(f"{STAGES[stage]}: {self.text(change)}", f"{PRACTICE}, or this workshop's own setting")
                yield Reason("the step has no sealed seam, and its clecos come off the same day: nothing cures under them", "the plan")
            case Borrow(giver=giver, taken=taken):
                for one in taken:
                    yield self._why_lent(giver, one.item, one.quantity, scene)

    def _why_move(self, change: Move, scene: Scene) -> Iterator[Reason]:
        yield Reason(
            f"{change.days} {'day' if change.days == 1 else 'days'} away; on {change.to} no step lacks more than it does now", NEAREST
        )
        steps = [change.step, *change.along]
        holds = [hold for hold in scene.holds if hold.step in steps and hold.on(self.day)]
        if holds:
            held = _and(dict.fromkeys(self._much(hold.item, hold.quantity) for hold in holds))
            yield Reason(f"on {self.day} it held {held}", "call-outs and rows of the plan")
        befores = [self.label(one) for one in scene.days.order.afters.get(change.step, ()) if one in scene.days.plans]
        waiters = [self.label(one) for one in scene.days.order.waiters.get(change.step, ()) if one in scene.days.plans]
        after = f"what it comes after{_named(befores)} is planned no later, what waits for it{_named(waiters)} no earlier"
        yield Reason(after, PLAN)

    def _why_lent(self, giver: int, item: int, quantity: Decimal, scene: Scene) -> Reason:
        own = scene.supply.stand(item, self.day).own.get(giver, NOTHING)
        needs = sum((hold.quantity for hold in scene.holds if hold.item == item and hold.bench == giver and hold.on(self.day)), NOTHING)
        names = self.holders.get(giver, ())
        ask = f"; ask {' or '.join(names)}" if names else ""
        code, unit = self.items[item]
        figures = f"{plain(own)} of its own - {plain(needs)} that its steps hold = {plain(own - needs)} {unit} free"
        return Reason(f"{self.benches[giver]} on {self.day}: {code}, {figures}, {plain(quantity)} would do{ask}", ARITHMETIC)


def _spaced(every: int) -> str:
    return SPACED.get(every, f"one hole in {every}")


def _named(labels: list[str]) -> str:
    return f" ({', '.join(labels)})" if labels else ""


def _and(parts: Iterator[str] | dict[str, None]) -> str:
    found = list(parts)
    return found[0] if len(found) == 1 else f"{', '.join(found[:-1])} and {found[-1]}" if found else "nothing"
