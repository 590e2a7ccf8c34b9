"""What the program knows of the points of a section's list: it informs, and a person ticks. A fixed number of queries a section."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from itertools import islice
from typing import Any

from django.db.models import CharField, Count, Exists, OuterRef, Q, Value
from django.db.models.functions import Cast, Concat
from django.utils import timezone

from buildplan.closeup.calc import Judged, Verdict
from buildplan.closeup.leaks import LeakRow, leaks_of
from buildplan.closeup.starting import Fact
from buildplan.fitting.models import Assembly, AssemblyStep
from buildplan.fitting.queries import open_conflicts
from buildplan.hardware.models import RivetRow
from buildplan.logbook.models import LogEntry, Signature
from buildplan.plan.models import CallOut, Finish, Section, Step
from buildplan.records.untaken import untaken
from buildplan.sealday.models import SealDay
from buildplan.sealday.planning import Cured, cures
from buildplan.sealday.reading import read_mixing
from buildplan.sealing.models import Seam
from inventory.catalogue.models import RETURNED, Kind
from inventory.common.reasons import Reason
from inventory.models import Photo
from inventory.workshop.models import Role

MOST_NAMED = 8  # in a sentence: the trace has more
MOST_LINES = 40  # of a trace
PLAN, LEDGER, LOG = "the plan, as it stands now", "the ledger: what finishing the steps took", "the builder's log and its signatures"
CONFLICTS, MARKS, PHOTOS = "the conflicts on record", "the match marks on record", "the photos kept with steps and log entries"
CURES, READINGS = "batches and seal days on record, with cure times as entered", "the readings entered"


class Says(StrEnum):
    """Whether what is known of a point speaks for it."""

    FOR = "for"
    AGAINST = "against"
    NEITHER = "neither"


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of a point, and whether that speaks for it or against it."""

    fact: str
    says: Says
    text: str
    trace: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class _StepFacts:
    """What the database says of a step, asked at once for all of a section."""

    id: int
    code: str
    done: bool
    takes: bool
    took: bool
    sealed: bool
    pictured: bool
    inspected: bool
    signed: bool


def known(section: Section, now: datetime) -> dict[str, Known]:
    """Every fact of a section, by its name. Twenty-five queries at most."""
    steps = _steps(section)
    leaks = leaks_of(section)
    found = (
        _done(steps),
        _conflicts(steps),
        _movements(steps, untaken([step.id for step in steps])),
        _marks(section),
        _cures(section, steps, now),
        _leaks(leaks),
        _pictured(steps),
        _seen(steps),
    )
    return {one.fact: one for one in found}


def _steps(section: Section) -> list[_StepFacts]:
    """One query."""
    here: dict[str, Any] = {"step": OuterRef("pk")}
    called = CallOut.objects.filter(**here).exclude(item__kind__in=RETURNED)
    seams, rows = Seam.objects.filter(**here), RivetRow.objects.filter(**here)
    sealant = CallOut.objects.filter(**here, item__kind=Kind.SEALANT)
    finish = Finish.objects.filter(**here, taken_back_at=None, without_movements=False)
    entries = LogEntry.objects.filter(**here, struck_at=None)
    signed = Signature.objects.filter(Q(step=OuterRef("pk")) | Q(entry__step=OuterRef("pk"), entry__struck_at=None), withdrawn_at=None)
    asked: tuple[Any, ...] = (
        Exists(called) | Exists(rows) | Exists(seams),
        Exists(finish),
        Exists(seams) | Exists(sealant),
        Exists(_photo("step:")) | Exists(entries.filter(Exists(_photo("log:")))),
        Exists(signed.filter(role=Role.INSPECTOR)),
        Exists(signed),
    )
    found = Step.objects.filter(section=section).order_by("position")
    return [_StepFacts(*row) for row in found.values_list("id", "code", "done", *asked)]


def _photo(start: str) -> Any:
    """The photos of the row around."""
    return Photo.objects.filter(ref=Concat(Value(start), Cast(OuterRef("pk"), CharField())))


def _done(steps: Sequence[_StepFacts]) -> Known:
    left = [step.code for step in steps if not step.done]
    if not steps:
        return _known(Fact.STEPS, Says.NEITHER, "it has no steps", PLAN)
    if not left:
        return _known(Fact.STEPS, Says.FOR, f"{_all(len(steps))} done", PLAN)
    return _known(
        Fact.STEPS,
        Says.AGAINST,
        f"{len(left)} of {_count(len(steps))} not done: {_some(left)}",
        PLAN,
        [f"{code} is not done" for code in left],
    )


def _conflicts(steps: Sequence[_StepFacts]) -> Known:
    """One query."""
    found = open_conflicts([step.id for step in steps])
    titles = {one.id: one.title for of in found.values() for one in of}
    if not titles:
        return _known(Fact.CONFLICTS, Says.FOR, "no open conflict rests on its steps", CONFLICTS)
    codes = {step.id: step.code for step in steps}
    told = [f"{codes[step]}: {one.held_text}" for step, of in found.items() for one in of]
    return _known(Fact.CONFLICTS, Says.AGAINST, f"{len(titles)} open: {_some(titles.values())}", CONFLICTS, told)


def _movements(steps: Sequence[_StepFacts], left_out: Mapping[int, Sequence[str]]) -> Known:
    done = [step for step in steps if step.done and step.takes]
    silent = [step.code for step in done if not step.took]
    if silent:
        text = f"{_count(len(silent))} done without movements, so no lot is on record: {_some(silent)}"
        return _known(Fact.MOVEMENTS, Says.AGAINST, text, LEDGER, [f"{code} needs stock and was done without movements" for code in silent])
    lacking = [f"{step.code} ({_some(left_out[step.id])})" for step in done if step.id in left_out]
    if lacking:
        text = f"{_count(len(lacking))} took nothing of something that the plan names: {_some(lacking)}"
        return _known(Fact.MOVEMENTS, Says.AGAINST, text, LEDGER, [f"no movement on record: {told}" for told in lacking])
    if not done:
        return _known(Fact.MOVEMENTS, Says.FOR, "no step of it that is done takes anything from stock", LEDGER)
    return _known(Fact.MOVEMENTS, Says.FOR, f"what {_count(len(done))} took is on record, lot by lot", LEDGER)


def _marks(section: Section) -> Known:
    """One query."""
    mine = AssemblyStep.objects.filter(step__section=section).values("assembly")
    found = Assembly.objects.filter(pk__in=mine).annotate(
        total=Count("positions", distinct=True),
        marked=Count("positions__marks", filter=Q(positions__marks__ended_on=None), distinct=True),
    )
    rows = list(found.order_by("name", "pk").values_list("name", "total", "marked"))
    if not rows:
        return _known(Fact.MARKS, Says.NEITHER, "no assembly with match marks is on record for its steps", MARKS)
    told = [f"{name}: {marked} of {total} positions hold a marked piece" for name, total, marked in rows]
    says = Says.FOR if all(total == marked for _, total, marked in rows) else Says.AGAINST
    return _known(Fact.MARKS, says, "; ".join(told), MARKS)


def _cures(section: Section, steps: Sequence[_StepFacts], now: datetime) -> Known:
    """Twelve queries at most."""
    sealed = {step.id: step.code for step in steps if step.sealed and step.done}
    ends = _ends(section, sealed)
    still = [(codes, one) for codes, one in ends if one.at > now]
    covered = {step for _, one in ends for step in one.steps}
    unknown = [code for step, code in sealed.items() if step not in covered]
    trace = [reason for _, one in ends for reason in one.trace]
    trace += [Reason(f"when the sealant of {code} is cured isn't known: no cure time is entered for it", CURES) for code in unknown]
    if still:
        told = "; ".join(f"{one.item.code} of {_some(codes)} cures until {_moment(one.at)}" for codes, one in still)
        return Known(Fact.CURES, Says.AGAINST, told, _first(trace))
    if unknown:
        text = f"when the sealant of {_some(unknown)} is cured isn't known"
        return Known(Fact.CURES, Says.NEITHER, text, _first(trace))
    if not ends:
        return _known(Fact.CURES, Says.FOR, "no step of it that is done was sealed", CURES)
    last = max(one.at for _, one in ends)
    return Known(Fact.CURES, Says.FOR, f"the last cure ended {_moment(last)}", _first(trace))


def _ends(section: Section, sealed: Mapping[int, str]) -> list[tuple[list[str], Cured]]:
    """The cures of the section's seal days whose end is known, with the codes of its own steps."""
    days = SealDay.objects.filter(pk__in=SealDay.objects.filter(steps__step__section=section).values("pk"), called_off_at=None)
    listed = list(days.select_related("bench").order_by("on", "pk"))
    if not listed:
        return []
    found = (([sealed[step] for step in one.steps if step in sealed], one) for one in cures(read_mixing(listed)))
    return [(codes, one) for codes, one in found if codes]


def _leaks(leaks: Sequence[LeakRow]) -> Known:
    if not leaks:
        return _known(Fact.LEAK, Says.NEITHER, "no leak test is on record", READINGS)
    last = {leak.name.casefold(): leak for leak in leaks}
    told = "; ".join(f"{leak.name}: {VERDICTS[leak.judged.verdict]}" for leak in last.values())
    trace = [reason for leak in last.values() for reason in leak.judged.trace]
    return Known(Fact.LEAK, _speaks(leak.judged for leak in last.values()), told, _first(trace))


VERDICTS = {
    Verdict.EMPTY: "fewer than two readings",
    Verdict.NO_LIMIT: "no limit is entered",
    Verdict.RUNNING: "not over yet",
    Verdict.WITHIN: "within the limit entered",
    Verdict.BEYOND: "beyond the limit entered",
}


def _speaks(found: Iterable[Judged]) -> Says:
    verdicts = {judged.verdict for judged in found}
    if verdicts & {Verdict.BEYOND, Verdict.RUNNING}:
        return Says.AGAINST
    return Says.FOR if verdicts == {Verdict.WITHIN} else Says.NEITHER


def _pictured(steps: Sequence[_StepFacts]) -> Known:
    having = [step.code for step in steps if step.pictured]
    if not having:
        return _known(Fact.PHOTOS, Says.AGAINST, "no photo of its steps is kept", PHOTOS)
    text = f"photos of {len(having)} of {_count(len(steps))} are kept: {_some(having)}"
    lacking = [f"no photo of {step.code} is kept" for step in steps if not step.pictured]
    return _known(Fact.PHOTOS, Says.NEITHER if lacking else Says.FOR, text, PHOTOS, lacking)


def _seen(steps: Sequence[_StepFacts]) -> Known:
    """What an inspector signed of some steps alone doesn't speak for the section: whoever ticks knows whether it was enough."""
    seen = [step.code for step in steps if step.inspected]
    signed = [step.code for step in steps if step.signed]
    if seen:
        text = f"an inspector signed {len(seen)} of {_count(len(steps))}, or what the log tells of them: {_some(seen)}"
        lacking = [f"no inspector signed {step.code}" for step in steps if not step.inspected]
        return _known(Fact.SEEN, Says.NEITHER if lacking else Says.FOR, text, LOG, lacking)
    if signed:
        text = f"no inspector signed; an owner signed {len(signed)} of {_count(len(steps))}: {_some(signed)}"
        return _known(Fact.SEEN, Says.NEITHER, text, LOG)
    return _known(Fact.SEEN, Says.NEITHER, "nobody signed a step of it, or what the log tells of one", LOG)


def _known(fact: Fact, says: Says, text: str, source: str, more: Iterable[str] = ()) -> Known:
    return Known(fact, says, text, _first([Reason(line, source) for line in more] or [Reason(text, source)]))


def _first(lines: Iterable[Reason]) -> tuple[Reason, ...]:
    return tuple(_cut(lines, MOST_LINES))


def _cut(lines: Iterable[Reason], most: int) -> Iterator[Reason]:
    left = iter(lines)
    yield from islice(left, most)
    if rest := sum(1 for _ in left):
        yield Reason(f"and {rest} more", PLAN)


def _some(names: Iterable[str]) -> str:
    listed = list(names)
    rest = len(listed) - MOST_NAMED
    return ", ".join(listed[:MOST_NAMED]) + (f" and {rest} more" if rest > 0 else "")


def _count(number: int) -> str:
    return "1 step" if number == 1 else f"{number} steps"


def _all(number: int) -> str:
    return "its 1 step is" if number == 1 else f"all {number} steps are"


def _moment(at: datetime) -> str:
    return f"{timezone.localtime(at):%Y-%m-%d %H:%M}"
