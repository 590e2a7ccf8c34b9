"""A step's own history as one list in words: who changed what, when. From the histories of its rows, its finishes and the log."""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from itertools import groupby
from typing import Any

from buildplan.hardware.models import RivetRow, Substitution
from buildplan.logbook.models import LogEntry, Signature
from buildplan.plan.models import CallOut, Finish, Step
from buildplan.sealing.models import MixShare, Seam
from inventory.common.fields import plain
from inventory.models import Item
from inventory.photos.queries import PhotoRow

MOST = 60  # lines that are shown, the latest
NOBODY = "somebody"
ARROW = "\N{RIGHTWARDS ARROW}"
DONE = {f"changed done no {ARROW} yes", f"changed done yes {ARROW} no"}
AT_ONCE = timedelta(seconds=30)
MADE, GONE = "+", "-"
NONE = 0  # no row's id: asked for too, so that a page costs as many queries whatever changed


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened to a step."""

    at: datetime
    who: str
    text: str


@dataclass(frozen=True, slots=True)
class Story:
    """What happened to a step, the latest first. `more` is how many earlier lines are left out."""

    events: tuple[Event, ...]
    more: int = 0


@dataclass(frozen=True, slots=True)
class _Kind:
    """Rows of a step whose history counts: what one is called, and its columns with their words."""

    model: type[Any]
    word: str
    name: str
    columns: Mapping[str, str]
    items: Collection[str] = ()
    where: str = "step_id"


@dataclass(slots=True)
class _Change:
    at: datetime
    who: str
    word: str
    name: Any
    what: str
    why: str
    now: Mapping[str, Any]
    before: Mapping[str, Any] = field(default_factory=dict)


_STEP = _Kind(
    Step,
    "the step",
    "",
    {
        "code": "code",
        "title": "title",
        "planned_on": "planned day",
        "minutes": "minutes",
        "people": "people it takes",
        "hand": "hand",
        "done": "done",
    },
    where="id",
)
_KINDS = (
    _STEP,
    _Kind(CallOut, "call-out", "item_id", {"quantity": "quantity"}, ("item_id",)),
    _Kind(
        RivetRow,
        "rivet row",
        "code",
        {
            "rivet_id": "rivet",
            "holes": "holes",
            "grip": "grip in inches",
            "cleco_every": "a cleco in every n-th hole",
            "cleco_id": "cleco",
            "clecos_until_id": "step that takes them off",
        },
        ("rivet_id", "cleco_id"),
    ),
    _Kind(
        Seam,
        "seam",
        "code",
        {
            "sealant_id": "sealant",
            "shape": "shape",
            "length": "length",
            "unit": "unit",
            "leg_a": "first leg",
            "leg_b": "second leg",
            "thickness": "thickness",
            "size_unit": "unit of sizes",
            "count": "count",
            "grams_each": "grams each",
            "loss_percent": "loss in percent",
        },
        ("sealant_id",),
    ),
)


def story(step: Step, photos: Iterable[PhotoRow] = (), most: int = MOST) -> Story:
    """All that happened to a step, the latest first. Eleven queries."""
    events = sorted(_events(step, photos), key=lambda event: event.at, reverse=True)
    return Story(tuple(events[:most]), max(0, len(events) - most))


def _events(step: Step, photos: Iterable[PhotoRow]) -> Iterator[Event]:
    finishes = list(_finishes(step))
    yield from finishes
    yield from (event for event in _changed(step) if not _said_by_a_finish(event, finishes))
    yield from _mixes(step)
    yield from _accepted(step)
    yield from _log(step)
    for photo in photos:
        yield Event(photo.at, photo.by, f"took a photo{f': {photo.caption}' if photo.caption else ''}")


def _said_by_a_finish(event: Event, finishes: Sequence[Event]) -> bool:
    """A finish marks the step done in the same transaction: one line for both will do."""
    return event.text in DONE and any(abs(event.at - finish.at) < AT_ONCE for finish in finishes)


# Rows that people edit


def _changed(step: Step) -> Iterator[Event]:
    changes = [change for kind in _KINDS for change in _changes(kind, step)]
    items, steps = _codes(changes), _step_codes(changes)
    for _, alike in groupby(changes, key=lambda change: (change.word, change.what, change.at, change.who)):
        yield from _told(list(alike), items, steps)


def _changes(kind: _Kind, step: Step) -> Iterator[_Change]:
    """The versions of the rows of a kind, each with the one before. One query."""
    history = kind.model.history.model.objects
    columns = (*kind.columns, *((kind.name,) if kind.name and kind.name not in kind.columns else ()))
    said = ("id", "history_date", "history_type", "history_user__name", "history_change_reason")
    before: dict[int, Mapping[str, Any]] = {}
    rows = history.filter(**{kind.where: step.pk}).order_by("history_date", "history_id").values_list(*said, *columns)
    for pk, at, what, who, why, *values in rows:
        now = dict(zip(columns, values, strict=True))
        yield _Change(at, who or NOBODY, kind.word, now.get(kind.name), what, why or "", now, before.get(pk, {}))
        before[pk] = now


def _codes(changes: Iterable[_Change]) -> dict[int, str]:
    """The codes of the items that changes name. One query."""
    columns = {column for kind in _KINDS for column in kind.items}
    wanted = {value for change in changes for row in (change.now, change.before) for name, value in row.items() if name in columns}
    return dict(Item.objects.filter(pk__in=(wanted - {None}) | {NONE}).values_list("pk", "code"))


def _step_codes(changes: Iterable[_Change]) -> dict[int, str]:
    wanted = {pk for change in changes for row in (change.now, change.before) if (pk := row.get("clecos_until_id"))}
    return dict(Step.objects.filter(pk__in={NONE, *wanted}).values_list("pk", "code"))


def _told(alike: Sequence[_Change], items: Mapping[int, str], steps: Mapping[int, str]) -> Iterator[Event]:
    """One line for rows that were made or removed together, else a line each."""
    first = alike[0]
    if first.word == _STEP.word and first.what == MADE:
        yield Event(first.at, first.who, f"wrote the step{_because(first)}")
    elif first.what in {MADE, GONE}:
        names = ", ".join(_named(change, items) for change in alike)
        several = f"{len(alike)} {first.word}s" if len(alike) > 1 else f"the {first.word}"
        yield Event(first.at, first.who, f"{'wrote' if first.what == MADE else 'removed'} {several} {names}{_because(first)}")
    else:
        yield from (event for change in alike if (event := _differs(change, items, steps)))


def _named(change: _Change, items: Mapping[int, str]) -> str:
    name = items.get(change.name, "?") if isinstance(change.name, int) else change.name
    quantity = change.now.get("quantity")
    return f"{name} ({plain(quantity)})" if isinstance(quantity, Decimal) else str(name)


def _differs(change: _Change, items: Mapping[int, str], steps: Mapping[int, str]) -> Event | None:
    words = next(kind.columns for kind in _KINDS if kind.word == change.word)
    said = [
        f"{word} {_value(name, change.before.get(name), items, steps)} {ARROW} {_value(name, change.now[name], items, steps)}"
        for name, word in words.items()
        if change.before and change.before.get(name) != change.now[name]
    ]
    if not said:
        return None
    what = "" if change.word == _STEP.word else f"{change.word} {_named(change, items).split(' (')[0]}: "
    return Event(change.at, change.who, f"changed {what}{', '.join(said)}{_because(change)}")


def _value(name: str, value: Any, items: Mapping[int, str], steps: Mapping[int, str]) -> str:
    if value is None or value == "":
        return "none"
    show: Mapping[str, Callable[[Any], str]] = {"clecos_until_id": lambda pk: steps.get(pk, "?")}
    if name in show:
        return show[name](value)
    if name.endswith("_id"):
        return items.get(value, "?")
    if isinstance(value, bool):
        return "yes" if value else "no"
    return plain(value) if isinstance(value, Decimal) else str(value)


def _because(change: _Change) -> str:
    return f": {change.why}" if change.why else ""


# What was done


def _finishes(step: Step) -> Iterator[Event]:
    columns = ("at", "by__name", "on", "without_movements", "note", "taken_back_at", "taken_back_by__name")
    for at, who, on, silent, note, back, back_by in Finish.objects.filter(step=step).values_list(*columns):
        yield Event(at, who, f"finished it on {on}{', without movements' if silent else ''}{f': {note}' if note else ''}")
        if back:
            yield Event(back, back_by or NOBODY, f"took back that it was done on {on}: what it took lies where it lay")


def _mixes(step: Step) -> Iterator[Event]:
    columns = ("mix__at", "mix__by__name", "grams", "mix__item__code", "mix__mixed_by", "mix__taken_back_at", "mix__taken_back_by__name")
    for at, who, grams, item, mixed_by, back, back_by in MixShare.objects.filter(step=step).values_list(*columns):
        hands = f", mixed by {mixed_by}" if mixed_by != who else ""
        yield Event(at, who, f"wrote down {plain(grams)} g of a batch of {item} mixed for it{hands}")
        if back:
            yield Event(back, back_by or NOBODY, f"took a batch of {item} back")


def _accepted(step: Step) -> Iterator[Event]:
    columns = ("at", "by__name", "wanted__code", "served_by__code", "note", "withdrawn_at", "withdrawn_by__name")
    for at, who, wanted, served_by, note, back, back_by in Substitution.objects.filter(step=step).values_list(*columns):
        yield Event(at, who, f"accepted {served_by} in place of {wanted}: {note}")
        if back:
            yield Event(back, back_by or NOBODY, f"withdrew {served_by} in place of {wanted}")


def _log(step: Step) -> Iterator[Event]:
    """Entries of the log, their changes, and who saw them or the step. Two queries."""
    written: dict[int, date] = {}
    history = LogEntry.history.model.objects.filter(step_id=step.pk).order_by("history_date", "history_id")
    said = ("id", "history_date", "history_type", "history_user__name", "history_change_reason", "on", "struck_why")
    for pk, at, what, who, why, on, struck in history.values_list(*said):
        text = _entry_words(what, on, struck, written.get(pk))
        yield Event(at, who or NOBODY, f"{text}, {why}" if why else text)
        written[pk] = on
    columns = ("at", "name", "entry__on", "statement", "withdrawn_at", "withdrawn_by__name", "withdrawn_why")
    signed = Signature.objects.filter(step=step) | Signature.objects.filter(entry__step=step)
    for at, who, on, statement, back, back_by, why in signed.values_list(*columns):
        of = f"the log entry of {on}" if on else "the step"
        yield Event(at, who, f"has seen {of}: {statement}")
        if back:
            yield Event(back, back_by or NOBODY, f"withdrew the signature on {of}: {why}")


def _entry_words(what: str, on: date, struck: str, before: date | None) -> str:
    if what == MADE:
        return f"wrote the log entry of {on}"
    if struck:
        return f"struck out the log entry of {on}: {struck}"
    moved = f", which was of {before}" if before not in {None, on} else ""
    return f"changed the log entry of {on}{moved}"
