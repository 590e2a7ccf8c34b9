"""A step's own history as one list in words: who changed what, when. From the histories of its rows, its finishes and the log."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from itertools import groupby
from typing import Any

from buildplan.hardware.models import RivetRow
from buildplan.logbook.deeds import Accepted, Deeds, Mixed
from buildplan.logbook.models import LogEntry
from buildplan.logbook.queries import SignatureRow
from buildplan.plan.models import CallOut, Finish, Step
from buildplan.sealing.models import Seam
from inventory.common.fields import plain
from inventory.photos.queries import PhotoRow

MOST = 60  # lines that are shown, the latest
NOBODY = "somebody"
ARROW = "\N{RIGHTWARDS ARROW}"
DONE = {f"changed done no {ARROW} yes", f"changed done yes {ARROW} no"}
AT_ONCE = timedelta(seconds=30)
MADE, GONE = "+", "-"


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
    items: Sequence[str] = ()
    steps: Sequence[str] = ()
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
    before: Mapping[str, Any]
    items: Mapping[int, str]
    steps: Mapping[int, str]


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
        ("clecos_until_id",),
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


def story(done: Deeds, photos: Iterable[PhotoRow] = (), most: int = MOST) -> Story:
    """All that happened to a step, the latest first, beside what was `done` to it. Five queries."""
    events = sorted(_events(done, photos), key=lambda event: event.at, reverse=True)
    return Story(tuple(events[:most]), max(0, len(events) - most))


def _events(done: Deeds, photos: Iterable[PhotoRow]) -> Iterator[Event]:
    finishes = list(_finishes(done.finishes))
    yield from finishes
    yield from (event for event in _changed(done.step) if not _said_by_a_finish(event, finishes))
    yield from _mixes(done.mixed)
    yield from _accepted(done.accepted)
    yield from _log(done.step)
    yield from _signatures(done.signed)
    for photo in photos:
        yield Event(photo.at, photo.by, f"took a photo{f': {photo.caption}' if photo.caption else ''}")


def _said_by_a_finish(event: Event, finishes: Sequence[Event]) -> bool:
    """A finish marks the step done in the same transaction: one line for both will do."""
    return event.text in DONE and any(abs(event.at - finish.at) < AT_ONCE for finish in finishes)


# Rows that people edit


def _changed(step: Step) -> Iterator[Event]:
    changes = [change for kind in _KINDS for change in _changes(kind, step)]
    items = {pk: code for change in changes for pk, code in change.items.items()}
    steps = {pk: code for change in changes for pk, code in change.steps.items()}
    for _, alike in groupby(changes, key=lambda change: (change.word, change.what, change.at, change.who)):
        yield from _told(list(alike), items, steps)


def _changes(kind: _Kind, step: Step) -> Iterator[_Change]:
    """The versions of the rows of a kind, each with the one before, and the codes of what they name. One query."""
    history = kind.model.history.model.objects
    columns = (*kind.columns, *((kind.name,) if kind.name and kind.name not in kind.columns else ()))
    said = ("id", "history_date", "history_type", "history_user__name", "history_change_reason")
    before: dict[int, Mapping[str, Any]] = {}
    rows = history.filter(**{kind.where: step.pk}).order_by("history_date", "history_id")
    named = [f"{column.removesuffix('_id')}__code" for column in (*kind.items, *kind.steps)]
    for pk, at, what, who, why, *values in rows.values_list(*said, *columns, *named):
        now = dict(zip(columns, values[: len(columns)], strict=True))
        codes = dict(zip((*kind.items, *kind.steps), values[len(columns) :], strict=True))
        items, steps = _coded(kind.items, now, codes), _coded(kind.steps, now, codes)
        yield _Change(at, who or NOBODY, kind.word, now.get(kind.name), what, why or "", now, before.get(pk, {}), items, steps)
        before[pk] = now


def _coded(columns: Iterable[str], row: Mapping[str, Any], codes: Mapping[str, str | None]) -> dict[int, str]:
    """The codes of what a row names, by id; what is gone has none."""
    return {row[column]: code for column in columns if (code := codes[column]) is not None}


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


def _finishes(finishes: Iterable[Finish]) -> Iterator[Event]:
    for one in finishes:
        note = f": {one.note}" if one.note else ""
        yield Event(one.at, one.by.name, f"finished it on {one.on}{', without movements' if one.without_movements else ''}{note}")
        if one.taken_back_at:
            back_by = one.taken_back_by.name if one.taken_back_by else ""
            yield Event(one.taken_back_at, back_by or NOBODY, f"took back that it was done on {one.on}: what it took lies where it lay")


def _mixes(mixed: Iterable[Mixed]) -> Iterator[Event]:
    for one in mixed:
        hands = f", mixed by {one.mixed_by}" if one.mixed_by != one.by else ""
        yield Event(one.at, one.by, f"wrote down {plain(one.grams)} g of a batch of {one.item} mixed for it{hands}")
        if one.taken_back_at:
            yield Event(one.taken_back_at, one.taken_back_by or NOBODY, f"took a batch of {one.item} back")


def _accepted(accepted: Iterable[Accepted]) -> Iterator[Event]:
    for one in accepted:
        yield Event(one.at, one.by, f"accepted {one.served_by} in place of {one.wanted}: {one.note}")
        if one.withdrawn_at:
            yield Event(one.withdrawn_at, one.withdrawn_by or NOBODY, f"withdrew {one.served_by} in place of {one.wanted}")


def _log(step: Step) -> Iterator[Event]:
    """Entries of the log and their changes. One query."""
    written: dict[int, date] = {}
    history = LogEntry.history.model.objects.filter(step_id=step.pk).order_by("history_date", "history_id")
    said = ("id", "history_date", "history_type", "history_user__name", "history_change_reason", "on", "struck_why")
    for pk, at, what, who, why, on, struck in history.values_list(*said):
        text = _entry_words(what, on, struck, written.get(pk))
        yield Event(at, who or NOBODY, f"{text}, {why}" if why else text)
        written[pk] = on


def _signatures(signed: Iterable[tuple[SignatureRow, date | None]]) -> Iterator[Event]:
    """Who saw entries or the step."""
    for one, on in signed:
        of = f"the log entry of {on}" if on else "the step"
        yield Event(one.at, one.name, f"has seen {of}: {one.statement}")
        if one.withdrawn_at:
            yield Event(one.withdrawn_at, one.withdrawn_by or NOBODY, f"withdrew the signature on {of}: {one.withdrawn_why}")


def _entry_words(what: str, on: date, struck: str, before: date | None) -> str:
    if what == MADE:
        return f"wrote the log entry of {on}"
    if struck:
        return f"struck out the log entry of {on}: {struck}"
    moved = f", which was of {before}" if before not in {None, on} else ""
    return f"changed the log entry of {on}{moved}"
