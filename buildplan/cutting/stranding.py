"""Whether a cut leaves later pieces without material. Pure: no Django, no clock.

Before and after are compared: how many of all the pieces that are still needed the blanks and offcuts at hand would give. Pieces by
yield come from whole blanks, and from offcuts of which the cut before said what they still give; pieces by size from whatever is long and
wide enough.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from buildplan.cutting.calc import Stock, Wanted, uncut
from buildplan.cutting.sheets import Rectangle, Sheet, cut_sheets, uncut_rectangles
from inventory.common.reasons import ARITHMETIC, Reason

EXACT_UP_TO = 60  # pieces up to which bars are planned with proof: a page waits for it


class Need(NamedTuple):
    """Pieces that are still to be cut; `key` tells them apart. Sizes in millimetres, allowance in."""

    key: int
    name: str
    count: int  # type: ignore[assignment] # a tuple has a method of that name, which none of ours calls
    per_blank: int | None = None
    group: str = ""
    length: Fraction | None = None
    width: Fraction | None = None
    grain: str = ""
    code: str = ""


class Material(NamedTuple):
    """Blanks or offcuts alike, end trim already off: `whole` is a whole blank. No length: nobody measured it.

    `yields` is what an offcut still gives by yield: group, piece and how many.
    """

    key: int
    name: str
    count: int  # type: ignore[assignment] # a tuple has a method of that name, which none of ours calls
    whole: bool
    length: Fraction | None = None
    width: Fraction | None = None
    grain: str = ""
    yields: tuple[tuple[str, str, int], ...] = ()


class Saw(NamedTuple):
    """How it is cut."""

    form: str
    kerf: Fraction


@dataclass(frozen=True, slots=True)
class Stranded:
    """What a cut leaves without material: `lost` of the pieces that the stock would have given, and by name how many of how many.

    `instead` is a blank or offcut from which the same pieces can be cut and less is lost.
    """

    lost: int
    pieces: tuple[tuple[str, int, int], ...]
    instead: Material | None
    reasons: tuple[Reason, ...]

    @property
    def text(self) -> str:
        """As a sentence."""
        if not self.lost:
            return ""
        listed = " and ".join(f"{missing} of the {count} pieces of {name}" for name, missing, count in self.pieces)
        where = f"; cut it from {self.instead.name} instead" if self.instead else "; no other blank or offcut here would do better"
        return f"this cut leaves {listed} without material{where}"


class _Case(NamedTuple):
    """A cut to be looked at."""

    needs: Sequence[Need]
    stock: Sequence[Material]
    now: Mapping[int, int]
    later: Mapping[int, int]
    saw: Saw

    @property
    def gone(self) -> list[Need]:
        """What the cut gives, promised pieces among it."""
        counted = (one._replace(count=self.now.get(one.key, 0) + self.later.get(one.key, 0)) for one in self.needs)
        return [one for one in counted if one.count]

    @property
    def rest(self) -> list[Need]:
        """What is needed besides."""
        counted = (one._replace(count=one.count - self.now.get(one.key, 0) - self.later.get(one.key, 0)) for one in self.needs)
        return [one for one in counted if one.count > 0]


def stranding(  # noqa: PLR0913 - what is needed, what there is, and a cut
    needs: Sequence[Need],
    stock: Sequence[Material],
    at: int,
    now: Mapping[int, int],
    later: Mapping[int, int],
    saw: Saw,
) -> Stranded:
    """What cutting `now` from one of the material `at` takes away from the pieces that are needed besides.

    `now` and `later` are counts by the need's key; `later` stays promised from what this cut leaves. `needs` hold all of them.
    """
    case = _Case(needs, stock, now, later, saw)
    before, missing = without(needs, stock, saw), _after(case, at)
    after = sum(missing.values())
    lost = after - sum(before.values())
    if lost <= 0:
        return Stranded(0, (), None, (_all_served(needs, before),))
    why = Reason(_counts(needs, before, after), ARITHMETIC)
    return Stranded(lost, _named(needs, missing, before, lost), _instead(case, at, after), (why,))


def _after(case: _Case, at: int) -> dict[int, int]:
    """How many pieces of each need are without material once this is cut."""
    return without(case.rest, _left(case, at), case.saw)


def _left(case: _Case, at: int) -> list[Material]:
    """What lies there once this is cut and what is promised of it is put aside."""
    used = next(one for one in case.stock if one.key == at)
    left = [one._replace(count=one.count - 1) if one is used else one for one in case.stock]
    left = [one for one in left if one.count]
    gone = case.gone
    if any(one.per_blank for one in gone):
        rest = yields_left(case.needs, used, gone)
        return [*left, used._replace(key=-1, count=1, whole=False, length=None, width=None, yields=rest)] if rest else left
    return left if used.length is None else left + offcuts(used, gone, case.saw)


def yields_left(needs: Sequence[Need], used: Material, gone: Sequence[Need]) -> tuple[tuple[str, str, int], ...]:
    """What a blank still gives of a group by yield once these pieces are out of it."""
    [group, *_] = (one.group for one in gone)
    full = {one.code: one.per_blank or 0 for one in needs if one.group == group}
    left = full if used.whole else {code: many for of, code, many in used.yields if of == group}
    for one in gone:
        left[one.code] = left.get(one.code, 0) - one.count
    return tuple((group, code, many) for code, many in left.items() if many > 0)


def offcuts(used: Material, gone: Sequence[Need], saw: Saw) -> list[Material]:
    """What is left of one blank once these pieces are out of it, the largest first."""
    if saw.form == "bar":
        rest = (used.length or Fraction(0)) - sum(((one.length or Fraction(0)) + saw.kerf) * one.count for one in gone)
        return [used._replace(key=-1, count=1, whole=False, length=rest, name="the offcut")] if rest > 0 else []
    plan = cut_sheets([_rectangle(one) for one in gone], [_sheet(used)._replace(count=1)], saw.kerf)
    if not plan.sheets:
        return []
    return [
        used._replace(key=-at, count=1, whole=False, length=area.length, width=area.width, name="the offcut")
        for at, area in enumerate(plan.sheets[0].offcuts, start=1)
    ]


def _instead(case: _Case, at: int, after: int) -> Material | None:
    """The material that leaves fewest pieces without, where that is fewer than `after`."""
    best, found = after, None
    for other in case.stock:
        if other.key != at and holds(other, case.needs, case.now, case.later, case.saw):
            missing = sum(_after(case, other.key).values())
            if missing < best:
                best, found = missing, other
    return found


def holds(one: Material, needs: Iterable[Need], now: Mapping[int, int], later: Mapping[int, int], saw: Saw) -> bool:
    """Whether one blank or offcut gives all these pieces."""
    wanted = _Case([*needs], (), now, later, saw).gone
    if any(need.per_blank for need in wanted):
        most = {(group, code): many for group, code, many in one.yields}
        if one.whole:
            most = {(need.group, need.code): need.per_blank or 0 for need in wanted}
        return len({need.group for need in wanted}) == 1 and all(need.count <= most.get((need.group, need.code), 0) for need in wanted)
    return not without(wanted, [one._replace(count=1)], saw)


# How many pieces a stock doesn't give


def without(needs: Sequence[Need], stock: Sequence[Material], saw: Saw) -> dict[int, int]:
    """The pieces without material, as few as can be told: every split of the whole blanks between yields and sizes is tried."""
    by_yield = _less_offcuts([one for one in needs if one.per_blank], stock)
    by_size = [one for one in needs if not one.per_blank]
    whole = sum(one.count for one in stock if one.whole)
    most = min(whole, sum(one.count for one in by_yield))
    tries = (
        {**_by_yield(by_yield, blanks), **_by_size(by_size, _less_whole(stock, blanks), saw)}
        for blanks in (range(most + 1) if by_yield else (0,))
    )
    best = min(tries, key=lambda missing: sum(missing.values()))
    return {key: count for key, count in best.items() if count}


def _less_offcuts(needs: Sequence[Need], stock: Iterable[Material]) -> list[Need]:
    """By yield less what offcuts still give of it: each of them is of one group, so nothing else loses by that."""
    given: dict[tuple[str, str], int] = {}
    for offcut in stock:
        for group, code, many in offcut.yields:
            given[group, code] = given.get((group, code), 0) + many * offcut.count
    found = []
    for one in needs:
        took = min(one.count, given.get((one.group, one.code), 0))
        given[one.group, one.code] = given.get((one.group, one.code), 0) - took
        found.append(one._replace(count=one.count - took))
    return found


def _less_whole(stock: Sequence[Material], blanks: int) -> list[Material]:
    """The stock less so many whole blanks, the smallest first."""
    found = []
    for one in sorted(stock, key=lambda one: ((one.length or Fraction(0)) * (one.width or 1), one.key)):
        took = min(blanks, one.count) if one.whole else 0
        blanks -= took
        found.append(one._replace(count=one.count - took))
    return [one for one in found if one.count]


def _by_yield(needs: Sequence[Need], blanks: int) -> dict[int, int]:
    """Each blank goes to the group that it gives most pieces of: what a further one gives never grows, so that is best."""
    left = {one.key: one.count for one in needs}
    groups: dict[str, list[Need]] = {}
    for one in needs:
        groups.setdefault(one.group, []).append(one)
    for _ in range(blanks):
        gains = {name: sum(min(one.per_blank or 0, left[one.key]) for one in group) for name, group in groups.items()}
        name = max(gains, key=lambda name: gains[name], default=None)
        if name is None or not gains[name]:
            break
        for one in groups[name]:
            left[one.key] -= min(one.per_blank or 0, left[one.key])
    return left


def _by_size(needs: Sequence[Need], stock: Sequence[Material], saw: Saw) -> dict[int, int]:
    measured = [one for one in stock if one.length is not None]
    if not needs:
        return {}
    if not measured:
        return {one.key: one.count for one in needs}
    missing: dict[int, int] = {}
    for label, count in _bars(needs, measured, saw) if saw.form == "bar" else _sheets(needs, measured, saw):
        missing[int(label)] = missing.get(int(label), 0) + count
    return missing


def _bars(needs: Sequence[Need], stock: Sequence[Material], saw: Saw) -> Iterable[tuple[str, int]]:
    wanted = [Wanted(one.length or Fraction(0), one.count, str(one.key)) for one in needs]
    bars = [Stock(one.length or Fraction(0), one.count) for one in stock]
    prove = sum(one.count for one in needs) <= EXACT_UP_TO
    return [(one.label, one.count) for one in uncut(wanted, bars, saw.kerf, prove=prove)]


def _sheets(needs: Sequence[Need], stock: Sequence[Material], saw: Saw) -> Iterable[tuple[str, int]]:
    left = uncut_rectangles([_rectangle(one) for one in needs], [_sheet(one) for one in stock], saw.kerf)
    return [(one.label, one.count) for one in left]


def _rectangle(one: Need) -> Rectangle:
    return Rectangle(one.length or Fraction(0), one.width or Fraction(0), one.count, str(one.key), one.grain)


def _sheet(one: Material) -> Sheet:
    return Sheet(one.length or Fraction(0), one.width or one.length or Fraction(0), one.count, str(one.key), one.grain)


# In words


def _named(needs: Sequence[Need], missing: Mapping[int, int], before: Mapping[int, int], lost: int) -> tuple[tuple[str, int, int], ...]:
    """The pieces that the cut takes the material of, as many as are lost by it; those that had none before count last."""
    found, left = [], lost
    for one in sorted(needs, key=lambda one: -(missing.get(one.key, 0) - before.get(one.key, 0))):
        many = min(left, missing.get(one.key, 0))
        left -= many
        if many:
            found.append((one.name, many, one.count))
    return tuple(found)


def _all_served(needs: Sequence[Need], before: Mapping[int, int]) -> Reason:
    total, without = sum(one.count for one in needs), sum(before.values())
    if without:
        text = f"{without} of the {total} pieces still needed had no material before this cut either; it takes away from none"
    else:
        text = f"all {total} pieces still needed have material, with this cut as well"
    return Reason(text, ARITHMETIC)


def _counts(needs: Sequence[Need], before: Mapping[int, int], after: int) -> str:
    total = sum(one.count for one in needs)
    return f"of {total} pieces still needed {sum(before.values())} are without material before this cut, {after} after it"
