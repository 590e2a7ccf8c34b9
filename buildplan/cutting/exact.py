"""The exact way to cut bars: column generation over all patterns, with highspy. An optional extra; `calc` asks for it.

HiGHS reckons in floats. Nothing of it is believed: a bound is computed anew in whole numbers from the prices it proposes, and a plan is
counted by `calc`. Pieces are wanted at least so often (a surplus is dropped later), so that prices are never negative.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import reduce
from math import gcd
from typing import Any, NamedTuple

import highspy
import numpy as np
from highspy._core import _Highs

from buildplan.cutting.calc import Found, Pattern, Task, cost_of

MOST_CELLS = 200_000_000  # of one table of the knapsack, by sizes and room: a bound on memory and time, ours
MOST_ROUNDS = 2_000  # of column generation
MOST_COLUMNS = 60_000  # that are listed for the last proof
SECONDS = 6.0  # that one integer program may take: a page waits for it
PRICE = 10**9  # prices are whole numbers of a 10^9th of a unit
CLOSE = 1e-9


class _Copies(NamedTuple):
    """So many pieces of one size, as one thing to put in or leave out."""

    at: int
    many: int
    weight: int


class Knapsack:
    """The dearest pattern of every room at once, in whole numbers."""

    def __init__(self, task: Task) -> None:
        """Raise `MemoryError` where the numbers are too fine for a table."""
        self.task = task
        step = reduce(gcd, task.sizes)
        self.weights = [size // step for size in task.sizes]
        self.rooms = [room // step for room in task.rooms]
        self.room = max(self.rooms)
        self.copies = [*self._copies()]
        if (self.room + 1) * len(self.copies) > MOST_CELLS:
            raise MemoryError

    def _copies(self) -> Iterator[_Copies]:
        """Counts split into 1, 2, 4 ... and a rest, of which every number can be made."""
        for at, (weight, count) in enumerate(zip(self.weights, self.task.counts, strict=True)):
            left, many = min(count, self.room // weight), 1
            while left:
                many = min(many, left)
                yield _Copies(at, many, many * weight)
                left, many = left - many, many * 2

    def dearest(self, prices: Sequence[int]) -> tuple[list[int], list[tuple[int, ...]]]:
        """For each stock the worth of its dearest pattern at these prices, and that pattern."""
        worth = np.zeros(self.room + 1, dtype=np.int64)
        took = np.zeros((len(self.copies), self.room + 1), dtype=bool)
        for row, (at, many, weight) in enumerate(self.copies):
            if weight <= self.room and prices[at] > 0:
                more = worth[: self.room + 1 - weight] + many * prices[at]
                np.greater(more, worth[weight:], out=took[row, weight:])
                np.maximum(worth[weight:], more, out=worth[weight:])
        return [int(worth[room]) for room in self.rooms], [self._read(took, room) for room in self.rooms]

    def _read(self, took: Any, room: int) -> tuple[int, ...]:
        pattern = [0] * len(self.weights)
        for row in range(len(self.copies) - 1, -1, -1):
            at, many, weight = self.copies[row]
            if weight <= room and took[row, room]:
                pattern[at] += many
                room -= weight
        return tuple(pattern)


class Master:
    """The linear program over the patterns known so far: each size is wanted, each stock is limited, a piece left out is dear."""

    def __init__(self, task: Task, patterns: Sequence[Pattern]) -> None:
        """Start from these patterns."""
        self.task = task
        self.columns: list[Pattern] = []
        self.known: set[Pattern] = set()
        self.highs = _quiet()
        for count in task.counts:
            self.highs.addRow(float(count), highspy.kHighsInf, 0, [], [])
        self.limited = {at: len(task.counts) + row for row, at in enumerate(_limited(task))}
        for at in self.limited:
            self.highs.addRow(-highspy.kHighsInf, float(task.limits[at] or 0), 0, [], [])
        for at in range(len(task.counts)):  # left out
            self.highs.addCol(self._dear(), 0.0, highspy.kHighsInf, 1, [at], [1.0])
        for pattern in patterns:
            self.add(pattern)

    def _dear(self) -> float:
        """What a piece left out costs: more than a bar for itself where there are as many as it takes."""
        return float(self.task.penalty if self.task.may_be_short else max(self.task.costs) * 2)

    def add(self, pattern: Pattern) -> bool:
        """Let a pattern be used; whether it wasn't known."""
        if pattern in self.known:
            return False
        self.known.add(pattern)
        self.columns.append(pattern)
        at, counts = pattern
        rows = [row for row, many in enumerate(counts) if many]
        values = [float(counts[row]) for row in rows]
        if at in self.limited:
            rows.append(self.limited[at])
            values.append(1.0)
        self.highs.addCol(float(self.task.costs[at]), 0.0, highspy.kHighsInf, len(rows), rows, values)
        return True

    def prices(self) -> list[float] | None:
        """What one more piece of each size would cost; None where the program isn't solved."""
        self.highs.run()
        if self.highs.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        return [max(0.0, price) for price in self.highs.getSolution().row_dual[: len(self.task.counts)]]

    def values(self) -> list[float]:
        """How often each pattern is used, in parts of once."""
        return list(self.highs.getSolution().col_value)[len(self.task.counts) :]

    def whole(self, target: int) -> list[tuple[Pattern, int]] | None:
        """The best plan of whole patterns, or one that reaches `target`; None where none is found in time."""
        solver = _quiet()
        solver.passModel(self.highs.getModel())
        every = np.arange(solver.getNumCol(), dtype=np.int32)
        solver.changeColsIntegrality(len(every), every, np.full(len(every), highspy.HighsVarType.kInteger))
        for name, value in (("time_limit", SECONDS), ("mip_rel_gap", 0.0), ("objective_target", target + 0.5)):
            solver.setOptionValue(name, value)
        solver.run()
        found = list(solver.getSolution().col_value)[len(self.task.counts) :]
        if not solver.getSolution().value_valid:
            return None
        self.closed = solver.getModelStatus() == highspy.HighsModelStatus.kOptimal
        return [(pattern, round(times)) for pattern, times in zip(self.columns, found, strict=True) if round(times)]

    closed = False  # whether the last `whole` was solved to its end


def _quiet() -> Any:
    """HiGHS takes one count of threads a process: one."""
    highs = _Highs()  # its subclass Highs prints its name on standard output, where commands print JSON
    highs.setOptionValue("output_flag", False)  # noqa: FBT003 - an option by its name
    highs.setOptionValue("threads", 1)
    highs.setOptionValue("random_seed", 1)
    return highs


def _limited(task: Task) -> list[int]:
    return [at for at, limit in enumerate(task.limits) if limit is not None]


def solve(task: Task, known: Sequence[tuple[Pattern, int]]) -> Found | None:
    """The best plan found, with a bound that holds whatever HiGHS says; None where the numbers are too fine or too many."""
    try:
        return _Search(task, known).run()
    except MemoryError:
        return None


class _Search:
    """Linear bound, then whole plans until one reaches it, then a proof over every pattern that could do better."""

    def __init__(self, task: Task, known: Sequence[tuple[Pattern, int]]) -> None:
        self.task = task
        self.knapsack = Knapsack(task)
        self.master = Master(task, [pattern for pattern, _ in known])
        self.best = list(known)
        self.bound = 0
        self.prices: list[int] = []

    def run(self) -> Found | None:
        """All of it."""
        if not self._price(self.master, self.task, self.knapsack, learn=True):
            return None
        if self._open():
            self._offer(self._dive())
        if self._open():
            self._offer(self.master.whole(self.bound))
        if self._open():
            self._prove()
        return Found(tuple(self.best), self.bound, exact=True)

    def _open(self) -> bool:
        return cost_of(self.task, self.best) > self.bound

    def _offer(self, plan: list[tuple[Pattern, int]] | None) -> None:
        if plan is not None and cost_of(self.task, plan) < cost_of(self.task, self.best):
            self.best = plan

    def _price(self, master: Master, task: Task, knapsack: Knapsack, *, learn: bool) -> bool:
        """Add the pattern that is worth most until none is worth more than its bar."""
        for _ in range(MOST_ROUNDS):
            prices = master.prices()
            if prices is None:
                return False
            whole = [int(price * PRICE) for price in prices]
            worth, patterns = knapsack.dearest(whole)
            if learn:
                self._learn(whole, worth)
            slack = CLOSE * max(task.costs) * PRICE + len(whole)
            floor = self._floors(master, task, slack)
            new = [master.add((at, pattern)) for at, pattern in enumerate(patterns) if worth[at] > floor[at]]
            if not any(new):
                return True
        return True

    def _floors(self, master: Master, task: Task, slack: float) -> list[float]:
        """What a pattern must be worth to be of use: its bar, and what that is worth more for being scarce."""
        duals = master.highs.getSolution().row_dual
        return [
            (task.costs[at] - (duals[master.limited[at]] if at in master.limited else 0.0)) * PRICE + slack for at in range(len(task.costs))
        ]

    def _learn(self, prices: Sequence[int], worth: Sequence[int]) -> None:
        """The bound that these prices prove, in whole numbers: no pattern of an unlimited stock may be worth more than its bar."""
        task = self.task
        over = [(worth[at], task.costs[at] * PRICE) for at, limit in enumerate(task.limits) if limit is None and worth[at]]
        top, bottom = max(over, key=lambda pair: Fraction(*pair), default=(1, 1))
        top, bottom = (top, bottom) if top > bottom else (1, 1)
        if task.may_be_short and max(prices) * bottom > task.penalty * PRICE * top:
            top, bottom = max(prices), task.penalty * PRICE
        total = sum(price * count for price, count in zip(prices, task.counts, strict=True)) * bottom
        for at in _limited(task):
            total -= max(0, worth[at] * bottom - task.costs[at] * PRICE * top) * (task.limits[at] or 0)
        least = -(-total // (PRICE * top))
        proven = self._stepped(least)
        if proven > self.bound or not self.prices:
            self.bound, self.prices = max(self.bound, proven), list(prices)

    def _stepped(self, least: int) -> int:
        """The next cost that can be: all bars, and a piece left out, are multiples of one length."""
        return -(-least // self.task.step) * self.task.step

    def _dive(self) -> list[tuple[Pattern, int]]:
        """Fix what is used whole, else the pattern nearest to it, and price what is left: each round wants less."""
        left, limits, found = list(self.task.counts), list(self.task.limits), []
        columns, values = self.master.columns, self.master.values()
        while any(left):
            fixed = [(pattern, int(value + CLOSE * 1000)) for pattern, value in zip(columns, values, strict=True)]
            fixed = [(pattern, times) for pattern, times in fixed if times] or self._nearest(columns, values)
            progress = False
            for (at, pattern), times in fixed:
                took = self._fit(pattern, left, limits[at], times)
                if took:
                    progress = True
                    found.append(((at, pattern), took))
                    left = [max(0, count - many * took) for count, many in zip(left, pattern, strict=True)]
                    limits[at] = None if limits[at] is None else (limits[at] or 0) - took
            if not progress or not any(left):
                break
            solved = self._rest(left, limits)
            if solved is None:
                break
            columns, values = solved
        return found

    @staticmethod
    def _fit(pattern: Sequence[int], left: Sequence[int], limit: int | None, times: int) -> int:
        useful = max((-(-count // many) for count, many in zip(left, pattern, strict=True) if many), default=0)
        return min(times, useful) if limit is None else min(times, useful, limit)

    @staticmethod
    def _nearest(columns: Sequence[Pattern], values: Sequence[float]) -> list[tuple[Pattern, int]]:
        at = max(range(len(values)), key=values.__getitem__, default=None)
        return [] if at is None or values[at] <= CLOSE else [(columns[at], 1)]

    def _rest(self, left: Sequence[int], limits: Sequence[int | None]) -> tuple[list[Pattern], list[float]] | None:
        kept = [at for at, count in enumerate(left) if count]
        task = self.task._replace(
            sizes=tuple(self.task.sizes[at] for at in kept), counts=tuple(left[at] for at in kept), limits=tuple(limits)
        )
        narrow = {(at, tuple(min(pattern[one], left[one]) for one in kept)) for at, pattern in self.master.columns}
        master = Master(task, sorted(one for one in narrow if any(one[1])))
        if not self._price(master, task, Knapsack(task), learn=False):
            return None
        wide = [(at, self._widened(pattern, kept)) for at, pattern in master.columns]
        for pattern in wide:
            self.master.add(pattern)  # what helped here may help the whole program
        return wide, master.values()

    def _widened(self, pattern: Sequence[int], kept: Sequence[int]) -> tuple[int, ...]:
        found = [0] * len(self.task.sizes)
        for at, many in zip(kept, pattern, strict=True):
            found[at] = many
        return tuple(found)

    def _prove(self) -> None:
        """List every pattern that a better plan could use, and solve over these alone: what is best then is best."""
        target = cost_of(self.task, self.best) - self.task.step
        columns = _Listing(self.task, self.knapsack, self.prices).all(target)
        if columns is None:
            return
        master = Master(self.task, columns)
        plan = master.whole(self.bound)
        self._offer(plan)
        if master.closed:
            self.bound = max(self.bound, min(cost_of(self.task, self.best), target + self.task.step))


class _Listing:
    """Every pattern whose bar isn't dearer than its pieces by more than a better plan could afford."""

    def __init__(self, task: Task, knapsack: Knapsack, prices: Sequence[int]) -> None:
        self.task, self.knapsack, self.prices = task, knapsack, prices
        self.found: list[Pattern] = []

    def all(self, target: int) -> list[Pattern] | None:
        """The patterns of a plan that costs at most `target`; None where they are too many to list."""
        tables = self._tables()
        scarce = [
            max(0, int(tables[0][self.knapsack.rooms[at]]) - self.task.costs[at] * PRICE) if self.task.limits[at] is not None else 0
            for at in range(len(self.task.costs))
        ]
        dual = sum(price * count for price, count in zip(self.prices, self.task.counts, strict=True))
        dual -= sum(more * (self.task.limits[at] or 0) for at, more in enumerate(scarce))
        afford = target * PRICE - dual
        for at, room in enumerate(self.knapsack.rooms):
            least = self.task.costs[at] * PRICE + scarce[at] - afford
            if not self._list(at, 0, room, least, [], tables):
                return None
        return self.found

    def _tables(self) -> list[Any]:
        """For each size on, the worth of the dearest pattern of those from there, by room."""
        room, task = self.knapsack.room, self.task
        if (room + 1) * len(task.sizes) * 8 > MOST_CELLS:
            raise MemoryError
        tables = [np.zeros(room + 1, dtype=np.int64)]
        for at in range(len(task.sizes) - 1, -1, -1):
            worth = tables[0].copy()
            for copies in self.knapsack.copies:
                if copies.at == at and copies.weight <= room:
                    more = worth[: room + 1 - copies.weight] + copies.many * self.prices[at]
                    worth[copies.weight :] = np.maximum(worth[copies.weight :], more)
            tables.insert(0, worth)
        return tables

    def _list(self, stock: int, at: int, room: int, least: int, taken: list[int], tables: Sequence[Any]) -> bool:  # noqa: PLR0913 - a search's state
        """Whether all patterns from here on were listed."""
        if int(tables[at][room]) < least:
            return True
        if at == len(self.task.sizes):
            if len(self.found) >= MOST_COLUMNS:
                return False
            self.found.append((stock, tuple(taken)))
            return True
        weight, price = self.knapsack.weights[at], self.prices[at]
        for many in range(min(self.task.counts[at], room // weight), -1, -1):
            taken.append(many)
            listed = self._list(stock, at + 1, room - many * weight, least - many * price, taken, tables)
            taken.pop()
            if not listed:
                return False
        return True
