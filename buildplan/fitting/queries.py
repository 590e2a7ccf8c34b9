"""Reads of hands, conflicts and match marks, each in a fixed number of queries."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Case, Count, Exists, F, Max, OuterRef, Q, QuerySet, Subquery, Value, When
from django.db.models.functions import Coalesce

from buildplan.fitting.calc import Lookalike, Record, Sided, cautions, records
from buildplan.fitting.models import (
    SIDED,
    AssemblyStep,
    Conflict,
    ConflictItem,
    ConflictStep,
    FalseMirror,
    ItemHand,
    MakerAnswer,
    Matter,
    MirrorPair,
    Settlement,
)
from buildplan.plan.models import Step
from inventory.common.reasons import Reason
from inventory.common.rows import batches
from inventory.models import Item


@dataclass(frozen=True, slots=True)
class OpenConflict:
    """An open conflict that a step rests on. `answered` is the day of the maker's last answer; None: none came yet.

    `item` is the code of the item through which the step rests on it; blank where the step itself was named.
    """

    id: int
    title: str
    answered: date | None = None
    item: str = ""

    @property
    def held_text(self) -> str:
        """Why the step is held, and what would change it."""
        through = f" (through {self.item})" if self.item else ""
        waits = f"the maker answered on {self.answered}: settle it" if self.answered else "the maker's answer is still to come"
        return f'text and drawing disagree on "{self.title}"{through}, and it isn\'t settled: {waits}'


_HELD = ("conflict", "conflict__title", "answered", "through")


def open_conflicts(steps: Collection[int]) -> dict[int, tuple[OpenConflict, ...]]:
    """The open conflicts on which each of these steps rests, by id of the step; a step without any is not in it. One query.

    A step rests on a conflict that names it, and on one of its project that names an item it takes, called out or in a row of rivets.
    """
    standing = Settlement.objects.filter(conflict=OuterRef("conflict"), reopened_at=None)
    answers = MakerAnswer.objects.filter(conflict=OuterRef("conflict")).order_by().values("conflict")
    answered = Subquery(answers.annotate(last=Max("on")).values("last"))
    named = ConflictStep.objects.filter(~Exists(standing), step__in=steps).annotate(answered=answered, through=Value(""))
    items = ConflictItem.objects.filter(~Exists(standing)).annotate(answered=answered, through=F("item__code"))
    rows = named.values_list("step", *_HELD).union(*(_through(items, by, steps) for by in ("call_outs", "rivet_rows")))
    found: dict[int, dict[int, OpenConflict]] = defaultdict(dict)
    for step, *told in sorted(rows, key=lambda row: (row[0], row[1], row[4])):
        found[step].setdefault(told[0], OpenConflict(*told))
    return {step: tuple(of.values()) for step, of in found.items()}


def _through(items: Any, by: str, steps: Collection[int]) -> Any:
    """The steps that take an item which rests on a conflict of their own project."""
    step = f"item__{by}__step"
    return items.filter(**{f"{step}__in": steps, f"{step}__project": F("conflict__project")}).values_list(step, *_HELD)


def steps_named(steps: Collection[int]) -> set[int]:
    """Those of `steps` that a conflict or an assembly names: they are part of what people wrote down. Two queries for each 500."""
    found: set[int] = set()
    for batch in batches(steps):
        for model in (ConflictStep, AssemblyStep):
            found.update(model.objects.filter(step__in=batch).values_list("step_id", flat=True))
    return found


# Hands


@dataclass(frozen=True, slots=True)
class Partner:
    """The other item of a pair."""

    pk: int
    code: str
    name: str


@dataclass(frozen=True, slots=True)
class HandRow:
    """What was said of an item: its hand, its mirror image, and what it is mistaken for."""

    item_id: int
    code: str
    name: str
    hand: str
    pair: int | None
    mirror: Partner | None
    lookalikes: tuple[Lookalike, ...]

    @property
    def sided(self) -> Sided:
        """As the cautions read it."""
        return Sided(self.code, self.hand, self.mirror.code if self.mirror else "", self.lookalikes)

    @property
    def said(self) -> bool:
        """Something was said of it at all."""
        return bool(self.hand or self.mirror or self.lookalikes)


@dataclass(frozen=True, slots=True)
class PairRow:
    """A mirrored pair."""

    pk: int
    left: Partner
    right: Partner


@dataclass(frozen=True, slots=True)
class FalseRow:
    """Two items that only look like a pair."""

    pk: int
    one: Partner
    other: Partner
    told_apart: str


@dataclass(frozen=True, slots=True)
class HandsView:
    """All that was said of hands in a workshop."""

    pairs: tuple[PairRow, ...]
    lookalikes: tuple[FalseRow, ...]
    single: tuple[HandRow, ...]


def hands_of(items: Collection[int]) -> dict[int, HandRow]:
    """What was said of these items' hands. Four queries."""
    rows = Item.objects.filter(pk__in=items).order_by("code").values_list("pk", "code", "name")
    return _hands_of({pk: (code, name) for pk, code, name in rows})


def _hands_of(items: Mapping[int, tuple[str, str]]) -> dict[int, HandRow]:
    """Of items by id, each with code and name. Three queries."""
    stated = dict(ItemHand.objects.filter(item__in=items).values_list("item_id", "hand"))
    pairs = _pairs(MirrorPair.objects.filter(Q(left__in=items) | Q(right__in=items)))
    lookalikes = _lookalikes(FalseMirror.objects.filter(Q(one__in=items) | Q(other__in=items)))
    mirrors = {mine.pk: (pair.pk, theirs) for pair in pairs for mine, theirs in ((pair.left, pair.right), (pair.right, pair.left))}
    found: dict[int, HandRow] = {}
    for pk, (code, name) in items.items():
        pair, mirror = mirrors.get(pk, (None, None))
        alike = [
            Lookalike(theirs.code, row.told_apart)
            for row in lookalikes
            for mine, theirs in ((row.one, row.other), (row.other, row.one))
            if mine.pk == pk
        ]
        found[pk] = HandRow(pk, code, name, stated.get(pk, ""), pair, mirror, tuple(alike))
    return found


def hands_by_code() -> dict[str, str]:
    """The items that are left or right, by code. One query."""
    return dict(ItemHand.objects.filter(hand__in=SIDED).values_list("item__code", "hand"))


def hands() -> HandsView:
    """Pairs, false mirrors, and items of which only a hand was said. Three queries."""
    pairs = _pairs(MirrorPair.objects.all())
    paired = {one.pk for pair in pairs for one in (pair.left, pair.right)}
    rows = ItemHand.objects.exclude(item__in=paired).order_by("item__code").values_list("item_id", "item__code", "item__name", "hand")
    single = tuple(HandRow(pk, code, name, hand, None, None, ()) for pk, code, name, hand in rows)
    return HandsView(tuple(pairs), tuple(_lookalikes(FalseMirror.objects.all())), single)


def hand_rows() -> QuerySet[ItemHand]:
    """Hands that were said, each with its pair and the code of its mirror image, null where it has none. One query."""
    return ItemHand.objects.select_related("item").annotate(
        pair=Coalesce("item__right_partner", "item__left_partner"),
        mirror=Coalesce("item__right_partner__right__code", "item__left_partner__left__code"),
    )


def _pairs(rows: QuerySet[MirrorPair]) -> list[PairRow]:
    return [PairRow(row.pk, _partner(row.left), _partner(row.right)) for row in rows.select_related("left", "right").order_by("left__code")]


def _lookalikes(rows: QuerySet[FalseMirror]) -> list[FalseRow]:
    found = rows.select_related("one", "other").order_by("one__code", "other__code")
    return [FalseRow(row.pk, _partner(row.one), _partner(row.other), row.told_apart) for row in found]


def _partner(item: Item) -> Partner:
    return Partner(item.pk, item.code, item.name)


@dataclass(frozen=True, slots=True)
class StepHands:
    """The parts of a step of whose hand something was said, and what to look at twice."""

    parts: tuple[HandRow, ...]
    cautions: tuple[Reason, ...]


def step_hands(step: Step) -> StepHands:
    """The hands of what a step calls out. Four queries, one where it calls nothing out."""
    called = step.call_outs.order_by("item__code").values_list("item_id", "item__code", "item__name")
    parts = tuple(row for row in _hands_of({pk: (code, name) for pk, code, name in called}).values() if row.said)
    return StepHands(parts, cautions(step.hand, [row.sided for row in parts]))


# Conflicts


@dataclass(frozen=True, slots=True)
class Resting:
    """A step that rests on a conflict; `through` is the code of the item that it takes, blank where the step itself was named."""

    pk: int
    code: str
    title: str
    done: bool
    through: str


@dataclass(frozen=True, slots=True)
class ConflictRow:
    """A conflict as the list shows it. `right` is blank while it is open."""

    pk: int
    title: str
    kind: str
    project: str
    project_name: str
    at: datetime
    steps: int
    answered: date | None
    right: str
    settled_on: date | None

    @property
    def open(self) -> bool:
        """Nobody settled it, or somebody opened it again."""
        return not self.right


@dataclass(frozen=True, slots=True)
class ConflictView:
    """A conflict with all that was said of it."""

    conflict: Conflict
    steps: tuple[Resting, ...]
    items: tuple[Partner, ...]
    answers: tuple[MakerAnswer, ...]
    settlements: tuple[Settlement, ...]
    record: Record

    @property
    def settlement(self) -> Settlement | None:
        """The decision that stands."""
        return next((one for one in self.settlements if one.reopened_at is None), None)

    @property
    def open(self) -> bool:
        """Nobody settled it, or somebody opened it again."""
        return self.settlement is None

    @property
    def past(self) -> tuple[Settlement, ...]:
        """Decisions that were taken back."""
        return tuple(one for one in self.settlements if one.reopened_at is not None)

    @property
    def held(self) -> tuple[Resting, ...]:
        """The steps that wait for it."""
        return tuple(step for step in self.steps if not step.done) if self.open else ()


def conflict_rows() -> QuerySet[Conflict]:
    """Conflicts with their standing decision, open ones first, then the newest."""
    standing = Settlement.objects.filter(conflict=OuterRef("pk"), reopened_at=None)
    answers = MakerAnswer.objects.filter(conflict=OuterRef("pk")).order_by("-on")
    return (
        Conflict.objects.select_related("project__bench__workshop", "by")
        .annotate(
            right=Coalesce(Subquery(standing.values("right")), Value("")),
            settled_on=Subquery(standing.values("on")),
            answered=Subquery(answers.values("on")[:1]),
            step_count=Count("steps", distinct=True),
        )
        .order_by(Case(When(right="", then=0), default=1), "-pk")
    )


def conflicts() -> list[ConflictRow]:
    """All conflicts of the workshop, open ones first. One query."""
    return _conflicts(conflict_rows())


def conflicts_of(step: Step) -> list[ConflictRow]:
    """The conflicts that a step rests on, open or settled, named itself or by what it takes. One query."""
    taken = Q(items__item__call_outs__step=step) | Q(items__item__rivet_rows__step=step)
    named = Conflict.objects.filter(Q(steps__step=step) | taken, project=step.project_id)
    return _conflicts(conflict_rows().filter(pk__in=named.values("pk")))


def _conflicts(rows: Any) -> list[ConflictRow]:
    return [
        ConflictRow(
            row.pk, row.title, row.kind, row.project.code, row.project.name, row.at, row.step_count, row.answered, row.right, row.settled_on
        )
        for row in rows
    ]


def conflict_view(conflict: Conflict) -> ConflictView:
    """One conflict. Eight queries."""
    items = [_partner(row.item) for row in ConflictItem.objects.filter(conflict=conflict).select_related("item").order_by("item__code")]
    (record,) = [one for one in track_record() if one.kind == conflict.kind]
    return ConflictView(
        conflict,
        tuple(_resting(conflict, items)),
        tuple(items),
        tuple(MakerAnswer.objects.filter(conflict=conflict).select_related("by").order_by("on", "pk")),
        tuple(Settlement.objects.filter(conflict=conflict).select_related("by", "reopened_by").order_by("pk")),
        record,
    )


def _resting(conflict: Conflict, items: Iterable[Partner]) -> list[Resting]:
    """The steps it names, and those of its project that take an item it names. Two queries."""
    named = set(ConflictStep.objects.filter(conflict=conflict).values_list("step_id", flat=True))
    codes = {item.pk: item.code for item in items}
    taken = Q(call_outs__item__in=codes) | Q(rivet_rows__rivet__in=codes)
    rows = Step.objects.filter(Q(pk__in=named) | taken, project=conflict.project_id).order_by("position")
    found: dict[int, Resting] = {}
    for pk, code, title, done, called, rivet in rows.values_list("pk", "code", "title", "done", "call_outs__item", "rivet_rows__rivet"):
        through = "" if pk in named else codes.get(called) or codes.get(rivet) or ""
        if pk not in found or (through and not found[pk].through):
            found[pk] = Resting(pk, code, title, done, through)
    return list(found.values())


def track_record() -> tuple[Record, ...]:
    """How often which source turned out right in this workshop, by kind. One query."""
    rows = Settlement.objects.filter(reopened_at=None).values_list("conflict__kind", "right")
    return records(rows, Matter.values)
