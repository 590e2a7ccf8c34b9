"""Which steps want some items next, and how much of that is there."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from buildplan.plan.models import Project, Step
from buildplan.shortfall.calc import NOTHING, Line, Need
from buildplan.shortfall.queries import shortfall_of
from buildplan.shortfall.trace import PEAK, RULE, need_of, served_by
from inventory.common.fields import plain
from inventory.common.reasons import Reason

MOST = 10


@dataclass(frozen=True, slots=True)
class WantedStep:
    """A step not done that needs an item, once for each way in which it does. Quantities are in `unit`.

    Of what is needed, `here` lies on the shelf, `coming` is in crates due in time and `short` is neither. A thing that comes back is
    shared by the steps of a day: `here` and `coming` are None, and `short` is what all of them together lack then.
    """

    project: str
    step_id: int
    step: str
    title: str
    day: date
    item: str
    unit: str
    needed: Decimal
    here: Decimal | None
    coming: Decimal | None
    short: Decimal
    trace: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class NextSteps:
    """The next steps that want something; `more` is how many come after them, `left_out` which seams can't be reckoned."""

    steps: tuple[WantedStep, ...] = ()
    more: int = 0
    left_out: tuple[str, ...] = ()


NOBODY = NextSteps()


@dataclass(frozen=True, slots=True)
class _Wanting:
    project: Project
    line: Line
    need: Need

    @property
    def rank(self) -> tuple[date, str, tuple[int, int], str]:
        return self.need.day, self.project.code, self.need.order, self.line.item.code


def next_steps(items: Collection[int], *, as_of: date) -> NextSteps:
    """The steps not done that need one of these items, by day, then in plan order. Sixteen queries; none without items."""
    if not items:
        return NOBODY
    touched = shortfall_of(items, before=None, as_of=as_of)
    found = [_Wanting(project, line, need) for project, short in touched.found for line in short.lines for need in line.needs]
    first = sorted(found, key=lambda one: one.rank)[:MOST]
    titles = dict(Step.objects.filter(pk__in={one.need.step for one in first}).values_list("pk", "title"))
    return NextSteps(tuple(_step(one, titles[one.need.step]) for one in first), len(found) - len(first), touched.left_out)


def _step(one: _Wanting, title: str) -> WantedStep:
    line, need = one.line, one.need
    named = (one.project.code, need.step, need.label, title, need.day, line.item.code, line.item.unit, need.quantity)
    if line.item.returned:
        lacking = _lacking(line, need)
        return WantedStep(*named, None, None, lacking, tuple(_held(line, need, lacking)))
    served = [(supply, quantity) for of, supply, quantity in line.served if of is need]
    here = sum((quantity for supply, quantity in served if supply.on_hand), NOTHING)
    coming = sum((quantity for supply, quantity in served if not supply.on_hand), NOTHING)
    return WantedStep(*named, here, coming, need.quantity - here - coming, tuple(_reasons(line, need, here, coming)))


def _reasons(line: Line, need: Need, here: Decimal, coming: Decimal) -> Iterator[Reason]:
    yield need_of(line, need)
    yield from served_by(line, [one for one in line.served if one[0] is need])
    short = need.quantity - here - coming
    sums = f"{need.label}: needed {plain(need.quantity)} - here {plain(here)} - coming {plain(coming)}"
    yield Reason(f"{sums} = short {plain(short)} {line.item.unit}" if short else f"{sums}: nothing short", RULE)


def _lacking(line: Line, need: Need) -> Decimal:
    """The most that lacks on a day on which this step holds it: what holds from its first day, and each change until its last."""
    before = [change for change in line.held if change[0] <= need.day][-1:]
    during = [change for change in line.held if need.day < change[0] <= need.through]
    return max((held - have for _, held, have in (*before, *during) if held > have), default=NOTHING)


def _held(line: Line, need: Need, lacking: Decimal) -> Iterator[Reason]:
    yield need_of(line, need)
    lack = f"{plain(lacking)} {line.item.unit} lack" if lacking else "nothing lacks"
    yield Reason(f"with what other steps hold then, {lack}", PEAK)
