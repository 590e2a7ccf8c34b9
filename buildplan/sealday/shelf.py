"""The stock of one sealant as a bench's seal days go by. Reads nothing."""

from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from fractions import Fraction

from buildplan.records.queries import labelled
from buildplan.records.used import in_grams
from buildplan.sealday.reading import Facts
from buildplan.sealday.wanted import NOTHING, Wanted
from buildplan.shortfall.calc import Served, Stock, Supply, draw
from buildplan.shortfall.trace import name
from inventory.common.fields import rounded
from inventory.models import Item


class Shelf:
    """The stock of one sealant as the days go by."""

    def __init__(self, facts: Facts, item: Item, ours: Iterable[int]) -> None:
        """`ours` are the steps of open seal days: what they need is planned in batches and not netted."""
        self.item, self.netted = item, facts.netted[item.pk]
        self.factor = in_grams(item.unit) or Fraction(1)
        self.supplies: dict[int, Supply] = {supply.key: supply for supply in facts.supplies.get(item.pk, ())}
        self.labels = _labels(list(self.supplies.values()))
        self._stocks = [Stock(supply, self.netted.rule.min_life_days) for supply in self.supplies.values()]
        mine = set(ours)
        self._all = {need.step: need for need in facts.needs.get(item.pk, ())}
        self._others = sorted((need for need in facts.needs.get(item.pk, ()) if need.step not in mine), reverse=True)

    def first_order(self, steps: Iterable[int]) -> tuple[int, int]:
        """The place in the plan of the first of these steps that needs the sealant still."""
        return min((self._all[step].order for step in steps if step in self._all), default=(0, 0))

    def draw_before(self, day: date, order: tuple[int, int]) -> list[Served]:
        """Let other steps take what they need before a day; on that day, those that stand before `order` in the plan."""
        due = []
        while self._others and (self._others[-1].day, self._others[-1].order) < (day, order):
            due.append(self._others.pop())
        return list(draw(due, self._stocks))

    def draw_steps(self, wanted: Wanted, day: date) -> None:
        """Let steps of a seal day that can't be planned yet take what they need all the same."""
        needs = [
            self._all[need.step_id]._replace(day=day, quantity=self.units(need.left))
            for need in wanted.needs
            if need.left and need.step_id in self._all
        ]
        draw(needs, self._stocks)

    def usable(self, steps: Iterable[int], on: date) -> dict[str, tuple[Stock, Decimal]]:
        """What the day may take of each lot that serves on it, by label: what is free, and what is held for its steps."""
        mine = set(steps)
        found = {}
        for stock in self._stocks:
            if stock.supply.blocked is None and stock.serves(on):
                held = sum((left for step, left in (stock.held or {}).items() if step in mine), NOTHING)
                if stock.free + held > 0:
                    found[self.labels[stock.supply.key]] = (stock, stock.free + held)
        return found

    def take(self, stock: Stock, taken: Decimal, steps: Iterable[int]) -> None:
        """Take grams of a lot, first what is held for these steps."""
        left = self.units(taken)
        for step in steps:
            held = min(left, (stock.held or {}).get(step, NOTHING))
            if stock.held is not None and held:
                stock.held[step] -= held
                left -= held
        stock.free = max(NOTHING, stock.free - left)

    def units(self, amount: Decimal) -> Decimal:
        """Grams in the stock unit."""
        return rounded(Fraction(amount) / self.factor)

    def grams(self, quantity: Decimal) -> Decimal:
        """A quantity of the stock unit in grams."""
        return rounded(Fraction(quantity) * self.factor)


def _labels(supplies: Sequence[Supply]) -> dict[int, str]:
    """How each lot is called; what is on its way is named with its crate."""
    coming = {supply.key: f"{supply.code or 'no lot code yet'}, {_in(supply)} {name(supply)}" for supply in supplies if not supply.on_hand}
    return labelled(supplies) | coming


def _in(supply: Supply) -> str:
    """Once it is here it waits to be put away."""
    return "on its way in" if supply.coming and supply.told is None else "in"
