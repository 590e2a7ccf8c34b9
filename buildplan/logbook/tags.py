"""What a step's page says of the log: entries, photos, who saw it, its history, who may serve."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django import template

from buildplan.logbook import queries, services
from buildplan.logbook.calc import clock
from buildplan.logbook.deeds import Accepted, deeds
from buildplan.logbook.queries import EntryRow, SignatureRow
from buildplan.logbook.story import Story, story
from buildplan.logbook.took import Took
from buildplan.plan.calc import step_ref
from buildplan.plan.models import Finish, Step
from inventory.models import BenchHolder
from inventory.photos.queries import PhotoRow
from inventory.photos.queries import of as photos_of
from inventory.workshop import policy

register = template.Library()


@dataclass(frozen=True, slots=True)
class StepLog:
    """All that the log and the histories tell of a step."""

    entries: tuple[EntryRow, ...]
    took: tuple[Took, ...]
    photos: tuple[PhotoRow, ...]
    signatures: tuple[SignatureRow, ...]
    story: Story
    served: tuple[Accepted, ...]
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
def log_of(context: Mapping[str, Any], step: Step, finishes: Sequence[Finish]) -> StepLog:
    """The log of a step for whoever looks at it; `finishes` are all of it, with who. A fixed number of queries."""
    member = context["request"].member
    photos = photos_of([step_ref(step.pk)])[step_ref(step.pk)]
    done = deeds(step, finishes)
    lots = done.took()
    entries = queries.entries(step.pk, lots)
    signatures = queries.step_signatures(step, [one for one, _ in done.signed], lots, photos)
    signed = any(one.stands and one.by_id == member.pk for one in signatures)
    return StepLog(
        entries=entries,
        took=lots,
        photos=tuple(photos),
        signatures=signatures,
        story=story(done, photos),
        served=done.served,
        holders=tuple(
            BenchHolder.objects.filter(bench=step.project.bench_id).order_by("member__name").values_list("member__name", flat=True)
        ),
        may_write=policy.allowed(member, "write_log", step.project.bench),
        may_sign=not signed and services.may_sign(member),
    )
