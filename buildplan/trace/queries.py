"""Traces both ways: from a lot to where it went, from steps to what went into them. Each in a fixed number of queries."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from buildplan.closeup.models import Closing
from buildplan.fitting.models import Assembly, Mark
from buildplan.plan.models import Project, Section, Step
from buildplan.trace import lines, people, tools
from buildplan.trace.calc import Certainty
from buildplan.trace.lines import TraceLine
from buildplan.trace.people import Seen, Worked
from buildplan.trace.picture import LotRow, MixRow, Picture, StepFact, items_of, look
from buildplan.trace.tools import Tool
from inventory.common.problems import NotHere
from inventory.common.reasons import PRACTICE, Reason
from inventory.models import Item, Lot, PackingLine
from inventory.receiving.services import line_of_ref

MOST_OTHERS = 200  # uses of other lots that are told one by one
RULES = (
    Reason("certain: a line of the ledger says that this lot went there, and all that lay there as it was of it", "the ledger"),
    Reason(
        "possible: taken without a lot code from among several, found by a count, mixed with goods of other origin when it was passed or "
        "carried, or done without movements",
        "what the ledger can't tell",
    ),
    Reason("a batch is stirred: each share of it has of every lot that went in", PRACTICE),
    Reason("what was reversed, taken back or undone counts as if it had not been", "the ledger"),
)


@dataclass(frozen=True, slots=True)
class Arrival:
    """How a lot came: by which line of which crate, and of what that was a replacement or back order."""

    lot: int
    on: date
    crate: int | None
    crate_code: str
    bag: str
    line: str
    sender: str
    instead_of: str
    note: str


@dataclass(frozen=True, slots=True)
class Went:
    """Where some lots went. `possible` are lots without a code that may be of what is traced; `others` what they did not go into.

    `sources` are other lots that they were passed on, cut or carried from.
    """

    subject: str
    lots: tuple[LotRow, ...]
    possible: tuple[LotRow, ...]
    lines: tuple[TraceLine, ...]
    others: tuple[TraceLine, ...]
    more_others: int
    sources: tuple[tuple[LotRow, Certainty], ...]
    arrivals: tuple[Arrival, ...]
    closed: Mapping[int, str]

    rules = RULES

    @property
    def counts(self) -> dict[str, int]:
        """How many lines of each certainty."""
        found = {one.value: sum(1 for line in self.lines if line.certainty == one) for one in (Certainty.CERTAIN, Certainty.POSSIBLE)}
        return {**found, Certainty.NOT.value: len(self.others) + self.more_others}


@dataclass(frozen=True, slots=True)
class CameFrom:
    """What went into some steps: lots, batches, tools, and who did and saw it."""

    subject: str
    steps: tuple[StepFact, ...]
    lines: tuple[TraceLine, ...]
    lots: tuple[tuple[LotRow, Certainty], ...]
    mixes: tuple[MixRow, ...]
    tools: tuple[Tool, ...]
    worked: tuple[Worked, ...]
    seen: tuple[Seen, ...]
    arrivals: tuple[Arrival, ...]
    closed: Mapping[int, str]

    rules = RULES

    @property
    def counts(self) -> dict[str, int]:
        """How many lines of each certainty."""
        return {one.value: sum(1 for line in self.lines if line.certainty == one) for one in (Certainty.CERTAIN, Certainty.POSSIBLE)}


def from_lot(lot: Lot) -> Went:
    """Where one lot went. Twenty queries at most."""
    name = f"lot {lot.code}" if lot.code else f"lot no. {lot.pk} without a code"
    return _went(f"{lot.item.code}, {name}", {lot.item_id}, [lot.pk], [])


def from_code(code: str, item: Item | None = None) -> Went:
    """Where everything of a maker's lot code went; lots of the same items without a code may be of it, too."""
    rows = Lot.objects.filter(code__iexact=code.strip()).order_by("pk") if code.strip() else Lot.objects.none()
    named = list((rows.filter(item=item) if item else rows).values_list("pk", "item_id"))
    if not named:
        raise NotHere(f"no lot here has the code {code}{f' of {item.code}' if item else ''}: look at the label, and at the lot's page")
    items = {item_id for _, item_id in named}
    uncoded = Lot.objects.filter(item__in=items, code="").order_by("pk").values_list("pk", flat=True)
    return _went(f"lot code {code.strip()}", items, [pk for pk, _ in named], uncoded)


def _went(subject: str, items: Collection[int], lots: Iterable[int], uncoded: Iterable[int]) -> Went:
    picture = look(items)
    sure, maybe = list(lots), list(uncoded)
    starts = {**dict.fromkeys(maybe, Certainty.POSSIBLE), **dict.fromkeys(sure, Certainty.CERTAIN)}
    found = lines.of_lots(picture, starts, MOST_OTHERS)
    came = _sources(picture, sure)
    return Went(
        subject,
        tuple(picture.lots[pk] for pk in sure),
        tuple(picture.lots[pk] for pk in maybe),
        tuple(found.lines),
        tuple(lines.not_line(picture, use) for use in found.others),
        found.more,
        tuple(came),
        arrivals(picture, [*sure, *maybe, *(lot.id for lot, _ in came)]),
        closed_up(picture),
    )


def _sources(picture: Picture, lots: Collection[int]) -> list[tuple[LotRow, Certainty]]:
    """The lots that these came from, however far back."""
    found: dict[int, Certainty] = {}
    for lot in lots:
        goods = picture.goods(lot)
        for one in goods.may - frozenset(lots):
            found[one] = Certainty.CERTAIN if one in goods.must or found.get(one) == Certainty.CERTAIN else Certainty.POSSIBLE
    return [(picture.lots[pk], sure) for pk, sure in sorted(found.items())]


def from_step(step: Step) -> CameFrom:
    """What went into a step."""
    return _came(f"{step.project.code} {step.code} {step.title}", {"pk": step.pk})


def from_section(section: Section) -> CameFrom:
    """What went into a section."""
    return _came(f"{section.project.code}, {section.name}", {"section": section.pk})


def from_project(project: Project) -> CameFrom:
    """What went into an aeroplane."""
    return _came(project.name, {"project": project.pk}, {"position__assembly__project": project.pk})


def from_assembly(assembly: Assembly) -> CameFrom:
    """What went into an assembly: by its steps, and by the pieces marked for its positions."""
    where = {"assemblies__assembly": assembly.pk}
    return _came(f"{assembly.project.code}, {assembly.name}", where, {"position__assembly": assembly.pk})


def _came(subject: str, where: Mapping[str, Any], marked: Mapping[str, Any] | None = None) -> CameFrom:
    marks = list(Mark.objects.filter(**marked, lot__isnull=False).values_list("pk", "lot__item_id")) if marked else []
    days = dict(Step.objects.filter(**where).values_list("pk", "done_on"))
    picture = look(items_of(where) | {item for _, item in marks})
    found = lines.of_steps(picture, days, [pk for pk, _ in marks])
    lots: dict[int, Certainty] = {}
    for one in found:
        for pk in one.choices or ((one.lot.id,) if one.lot else ()):
            if lots.get(pk) != Certainty.CERTAIN:
                lots[pk] = one.certainty
    steps = [picture.steps[pk] for pk in days if pk in picture.steps]
    mixes = [mix for mix in picture.mixes.values() if any(share.step in days for share in mix.shares)]
    return CameFrom(
        subject,
        tuple(sorted(steps, key=lambda step: (step.project, step.position))),
        tuple(found),
        tuple(sorted(((picture.lots[pk], sure) for pk, sure in lots.items()), key=lambda pair: (pair[0].item, pair[0].code, pair[0].id))),
        tuple(mixes),
        tools.used(where),
        people.worked(where),
        people.seen(where),
        arrivals(picture, list(lots)),
        closed_up(picture),
    )


_FIRST = ("back_order_of__crate__code", "back_order_of__number")
_LINE = ("pk", "crate_id", "crate__code", "bag__path", "number", "crate__sender__name", *_FIRST)


def arrivals(picture: Picture, lots: Collection[int]) -> tuple[Arrival, ...]:
    """How these lots came into stock. One query."""
    wanted = frozenset(lots)
    came = [move for move in picture.moves if move.lot in wanted and picture.places[move.source].end == "supplier"]
    numbers = {number for move in came if (number := line_of_ref(move.ref)) is not None}
    rows = {row[0]: row[1:] for row in PackingLine.objects.filter(pk__in=numbers).values_list(*_LINE)}
    found = []
    for move in came:
        row = rows.get(line_of_ref(move.ref) or 0)
        on, note = picture.lines[move.id].on, picture.lines[move.id].note
        if row is None:
            found.append(Arrival(move.lot, on, None, "", "", "", "", "", note))
        else:
            crate, code, bag, number, sender, other, other_line = row
            instead = f"line {other_line} of crate {other}" if other else ""
            found.append(Arrival(move.lot, on, crate, code, bag or "", number, sender or "", instead, note))
    return tuple(found)


def closed_up(picture: Picture) -> dict[int, str]:
    """Of each step whose work is closed up: what says so. One query."""
    closed = dict(Closing.objects.filter(reopened_at=None).values_list("section_id", "section__name"))
    found = {pk: f"section {closed[step.section_id]} is closed up" for pk, step in picture.steps.items() if step.section_id in closed}
    for pk, name in picture.closing.items():
        found.setdefault(pk, f"{name} is closed for good")
    return found
