"""Who did the steps of a trace, and who has seen them: from the builder's log."""

from collections import defaultdict
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any, NamedTuple

from django.db.models import Q

from buildplan.logbook.models import LogHours, Signature
from buildplan.plan.models import Finish


class Worked(NamedTuple):
    """Who worked how long on a step; somebody who wrote it done only has no minutes."""

    step: str
    name: str
    minutes: int
    first: date
    last: date


class Seen(NamedTuple):
    """Who has seen a step or an entry of its log, and what they say of it. It approves nothing."""

    step: str
    name: str
    role: str
    licence: str
    statement: str
    at: datetime


def worked(where: Mapping[str, Any]) -> tuple[Worked, ...]:
    """By the hours of the log, and by who finished the steps. Two queries."""
    found: dict[tuple[str, str], list[tuple[int, date]]] = defaultdict(list)
    on = {f"entry__step__{name}": value for name, value in where.items()}
    rows = LogHours.objects.filter(**on, entry__struck_at=None).order_by("pk").distinct()
    for _, step, member, name, minutes, day in rows.values_list("pk", "entry__step__code", "member__name", "name", "minutes", "entry__on"):
        found[step, member or name].append((minutes, day))
    done = {f"step__{name}": value for name, value in where.items()}
    for _, step, name, day in (
        Finish.objects.filter(**done, taken_back_at=None).order_by("pk").distinct().values_list("pk", "step__code", "by__name", "on")
    ):
        found[step, name].append((0, day))
    return tuple(
        Worked(step, name, sum(minutes for minutes, _ in spans), min(day for _, day in spans), max(day for _, day in spans))
        for (step, name), spans in sorted(found.items())
    )


def seen(where: Mapping[str, Any]) -> tuple[Seen, ...]:
    """Signatures that stand, of the steps and of entries about them. One query."""
    of_step = Q(**{f"step__{name}": value for name, value in where.items()})
    of_entry = Q(**{f"entry__step__{name}": value for name, value in where.items()})
    rows = Signature.objects.filter(of_step | of_entry, withdrawn_at=None).order_by("at", "pk").distinct()
    columns = ("pk", "step__code", "entry__step__code", "name", "role", "licence", "statement", "at")
    return tuple(Seen(step or of_log, *rest) for _, step, of_log, *rest in rows.values_list(*columns))
