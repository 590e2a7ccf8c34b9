"""Ticking lines of a pick list off, and taking ticks back. Nothing moves: the finish of a step does that."""

from collections.abc import Collection, Iterable
from datetime import datetime

from django.db import transaction

from buildplan.tonight.models import MOST_STEPS, PickTick
from buildplan.tonight.picking import Line, NotPicked, Scanned, line_of
from buildplan.tonight.walk import Pick, Walk, list_of
from buildplan.wanted.queries import unknown
from inventory.common.problems import Problem
from inventory.common.rows import find_or_make
from inventory.models import Lot, Member
from inventory.scanning import lookups
from inventory.workshop import policy


class NotOnTheList(Problem):
    """A line was pressed that the list has no more."""

    status = 409
    title = "Not on the list any more"


class TooManySteps(Problem):
    """More steps than one list can keep ticks of."""

    title = "Too many steps"


@transaction.atomic
def tick(*, walk: Walk, key: str, by: Member, now: datetime) -> Pick:
    """Tick a line off. One that is ticked already stays as it is."""
    _require(walk, by)
    pick = next((pick for pick in walk.lines if pick.key == key), None)
    if pick is None:
        raise NotOnTheList("the list has changed, and this line is no more on it: look at it anew")
    named = {"workshop": by.workshop, "steps": list_of(walk.asked), "lot_id": pick.lot_id, "place_id": pick.place_id}

    def make() -> PickTick:
        return PickTick.objects.create(**named, quantity=pick.quantity, by=by, at=now)

    find_or_make(lambda: PickTick.objects.filter(**named).first(), make)
    return pick


@transaction.atomic
def scan(*, walk: Walk, code: str, by: Member, now: datetime) -> Pick:
    """Tick off the line that a scanned or typed code means: a lot, an item, or a place where one line is left."""
    _require(walk, by)
    ticked = set(ticks(walk))
    lines = [Line(pick.key, pick.item_id, pick.item, pick.lot_id, pick.lot, pick.place_id, path) for path, pick in walk.picked]
    return tick(walk=walk, key=line_of(_meaning(code, now, {pick.lot_id for pick in walk.lines}), lines, ticked).key, by=by, now=now)


def _meaning(code: str, now: datetime, listed: Collection[int]) -> Scanned:
    """What a code means. One that nothing is taught may be a lot's own, as the maker printed it: of several, one on the list first."""
    known = lookups.look_up(texts=[code], places=[code], bags=(), loose=(), today=now.date())
    meaning = known.meanings[code]
    if place := meaning.place or known.places.get(code):
        return Scanned(place_id=place.pk, path=place.path)
    if meaning.bag is not None:
        raise NotPicked("this is a bag's label: put away what it holds, and scan the place or the lot")
    if meaning.thing is None:
        lots = sorted(Lot.objects.filter(code__iexact=code).select_related("item"), key=lambda lot: lot.pk not in listed)
        if not code or not lots:
            raise NotPicked(str(unknown(code, meaning.reading)))
        return Scanned(lots[0].item_id, lots[0].item.code, lots[0].pk, lots[0].code)
    lot_id, lot = (meaning.lot.pk, meaning.lot.code) if meaning.lot else (None, meaning.lot_code)
    return Scanned(meaning.thing.pk, meaning.thing.code, lot_id, lot)


@transaction.atomic
def untick(*, walk: Walk, keys: Iterable[str] | None, by: Member) -> None:
    """Take ticks back; None takes all of the list's. One that is gone already is no fault."""
    _require(walk, by)
    rows = PickTick.objects.filter(steps=list_of(walk.asked))
    wanted = None if keys is None else set(keys)
    rows.filter(pk__in=[row.pk for key, row in ticks(walk).items() if wanted is None or key in wanted]).delete()


def ticks(walk: Walk) -> dict[str, PickTick]:
    """The list's ticks by the keys of its lines, with who made each. One query."""
    rows = PickTick.objects.filter(steps=list_of(walk.asked)).select_related("by")
    return {f"{row.lot_id}-{row.place_id}": row for row in rows}


def _require(walk: Walk, by: Member) -> None:
    if len(walk.asked) > MOST_STEPS:
        raise TooManySteps(f"ticks are kept for {MOST_STEPS} steps at once: choose fewer on Tonight")
    for bench in {step.project.bench for step in walk.steps}:
        policy.require(by, "use_stock", bench)
