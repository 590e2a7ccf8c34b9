"""Tools of a trace: single things of the pool that were out to the bench, or called out, on the day of a step; and their calibration."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any, NamedTuple

from django.utils import timezone

from buildplan.plan.calc import step_ref
from buildplan.plan.models import CallOut, Step
from buildplan.trace.calc import Certainty
from inventory.common.reasons import Reason
from inventory.models import BenchHolder, Loan, Thing

IN, OVER, UNKNOWN = "in calibration", "out of calibration", "not known"


class Tool(NamedTuple):
    """A tool that was, or may have been, used for a step on its day. `until` is how long its calibration held, as known on that day."""

    certainty: Certainty
    step: str
    on: date
    item: str
    name: str
    serial: str
    who: str
    until: date | None
    calibration: str
    reasons: tuple[Reason, ...]


class _Thing(NamedTuple):
    id: int
    item: int
    code: str
    name: str
    serial: str
    bench: int
    until: date | None


class _Loan(NamedTuple):
    thing: int
    bench: int | None
    member: int
    who: str
    first: date
    last: date | None  # None: it is still out
    ref: str


class _Step(NamedTuple):
    id: int
    code: str
    bench: int
    on: date


_THING = ("pk", "lot__item_id", "lot__item__code", "lot__item__name", "serial", "lot__bench_id", "calibrated_until")


def used(where: Mapping[str, Any]) -> tuple[Tool, ...]:
    """Of done steps with a day; who holds a bench counts for it. Six queries."""
    rows = Step.objects.filter(**where, done_on__isnull=False).distinct().order_by("position", "pk")
    steps = [_Step(pk, code, bench, on) for pk, code, bench, on in rows.values_list("pk", "code", "project__bench_id", "done_on") if on]
    called: dict[int, set[int]] = defaultdict(set)
    on = {f"step__{name}": value for name, value in where.items()}
    for pk, item in CallOut.objects.filter(**on).values_list("step_id", "item_id"):
        called[pk].add(item)
    things = [_Thing(*row) for row in Thing.objects.order_by("pk").values_list(*_THING)]
    loans, known, holders = _loans(), _calibrated(), _holders()
    found = []
    for step in steps:
        for thing in things:
            told = _told(step, thing, loans.get(thing.id, ()), holders, asked=thing.item in called[step.id])
            if told is not None:
                certainty, who, reasons = told
                until, said = _until(thing, step.on, known)
                found.append(
                    Tool(certainty, step.code, step.on, thing.code, thing.name, thing.serial, who, until, said[0], (*reasons, said[1]))
                )
    return tuple(found)


def _told(
    step: _Step, thing: _Thing, loans: Iterable[_Loan], holders: Mapping[int, set[int]], *, asked: bool
) -> tuple[Certainty, str, tuple[Reason, ...]] | None:
    out = [loan for loan in loans if loan.first <= step.on and (loan.last is None or loan.last >= step.on)]
    for loan in out:
        if loan.ref == step_ref(step.id):
            reason = Reason(f"lent to {loan.who} for this step from {loan.first}", "the loan")
            return Certainty.CERTAIN, loan.who, (reason,)
    for loan in out:
        if step.bench in {loan.bench, *(() if loan.bench else holders.get(loan.member, ()))}:
            text = f"lent to {loan.who} on {loan.first}" + (f", back on {loan.last}" if loan.last else ", still out")
            also = "; the step calls for one" if asked else "; the step does not call for it, and it may have been used"
            return Certainty.POSSIBLE, loan.who, (Reason(text + also, "the loan, and the plan"),)
    if asked and thing.bench == step.bench:
        return Certainty.POSSIBLE, "", (Reason("the step calls for one, and this is the bench's own", "the plan"),)
    return None


def _loans() -> dict[int, list[_Loan]]:
    """Loans of single things, and the last day on which something of each came back. Two queries."""
    rows = Loan.objects.filter(lot__thing__isnull=False)
    ended = dict(rows.filter(open=0, ends__isnull=False).order_by("ends__on").values_list("pk", "ends__on"))  # the last one stands
    found: dict[int, list[_Loan]] = defaultdict(list)
    columns = ("pk", "lot__thing__id", "bench_id", "member_id", "member__name", "out_on", "ref")
    for pk, thing, bench, member, who, first, ref in rows.order_by("out_on", "pk").values_list(*columns):
        found[thing].append(_Loan(thing, bench, member, who, first, ended.get(pk), ref))
    return found


def _calibrated() -> dict[int, list[tuple[date, date | None]]]:
    """What was known of each thing's calibration from which day on, the first first. One query."""
    found: dict[int, list[tuple[date, date | None]]] = defaultdict(list)
    rows = Thing.history.filter(id__in=Thing.objects.values("pk")).order_by("history_date", "history_id")
    for pk, at, until in rows.values_list("id", "history_date", "calibrated_until"):
        found[pk].append((timezone.localdate(at), until))
    return found


def _holders() -> dict[int, set[int]]:
    """The benches that each member holds. One query."""
    found: dict[int, set[int]] = defaultdict(set)
    for member, bench in BenchHolder.objects.values_list("member_id", "bench_id"):
        found[member].add(bench)
    return found


def _until(thing: _Thing, on: date, known: Mapping[int, list[tuple[date, date | None]]]) -> tuple[date | None, tuple[str, Reason]]:
    """What the workshop knew on the day, else what was written down of the thing first, later."""
    then = [until for day, until in known.get(thing.id, ()) if day <= on]
    first = [until for _, until in known.get(thing.id, ())][:1]
    until = then[-1] if then else first[0] if first else thing.until
    source = "as entered with the thing by then" if then else "as entered with the thing after that day"
    if until is None:
        return None, (UNKNOWN, Reason("nobody wrote down how long its calibration holds", source))
    if until >= on:
        return until, (IN, Reason(f"calibrated until {until}, the step was done on {on}", source))
    return until, (OVER, Reason(f"its calibration ended on {until}, before the step was done on {on}", source))
