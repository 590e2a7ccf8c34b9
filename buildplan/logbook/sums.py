"""Hours of the log, summed by section and by person."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Sum

from buildplan.logbook.calc import clock, summed
from buildplan.logbook.models import LogHours
from buildplan.logbook.queries import Asked


@dataclass(frozen=True, slots=True)
class HoursSum:
    """Minutes of a section, or of a person."""

    name: str
    minutes: int
    section: int | None = None

    @property
    def time(self) -> str:
        """As hours and minutes."""
        return clock(self.minutes)


@dataclass(frozen=True, slots=True)
class Sums:
    """The hours of a part of the log."""

    minutes: int
    sections: tuple[HoursSum, ...]
    people: tuple[HoursSum, ...]

    @property
    def time(self) -> str:
        """All of it as hours and minutes."""
        return clock(self.minutes)


GENERAL = "of no step"


def sums(asked: Asked) -> Sums:
    """Hours by section in plan order, and by person, the most first. What is struck out counts none. One query."""
    standing = asked.entries().filter(struck_at=None).order_by()
    counted = LogHours.objects.filter(entry__in=standing.values("pk"))
    if asked.member is not None:
        counted = counted.filter(member=asked.member)
    section = "entry__step__section"
    columns = (f"{section}_id", f"{section}__name", f"{section}__position", "entry__project__code", "member_id", "member__name", "name")
    found = list(counted.order_by().values_list(*columns).annotate(total=Sum("minutes")))
    several = len({row[3] for row in found}) > 1
    found.sort(key=lambda row: (row[3], row[2] is None, row[2] or 0))
    sections = summed(((row[0], _section_name(row, several=several)), row[7]) for row in found)
    people = summed(((row[4], row[5] or row[6]), row[7]) for row in found)
    ordered = sorted(people.items(), key=lambda pair: (-pair[1], pair[0][1]))
    return Sums(
        sum(row[7] for row in found),
        tuple(HoursSum(name, minutes, pk) for (pk, name), minutes in sections.items()),
        tuple(HoursSum(name, minutes) for (_, name), minutes in ordered),
    )


def _section_name(row: Sequence[Any], *, several: bool) -> str:
    name = row[1] or GENERAL
    return f"{row[3]}: {name}" if several else name
