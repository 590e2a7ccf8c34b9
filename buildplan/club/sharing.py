"""What used shared material costs, and whose share it is, to the cent. Pure.

Everything is reckoned exactly and rounded once: the sum to whole cents, half up; then each part by the largest remainder, so that the parts
add to the sum. Of equal remainders the first in order gets the cent.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from inventory.common.exact import decimal_text, half_up
from inventory.common.reasons import ARITHMETIC, Reason

NOTHING = Decimal(0)
PLACES = 3
EVENLY = "holders of a bench share its cost evenly: a club's rule, a starting value of ours"
REMAINDER = "rounded to cents by the largest remainder, so that the parts add to the sum"


class Price(NamedTuple):
    """What a stock unit costs from a day on."""

    since: date
    amount: Decimal


class Use(NamedTuple):
    """Material that was used: of a project, or of none that is known (None)."""

    project: int | None
    item: int
    quantity: Decimal
    on: date


@dataclass(frozen=True, slots=True)
class Line:
    """What a project used of an item; `unpriced` of it was used before its cost was set. `exact` is what the rest costs."""

    item: int
    quantity: Decimal
    unpriced: Decimal
    exact: Fraction
    cents: int
    trace: tuple[Reason, ...]

    @property
    def priced(self) -> bool:
        """All of it has a cost."""
        return not self.unpriced


@dataclass(frozen=True, slots=True)
class ProjectShare:
    """What a project used, and what that costs in cents. `project` None is what no project is known for."""

    project: int | None
    lines: tuple[Line, ...]
    cents: int


@dataclass(frozen=True, slots=True)
class MemberShare:
    """What a holder of a bench owes of its cost."""

    member: int
    bench: int
    cents: int


def price_on(prices: Sequence[Price], day: date) -> Price | None:
    """The price that holds on a day: the latest one set for that day or one before it."""
    return max((price for price in prices if price.since <= day), key=lambda price: price.since, default=None)


def split(total: int, parts: Sequence[Fraction]) -> tuple[int, ...]:
    """`total` cents over exact amounts that come to about that much, by the largest remainder."""
    whole = [int(part // 1) for part in parts]
    left = total - sum(whole)
    by_remainder = sorted(range(len(parts)), key=lambda at: (whole[at] - parts[at], at))
    for at in by_remainder[:left]:
        whole[at] += 1
    return tuple(whole)


def evenly(total: int, among: int) -> tuple[int, ...]:
    """`total` cents over so many, as even as cents are."""
    return split(total, [Fraction(total, among)] * among)


def portions(quantity: Decimal, shares: Sequence[Decimal]) -> tuple[Decimal, ...]:
    """A quantity over shares of it, in whole thousandths by the largest remainder."""
    total = sum(shares, NOTHING)
    thousandths = int(quantity.scaleb(PLACES))
    parts = split(thousandths, [Fraction(share) * thousandths / Fraction(total) for share in shares])
    return tuple(Decimal(part).scaleb(-PLACES) for part in parts)


def of_projects(uses: Iterable[Use], prices: Mapping[int, Sequence[Price]], order: Sequence[int | None]) -> tuple[ProjectShare, ...]:
    """What each project used and what that costs, in the order of `order`, which names every project."""
    found: dict[int | None, dict[int, list[Use]]] = defaultdict(lambda: defaultdict(list))
    for use in uses:
        found[use.project][use.item].append(use)
    lines = {project: [_line(item, used, prices.get(item, ())) for item, used in sorted(items.items())] for project, items in found.items()}
    shown = [project for project in order if project in lines]
    exact = [sum((line.exact for line in lines[project]), Fraction(0)) for project in shown]
    cents = split(half_up(sum(exact, Fraction(0))), exact)
    return tuple(_share(project, lines[project], of) for project, of in zip(shown, cents, strict=True))


def _share(project: int | None, lines: Sequence[Line], cents: int) -> ProjectShare:
    parts = split(cents, [line.exact for line in lines])
    return ProjectShare(project, tuple(_of(line, part) for line, part in zip(lines, parts, strict=True)), cents)


def _of(line: Line, cents: int) -> Line:
    return Line(line.item, line.quantity, line.unpriced, line.exact, cents, line.trace)


def _line(item: int, used: Sequence[Use], prices: Sequence[Price]) -> Line:
    by_price: dict[Price | None, Decimal] = defaultdict(Decimal)
    for use in used:
        by_price[price_on(prices, use.on)] += use.quantity
    priced = {price: quantity for price, quantity in by_price.items() if price is not None}
    exact = sum((Fraction(quantity) * Fraction(price.amount) * 100 for price, quantity in priced.items()), Fraction(0))
    total = sum(by_price.values(), NOTHING)
    return Line(item, total, by_price.get(None, NOTHING), exact, 0, tuple(_why(priced, by_price.get(None, NOTHING))))


def _why(priced: Mapping[Price, Decimal], unpriced: Decimal) -> Iterator[Reason]:
    for price, quantity in sorted(priced.items()):
        cost = Fraction(quantity) * Fraction(price.amount)
        amount = decimal_text(Fraction(price.amount), 6)
        text = f"{_plain(quantity)} x {amount} = {decimal_text(cost, 9)}"
        yield Reason(text, f"unit cost set by the club, valid since {price.since}")
    if unpriced:
        yield Reason(f"{_plain(unpriced)} used on days for which no unit cost is set: not in the sum", "unit costs")
    yield Reason(REMAINDER, ARITHMETIC)


def of_members(cents: Mapping[int, int], holders: Mapping[int, Sequence[int]]) -> tuple[MemberShare, ...]:
    """Each bench's cost over its holders, in their order; a bench without holders is nobody's share."""
    return tuple(
        MemberShare(member, bench, part)
        for bench, total in cents.items()
        if holders.get(bench)
        for member, part in zip(holders[bench], evenly(total, len(holders[bench])), strict=True)
    )


def money(cents: int) -> str:
    """Cents as people write them."""
    return f"{cents // 100}.{cents % 100:02d}"


def _plain(quantity: Decimal) -> str:
    return decimal_text(Fraction(quantity), PLACES)
