"""Reads of notices, each in a fixed number of queries."""

from dataclasses import dataclass

from django.db.models import Count, F, Max, Q, QuerySet

from buildplan.trace.models import Notice, NoticeLetter, Sweep, Task
from buildplan.trace.sweeping import Found, sweep


def notices() -> QuerySet[Notice]:
    """All of the workshop, the last issued first, with how much of each work list is to do."""
    return (
        Notice.objects.select_related("by")
        .annotate(
            tasks_all=Count("tasks", distinct=True),
            tasks_open=Count("tasks", filter=Q(tasks__ticked_at=None), distinct=True),
            swept_at=Max("sweeps__at"),
        )
        .order_by("-issued_on", "-pk")
    )


def still_to_look_at() -> int:
    """Things of all work lists that nobody has looked at, save those that the last sweep found no more. One query."""
    newest = Max("notice__sweeps__number")
    return Task.objects.filter(ticked_at=None).annotate(newest=newest).filter(last__number=F("newest")).count()


def items_of(notice: Notice) -> list[str]:
    """Codes of the items that a notice names. One query."""
    return list(notice.items.order_by("item__code").values_list("item__code", flat=True))


@dataclass(frozen=True, slots=True)
class TaskRow:
    """A line of a work list. `new`: the last sweep found it first; `gone`: it found it no more; `worse`: it is, since it was ticked."""

    task: Task
    new: bool
    gone: bool
    worse: bool


@dataclass(frozen=True, slots=True)
class NoticeView:
    """A notice with its last sweep, the work list, and the letters. `now` is what a sweep would find now."""

    notice: Notice
    items: tuple[str, ...]
    sweeps: tuple[Sweep, ...]
    tasks: tuple[TaskRow, ...]
    letters: tuple[NoticeLetter, ...]
    now: Found

    @property
    def last(self) -> Sweep | None:
        """The last sweep."""
        return self.sweeps[0] if self.sweeps else None

    @property
    def open(self) -> tuple[TaskRow, ...]:
        """What nobody has looked at."""
        return tuple(row for row in self.tasks if row.task.ticked_at is None)

    @property
    def unlisted(self) -> int:
        """How many things a sweep would find now that are not on the list."""
        known = {row.task.subject for row in self.tasks}
        return sum(1 for one in self.now.to_look if one.subject not in known)


_TASK = ("first", "last", "bench", "lot__item", "place", "step__project", "line__crate", "holder", "ticked_by", "notice")


def task_rows(notice: Notice, last: Sweep | None) -> tuple[TaskRow, ...]:
    """The work list: what is to do first, the worst of it first. One query."""
    rows = list(Task.objects.filter(notice=notice).select_related(*_TASK).order_by("verdict", "where", "pk"))
    rows.sort(key=lambda task: (task.ticked_at is not None, task.verdict))
    number = last.number if last else 0
    return tuple(
        TaskRow(
            task,
            new=task.first.number == number and number > 1,
            gone=task.last.number < number,
            worse=bool(task.ticked_as) and task.ticked_as != task.verdict and task.verdict == "affected",
        )
        for task in rows
    )


def view(notice: Notice) -> NoticeView:
    """All of one notice. Some forty queries, most of them those of a sweep."""
    sweeps = tuple(notice.sweeps.select_related("by").order_by("-number"))
    letters = tuple(letters_of(notice))
    return NoticeView(notice, tuple(items_of(notice)), sweeps, task_rows(notice, sweeps[0] if sweeps else None), letters, sweep(notice))


def letters_of(notice: Notice) -> QuerySet[NoticeLetter]:
    """Its letters, the last sweep's first. One query."""
    return NoticeLetter.objects.filter(notice=notice).select_related("member", "sweep").order_by("-sweep__number", "member__name", "pk")


def tasks() -> QuerySet[Task]:
    """Lines of work lists with all that is shown of them."""
    return Task.objects.select_related(*_TASK)
