"""What a step's page says of the log: entries, photos, who saw it, its history, who may serve."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django import template

from buildplan.hardware.models import Substitution
from buildplan.logbook import queries, services
from buildplan.logbook.calc import clock
from buildplan.logbook.queries import EntryRow, SignatureRow
from buildplan.logbook.story import Story, story
from buildplan.logbook.took import Took, took
from buildplan.plan.calc import step_ref
from buildplan.plan.models import Step
from inventory.models import BenchHolder
from inventory.photos.queries import PhotoRow
from inventory.photos.queries import of as photos_of
from inventory.workshop import policy

register = template.Library()


@dataclass(frozen=True, slots=True)
class Served:
    """What an inspector accepted in place of what the plans name."""

    wanted: str
    served_by: str
    by: str


@dataclass(frozen=True, slots=True)
class StepLog:
    """All that the log and the histories tell of a step."""

    entries: tuple[EntryRow, ...]
    took: tuple[Took, ...]
    photos: tuple[PhotoRow, ...]
    signatures: tuple[SignatureRow, ...]
    story: Story
    served: tuple[Served, ...]
    holders: tuple[str, ...]
    may_write: bool
    may_sign: bool

    @property
    def minutes(self) -> int:
        """Of all entries."""
        return sum(entry.minutes for entry in self.entries)

    @property
    def time(self) -> str:
        """The same as hours and minutes."""
        return clock(self.minutes)


@register.simple_tag(takes_context=True)
def log_of(context: Mapping[str, Any], step: Step) -> StepLog:
    """The log of a step for whoever looks at it. A fixed number of queries."""
    member = context["request"].member
    photos = photos_of([step_ref(step.pk)])[step_ref(step.pk)]
    entries = queries.entries(step.pk)
    lots = entries[0].took if entries else took([step.pk]).get(step.pk, ())
    signatures = queries.step_signatures(step, lots, photos)
    signed = any(one.stands and one.by_id == member.pk for one in signatures)
    return StepLog(
        entries=entries,
        took=lots,
        photos=tuple(photos),
        signatures=signatures,
        story=story(step, photos),
        served=_served(step),
        holders=tuple(
            BenchHolder.objects.filter(bench=step.project.bench_id).order_by("member__name").values_list("member__name", flat=True)
        ),
        may_write=policy.allowed(member, "write_log", step.project.bench),
        may_sign=not signed and services.may_sign(member),
    )


def _served(step: Step) -> tuple[Served, ...]:
    rows = Substitution.objects.filter(step=step, withdrawn_at=None).order_by("pk")
    return tuple(Served(*row) for row in rows.values_list("wanted__code", "served_by__code", "by__name"))
