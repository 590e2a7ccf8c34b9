"""Cutting bars into pieces: which pieces come out of which bar. Pure: no Django, no clock, no files.

A bar of length L gives pieces w when the sum of (w + kerf) is at most L + kerf: the last piece needs no cut behind it. All lengths are
of one unit, whichever; int, Fraction or Decimal, never float. What is cut best is the least length of stock.

`exact` finds a plan with a proof where highspy is installed; without it, first fit decreasing and its improvement say how far they may
be off. Rectangles from sheets are in `sheets`.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import reduce
from importlib.util import find_spec
from math import ceil, floor, gcd, lcm
from typing import NamedTuple

from inventory.common.exact import Exact, decimal_text, exact, not_negative, positive, whole
from inventory.common.reasons import ARITHMETIC, Reason

MOST_PIECES = 100_000
MOST_LENGTHS = 1_000
MOST_TRIES = 20_000  # branches looked at to fill one bar well: a bound on time, ours
MOST_PARTS = 12  # of a bar, for the bound: more than that is as good as material
MOST_REPACKED = 6  # bars that the improvement takes apart at once
RULE = "a bar L gives pieces w when the sum of (w + kerf) is at most L + kerf"


class Wanted(NamedTuple):
    """Pieces of one length that are wanted."""

    length: Fraction
    count: int  # type: ignore[assignment] # a tuple has a method of that name, which none of ours calls
    label: str = ""


class Stock(NamedTuple):
    """Bars of one length. `count` None is as many as it takes."""

    length: Fraction
    count: int | None = None  # type: ignore[assignment] # a tuple has a method of that name, which none of ours calls
    label: str = ""


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar and the pieces cut from it, the longest first.

    `length` is the pieces, `offcut` and `waste` (kerfs and end trim) together.
    """

    stock: Stock
    pieces: tuple[Wanted, ...]  # each of count 1
    offcut: Fraction
    waste: Fraction

    @property
    def length(self) -> Fraction:
        """Of the whole bar."""
        return self.stock.length


@dataclass(frozen=True, slots=True)
class Plan:
    """Which bar gives what. `short` are wanted pieces that the stock can't give; `reasons` is the trace.

    `bound` is the least number of bars, and `bound_length` the least length of stock, that any plan could do with. `proven` is whether
    this plan is as good as that.
    """

    bars: tuple[Bar, ...]
    short: tuple[Wanted, ...]
    bound: int
    bound_length: Fraction
    proven: bool
    exact: bool
    reasons: tuple[Reason, ...]

    @property
    def count(self) -> int:
        """How many bars are cut."""
        return len(self.bars)

    @property
    def used_length(self) -> Fraction:
        """The length of the bars that are cut."""
        return sum((bar.length for bar in self.bars), Fraction(0))

    @property
    def off_by(self) -> int:
        """How many bars fewer the best plan may do with, at most."""
        return max(0, self.count - self.bound)


GivenPieces = Iterable[Wanted | tuple[Exact, int] | tuple[Exact, int, str]] | Mapping[Exact, int]
GivenStock = Exact | Iterable[Exact | Stock | tuple[Exact, int | None] | tuple[Exact, int | None, str]]


def cut(
    pieces: GivenPieces,
    stock: GivenStock,
    kerf: Exact = 0,
    *,
    end_trim: Exact = 0,
    prove: bool = True,
) -> Plan:
    """The plan that takes the least stock for `pieces`, as near as can be told; what the stock can't give is its `short`.

    `pieces` are (length, count) or (length, count, label); `stock` is (length, count or None for as many as it takes), or a bare length
    of which there are as many as it takes. `end_trim` is what each bar loses before the first piece, its saw cut included.
    `prove` False takes the quick way alone. `ValueError` names what makes no sense: nothing, a piece longer than any bar, a kerf not
    less than a piece, what is no exact number.
    """
    task, bars, wanted = _task(pieces, stock, kerf, end_trim)
    _refuse_too_long(task, bars, wanted, exact("end_trim", end_trim))
    return _plan(task, bars, wanted, exact("kerf", kerf), exact("end_trim", end_trim), prove=prove)


def uncut(pieces: GivenPieces, stock: Sequence[Stock], kerf: Exact, *, end_trim: Exact = 0, prove: bool = True) -> tuple[Wanted, ...]:
    """The pieces that this stock can't give, too long ones among them: as few as can be told."""
    wanted = _pieces(pieces)
    room = [bar.length - exact("end_trim", end_trim) for bar in stock if bar.count != 0]
    long = tuple(one for one in wanted if one.length > max(room, default=Fraction(0)))
    rest = [one for one in wanted if one not in long]
    if not rest:
        return long
    return long + cut(rest, [bar for bar in stock if bar.count != 0], kerf, end_trim=end_trim, prove=prove).short


# The task in whole numbers

Pattern = tuple[int, tuple[int, ...]]  # which stock, and how many pieces of each size
Filler = Callable[[Sequence[int], Sequence[int], int], tuple[int, ...]]  # a bar filled: sizes, how many are left of each, its room


class Task(NamedTuple):
    """The same in whole numbers of the finest unit: sizes with their kerf, the largest first; what bars hold of them and cost."""

    sizes: tuple[int, ...]
    counts: tuple[int, ...]
    rooms: tuple[int, ...]
    costs: tuple[int, ...]
    limits: tuple[int | None, ...]
    unit: int  # how many of them make one of the lengths as given

    @property
    def step(self) -> int:
        """What every cost is a multiple of."""
        return reduce(gcd, self.costs)

    @property
    def may_be_short(self) -> bool:
        """Whether the stock could run out of what the largest piece needs."""
        return not any(limit is None and room >= self.sizes[0] for room, limit in zip(self.rooms, self.limits, strict=True))

    @property
    def penalty(self) -> int:
        """What a piece costs that isn't cut: more than any plan's stock, so that none is left out to save some."""
        pieces = sum(self.counts)
        return self.step + sum(
            cost * min(pieces, pieces if limit is None else limit) for cost, limit in zip(self.costs, self.limits, strict=True)
        )


class Found(NamedTuple):
    """A plan in whole numbers: patterns with how often, and a proven lower bound of its cost."""

    patterns: tuple[tuple[Pattern, int], ...]
    bound: int
    exact: bool


def cost_of(task: Task, patterns: Iterable[tuple[Pattern, int]]) -> int:
    """Length of stock, and the penalty of each piece that is not cut."""
    used, made = 0, [0] * len(task.sizes)
    for (at, pattern), times in patterns:
        used += task.costs[at] * times
        made = [one + more * times for one, more in zip(made, pattern, strict=True)]
    return used + task.penalty * sum(max(0, count - one) for count, one in zip(task.counts, made, strict=True))


def _task(pieces: GivenPieces, stock: GivenStock, kerf: Exact, end_trim: Exact) -> tuple[Task, tuple[Stock, ...], tuple[Wanted, ...]]:
    wanted, bars = _pieces(pieces), _bars(stock)
    gap, trim = not_negative("kerf", kerf), not_negative("end_trim", end_trim)
    _refuse_wide_kerf(gap, wanted)
    sizes: dict[Fraction, int] = {}
    for one in wanted:
        sizes[one.length] = sizes.get(one.length, 0) + one.count
    if sum(sizes.values()) > MOST_PIECES or len(sizes) > MOST_LENGTHS:
        raise ValueError(f"pieces: at most {MOST_PIECES} of {MOST_LENGTHS} lengths are planned at once")
    unit = lcm(gap.denominator, trim.denominator, *(size.denominator for size in sizes), *(bar.length.denominator for bar in bars))
    ordered = sorted(sizes, reverse=True)
    return (
        Task(
            sizes=tuple(int((size + gap) * unit) for size in ordered),
            counts=tuple(sizes[size] for size in ordered),
            rooms=tuple(max(0, int((bar.length - trim + gap) * unit)) for bar in bars),
            costs=tuple(int(bar.length * unit) for bar in bars),
            limits=tuple(bar.count for bar in bars),
            unit=unit,
        ),
        bars,
        wanted,
    )


def _pieces(given: GivenPieces) -> tuple[Wanted, ...]:
    rows = given.items() if isinstance(given, Mapping) else given
    found = tuple(Wanted(positive("pieces", row[0]), whole("pieces", row[1], least=1), *map(str, row[2:])) for row in rows)
    if not found:
        raise ValueError("pieces: there are none: name at least one length and how many of it")
    return found


def _bars(given: GivenStock) -> tuple[Stock, ...]:
    rows = list(given) if isinstance(given, Iterable) else [given]
    found = []
    for row in rows:
        length, count, *label = row if isinstance(row, tuple) else (row, None)
        if count is None or whole("stock", count, least=0):
            found.append(Stock(positive("stock", length), count, *map(str, label)))
    if not found:
        raise ValueError("stock: there is none: name at least one length")
    return tuple(found)


def _refuse_wide_kerf(kerf: Fraction, wanted: Iterable[Wanted]) -> None:
    least = min(one.length for one in wanted)
    if kerf >= least:
        raise ValueError(f"kerf: {_text(kerf)} is not less than the piece of {_text(least)}: check both, and their unit")


def _refuse_too_long(task: Task, bars: Sequence[Stock], wanted: Iterable[Wanted], trim: Fraction) -> None:
    if task.sizes[0] <= max(task.rooms):
        return
    longest = max(wanted, key=lambda one: one.length)
    best = max(bar.length for bar in bars)
    ends = f", {_text(best - trim)} of it without the end trim" if trim else ""
    raise ValueError(f"pieces: {_named(longest)} is longer than any stock: the longest is {_text(best)}{ends}")


def _named(piece: Wanted) -> str:
    return f"{piece.label}, {_text(piece.length)}," if piece.label else _text(piece.length)


def _text(value: Fraction) -> str:
    return decimal_text(value)


# From whole numbers back to bars


def _plan(task: Task, bars: Sequence[Stock], wanted: Sequence[Wanted], kerf: Fraction, trim: Fraction, *, prove: bool) -> Plan:  # noqa: PLR0913 - one call
    found, absent = _solve(task, prove=prove)
    laid, short = _lay(task, bars, wanted, found, kerf, trim)
    penalty = task.penalty * sum(one.count for one in short)
    bound_length = Fraction(max(0, found.bound - penalty), task.unit)
    used = sum((bar.length for bar in laid), Fraction(0))
    plan = Plan(
        bars=laid,
        short=short,
        bound=ceil(bound_length / max(bar.length for bar in bars)),
        bound_length=bound_length,
        proven=cost_of(task, found.patterns) <= found.bound,
        exact=found.exact,
        reasons=(),
    )
    if plan.proven and len({bar.length for bar in bars}) == 1:
        plan = replace(plan, bound=plan.count)
    return replace(plan, reasons=_reasons(plan, used, kerf, trim, absent=absent))


def _solve(task: Task, *, prove: bool) -> tuple[Found, bool]:
    """The best that is known, and whether the exact way was asked for and isn't installed."""
    quick = Found(heuristic(task), lower_bound(task), exact=False)
    if not prove or cost_of(task, quick.patterns) <= quick.bound:
        return quick, False
    if find_spec("highspy") is None:
        return quick, True
    from buildplan.cutting.exact import solve  # noqa: PLC0415 - highspy is an optional extra

    better = solve(task, quick.patterns)
    if better is None:
        return quick, False
    patterns = min(better.patterns, quick.patterns, key=lambda patterns: cost_of(task, patterns))
    return Found(patterns, max(better.bound, quick.bound), exact=True), False


def _lay(  # noqa: PLR0913 - the task, in whole numbers and as given
    task: Task, bars: Sequence[Stock], wanted: Sequence[Wanted], found: Found, kerf: Fraction, trim: Fraction
) -> tuple[tuple[Bar, ...], tuple[Wanted, ...]]:
    """Bars with the pieces by name; each is checked by plain arithmetic, whoever found it."""
    queues = _queues(task, wanted, kerf)
    laid: list[Bar] = []
    for (at, pattern), times in found.patterns:
        for _ in range(times):
            pieces = [queue.pop() for queue, many in zip(queues, pattern, strict=True) for _ in range(min(many, len(queue)))]
            if pieces:
                laid.append(_bar(bars[at], pieces, kerf, trim))
    _refuse_overrun(bars, laid)
    laid.sort(key=lambda bar: ([-piece.length for piece in bar.pieces], bar.length))
    left: dict[tuple[Fraction, str], int] = {}
    for queue in queues:
        for piece in reversed(queue):
            left[piece.length, piece.label] = left.get((piece.length, piece.label), 0) + 1
    return tuple(laid), tuple(Wanted(length, count, label) for (length, label), count in left.items())


def _queues(task: Task, wanted: Sequence[Wanted], kerf: Fraction) -> list[list[Wanted]]:
    """The single pieces of each size, those named first at the end of their list."""
    queues: list[list[Wanted]] = [[] for _ in task.sizes]
    where = {size: at for at, size in enumerate(task.sizes)}
    for one in reversed(wanted):
        queues[where[int((one.length + kerf) * task.unit)]] += [one._replace(count=1)] * one.count
    return queues


def _bar(stock: Stock, pieces: Sequence[Wanted], kerf: Fraction, trim: Fraction) -> Bar:
    length = sum((piece.length for piece in pieces), Fraction(0))
    rest = stock.length - trim - length - kerf * (len(pieces) - 1)
    if rest < 0:
        raise RuntimeError("a plan holds more than its bar: this is a fault of the program")
    offcut = max(Fraction(0), rest - kerf)
    return Bar(stock, tuple(pieces), offcut, stock.length - length - offcut)


def _refuse_overrun(bars: Sequence[Stock], laid: Sequence[Bar]) -> None:
    for bar in set(bars):
        limits = [one.count for one in bars if one == bar]
        most = None if None in limits else sum(limit or 0 for limit in limits)
        if most is not None and sum(one.stock == bar for one in laid) > most:
            raise RuntimeError("a plan takes more bars than there are: this is a fault of the program")


def _reasons(plan: Plan, used: Fraction, kerf: Fraction, trim: Fraction, *, absent: bool) -> tuple[Reason, ...]:
    rule = f"{RULE}; kerf {_text(kerf)}" + (f", end trim {_text(trim)} a bar" if trim else "")
    offcuts = sum((bar.offcut for bar in plan.bars), Fraction(0))
    waste = sum((bar.waste for bar in plan.bars), Fraction(0))
    reasons = [
        Reason(rule, ARITHMETIC),
        Reason(f"{_count(plan.count)} of {_text(used)} in all: offcuts {_text(offcuts)}, saw cuts and trim {_text(waste)}", ARITHMETIC),
    ]
    if plan.short:
        pieces = ", ".join(f"{one.count} of {one.label or _text(one.length)}" for one in plan.short)
        reasons.append(Reason(f"the stock doesn't give {pieces}", ARITHMETIC))
    return (*reasons, _how_good(plan), *([_absent()] if absent else []))


def _how_good(plan: Plan) -> Reason:
    how = "linear bound over all patterns (highspy), checked in whole numbers" if plan.exact else "first fit decreasing, improved"
    if plan.proven:
        return Reason(f"no plan takes less: at least {_text(plan.bound_length)} of stock is needed", how)
    least = f"at least {_text(plan.bound_length)} of stock, {_count(plan.bound)}, is needed"
    return Reason(f"{least}: a better plan may save up to {_count(plan.off_by)}", how)


def _absent() -> Reason:
    return Reason("the exact way isn't installed (highspy, the extra `exact`): this is the quick one", "how this site is set up")


def _count(bars: int) -> str:
    return "1 bar" if bars == 1 else f"{bars} bars"


# The quick way


def heuristic(task: Task) -> tuple[tuple[Pattern, int], ...]:
    """First fit decreasing, bars filled as well as a short search can, and the emptiest bars packed anew: the best of these."""
    tried = [_fill(task, filler) for filler in (_greedy, _best, _best_with_largest)]
    best = min(tried, key=lambda found: cost_of(task, found))
    return tuple(_repack(task, best))


def first_fit(task: Task) -> tuple[tuple[Pattern, int], ...]:
    """First fit decreasing alone."""
    return tuple(_fill(task, _greedy))


def _fill(task: Task, filler: Filler) -> list[tuple[Pattern, int]]:
    """Fill bar after bar until nothing is left or nothing fits; a pattern is used as often as counts and stock allow."""
    left, stock = list(task.counts), [limit if limit is not None else sum(task.counts) for limit in task.limits]
    found: list[tuple[Pattern, int]] = []
    while any(left):
        offers = [(at, filler(task.sizes, left, task.rooms[at])) for at, there in enumerate(stock) if there]
        offers = [(at, pattern) for at, pattern in offers if any(pattern)]
        if not offers:
            break
        at, pattern = max(offers, key=lambda offer: _worth(task, offer))
        times = min(stock[at], *(count // many for count, many in zip(left, pattern, strict=True) if many))
        left = [count - many * times for count, many in zip(left, pattern, strict=True)]
        stock[at] -= times
        found.append(((at, pattern), times))
    return found


def _worth(task: Task, offer: Pattern) -> tuple[Fraction, int]:
    at, pattern = offer
    filled = sum(size * many for size, many in zip(task.sizes, pattern, strict=True))
    return Fraction(filled, task.costs[at]), -at


def _greedy(sizes: Sequence[int], left: Sequence[int], room: int) -> tuple[int, ...]:
    """The largest that fits, again and again: bar by bar this is first fit decreasing."""
    pattern = []
    for size, count in zip(sizes, left, strict=True):
        many = min(count, room // size)
        room -= many * size
        pattern.append(many)
    return tuple(pattern)


def _best(sizes: Sequence[int], left: Sequence[int], room: int) -> tuple[int, ...]:
    """The fullest bar that a search of `MOST_TRIES` branches finds."""
    return _Filling(sizes, left).best(room)


def _best_with_largest(sizes: Sequence[int], left: Sequence[int], room: int) -> tuple[int, ...]:
    """The fullest bar with the largest piece in it that fits: what is hard to place goes first."""
    at = next((at for at, (size, count) in enumerate(zip(sizes, left, strict=True)) if count and size <= room), None)
    if at is None:
        return (0,) * len(sizes)
    rest = list(left)
    rest[at] -= 1
    pattern = list(_best(sizes, rest, room - sizes[at]))
    pattern[at] += 1
    return tuple(pattern)


class _Filling:
    """A search for the fullest bar: larger pieces first, ends at a full one or when its branches are used up."""

    def __init__(self, sizes: Sequence[int], left: Sequence[int]) -> None:
        self.sizes, self.left = sizes, left
        self.tail = [0] * (len(sizes) + 1)  # what all pieces from here on would fill
        for at in range(len(sizes) - 1, -1, -1):
            self.tail[at] = self.tail[at + 1] + sizes[at] * left[at]
        self.tries = MOST_TRIES
        self.most = -1
        self.kept: tuple[int, ...] = ()

    def best(self, room: int) -> tuple[int, ...]:
        """The pattern."""
        self._look(0, room, room, [])
        return self.kept + (0,) * (len(self.sizes) - len(self.kept))

    def _look(self, at: int, room: int, whole_room: int, taken: list[int]) -> bool:
        """Whether the search is over."""
        self.tries -= 1
        if whole_room - room > self.most:
            self.most, self.kept = whole_room - room, tuple(taken)
        if not room or not self.tries:
            return True
        if at == len(self.sizes) or whole_room - room + min(room, self.tail[at]) <= self.most:
            return False
        for many in range(min(self.left[at], room // self.sizes[at]), -1, -1):
            taken.append(many)
            over = self._look(at + 1, room - many * self.sizes[at], whole_room, taken)
            taken.pop()
            if over:
                return True
        return False


def _repack(task: Task, found: Sequence[tuple[Pattern, int]]) -> list[tuple[Pattern, int]]:
    """Take the emptiest bars apart and fill them anew, and put each bar's pieces into the shortest that holds them."""
    single = [pattern for pattern, times in found for _ in range(times)]
    if len(single) <= MOST_PIECES // 10:
        for many in range(2, MOST_REPACKED + 1):
            single = _anew(task, single, many)
    return _counted(_shorter(task, single))


def _anew(task: Task, single: Sequence[Pattern], many: int) -> list[Pattern]:
    ordered = sorted(single, key=lambda pattern: (_worth(task, pattern), pattern))
    taken, kept = ordered[:many], ordered[many:]
    counts = tuple(map(sum, zip(*(pattern for _, pattern in taken), strict=True))) or (0,) * len(task.sizes)
    limits = tuple(None if limit is None else limit - sum(at == stock for stock, _ in kept) for at, limit in enumerate(task.limits))
    part = task._replace(counts=counts, limits=limits)
    tries = [[pattern for pattern, times in _fill(part, filler) for _ in range(times)] for filler in (_best_with_largest, _best)]
    best = min([*tries, taken], key=lambda patterns: cost_of(part, [(pattern, 1) for pattern in patterns]))
    return kept + list(best)


def _shorter(task: Task, single: Sequence[Pattern]) -> list[Pattern]:
    left = [None if limit is None else limit - sum(at == stock for stock, _ in single) for at, limit in enumerate(task.limits)]
    order = sorted(range(len(task.costs)), key=lambda at: task.costs[at])
    found = []
    for at, pattern in single:
        filled = sum(size * many for size, many in zip(task.sizes, pattern, strict=True))
        better = next((one for one in order if filled <= task.rooms[one] and (left[one] is None or left[one])), at)
        if task.costs[better] < task.costs[at]:
            left[better], left[at] = _less(left[better], 1), _less(left[at], -1)
            found.append((better, pattern))
        else:
            found.append((at, pattern))
    return found


def _less(count: int | None, many: int) -> int | None:
    return None if count is None else count - many


def _counted(single: Iterable[Pattern]) -> list[tuple[Pattern, int]]:
    found: dict[Pattern, int] = {}
    for pattern in single:
        found[pattern] = found.get(pattern, 0) + 1
    return list(found.items())


# What any plan takes at least


def lower_bound(task: Task) -> int:
    """A length of stock, pieces left out at their penalty, below which no plan can come: by material, and by what can't share a bar."""
    most = sum(size * count for size, count in zip(task.sizes, task.counts, strict=True))
    short = _surely_short(task) if task.may_be_short else 0
    penalty = task.penalty * short
    if short:  # the pieces left out needn't be cut: those that are take at least nothing
        return penalty
    ratio = max(Fraction(room, cost) for room, cost in zip(task.rooms, task.costs, strict=True))
    by_material = ceil(Fraction(most) / ratio) if ratio else 0
    bars = max(_bars_by_size(task, max(task.rooms)), _bars_by_parts(task, max(task.rooms)))
    return max(_rounded(by_material, task.step), bars * min(task.costs))


def _surely_short(task: Task) -> int:
    """How many pieces can't be cut whatever is done: the smallest first, in all the room there is."""
    if any(limit is None for limit in task.limits):
        unlimited = max(room for room, limit in zip(task.rooms, task.limits, strict=True) if limit is None)
        return max(0, sum(count for size, count in zip(task.sizes, task.counts, strict=True) if size > unlimited) - _holds(task, unlimited))
    return max(0, sum(task.counts) - _holds(task, 0))


def _holds(task: Task, above: int) -> int:
    """At most how many pieces larger than `above` the limited bars hold."""
    room = sum(there * (limit or 0) for there, limit in zip(task.rooms, task.limits, strict=True))
    held = 0
    for size, count in zip(reversed(task.sizes), reversed(task.counts), strict=True):
        if size > above:
            many = min(count, room // size)
            held, room = held + many, room - many * size
    return held


def _bars_by_size(task: Task, room: int) -> int:
    """The bound of Martello and Toth (L2): pieces over half a bar each take one, and middling ones fill only what these leave."""
    best = 0
    for small in {0, *(size for size in task.sizes if 2 * size <= room)}:
        large = middle = middle_room = rest = 0
        for size, count in zip(task.sizes, task.counts, strict=True):
            if size > room - small:
                large += count
            elif 2 * size > room:
                middle, middle_room = middle + count, middle_room + (room - size) * count
            elif size >= small:
                rest += size * count
        best = max(best, large + middle + max(0, -floor((middle_room - rest) / room) if room else 0))
    return best


def _bars_by_parts(task: Task, room: int) -> int:
    """The bound of Fekete and Schepers: of pieces over 1/(k + 1) of a bar no bar holds more than k."""
    best = 0
    for parts in range(1, MOST_PARTS + 1):
        weighed = Fraction(0)
        for size, count in zip(task.sizes, task.counts, strict=True):
            whole_parts, rest = divmod((parts + 1) * size, room)
            weighed += count * (Fraction(whole_parts, parts) if rest else Fraction(size, room))
        best = max(best, ceil(weighed))
    return best


def _rounded(value: int, step: int) -> int:
    return -(-value // step) * step
