"""What the API shows and reads of traces and notices."""

from typing import Any

from rest_framework import serializers

from buildplan.trace.models import VERDICTS, Notice, Task, Where
from buildplan.trace.services import (
    MOST_CODE,
    MOST_CODES,
    MOST_ITEMS,
    MOST_MAKER,
    MOST_NOTE,
    MOST_OUTCOME,
    MOST_REFERENCE,
    MOST_TEXT,
    MOST_TITLE,
)
from inventory.common.api_fields import ReasonOut

SURE = [(one, one) for one in ("certain", "possible", "not")]
_DAY = {"required": False, "allow_null": True, "default": None}


class TraceAsked(serializers.Serializer[Any]):
    """What to trace: one of `lot`, `code`, `project` and `assembly`."""

    lot = serializers.CharField(required=False, max_length=20, help_text="the id of a lot: where it went")
    code = serializers.CharField(required=False, max_length=80, help_text="a maker's lot code: where all of it went")
    item = serializers.CharField(required=False, max_length=80, help_text="with `code`: of this item alone")
    project = serializers.CharField(required=False, max_length=40, help_text="the code of a project: what went into it")
    step = serializers.CharField(required=False, max_length=40, help_text="with `project`: what went into this step")
    section = serializers.CharField(required=False, max_length=120, help_text="with `project`: what went into this section")
    assembly = serializers.CharField(required=False, max_length=20, help_text="the id of an assembly: what went into it")


class TracedLotOut(serializers.Serializer[Any]):
    """A lot, and in lists how sure it is; dates as its label states them."""

    id = serializers.IntegerField()
    code = serializers.CharField()
    item = serializers.CharField()
    bench = serializers.CharField()
    state = serializers.CharField()
    made = serializers.CharField(allow_null=True)
    expires = serializers.CharField(allow_null=True)
    certainty = serializers.ChoiceField(SURE, required=False)


class TraceLineOut(serializers.Serializer[Any]):
    """One place where goods went. `taken` is the lot as which they were taken, where that isn't the one that is traced."""

    certainty = serializers.ChoiceField(SURE)
    kind = serializers.CharField()
    project = serializers.CharField(allow_null=True)
    section = serializers.CharField(allow_null=True)
    step = serializers.CharField(allow_null=True)
    title = serializers.CharField(allow_null=True)
    bench = serializers.CharField(allow_null=True)
    lot = TracedLotOut(allow_null=True)
    taken = TracedLotOut(allow_null=True)
    choices = serializers.ListField(child=serializers.IntegerField(), help_text="ids of the lots of which it may be any")
    quantity = serializers.CharField(allow_null=True)
    unit = serializers.CharField()
    on = serializers.DateField(allow_null=True)
    by = serializers.CharField()
    place = serializers.CharField()
    what = serializers.CharField()
    closed = serializers.CharField(allow_null=True, help_text="what has closed the step's work up")
    movement = serializers.IntegerField(allow_null=True)
    mix = serializers.IntegerField(allow_null=True)
    cut = serializers.IntegerField(allow_null=True)
    trace = ReasonOut(many=True)


class TraceArrivalOut(serializers.Serializer[Any]):
    """How a lot came."""

    lot = serializers.IntegerField()
    on = serializers.DateField()
    crate = serializers.CharField(allow_null=True)
    bag = serializers.CharField()
    line = serializers.CharField()
    sender = serializers.CharField()
    instead_of = serializers.CharField()
    note = serializers.CharField()


class TraceBatchOut(serializers.Serializer[Any]):
    """A batch that was mixed for one of the steps."""

    id = serializers.IntegerField()
    item = serializers.CharField()
    mixed_at = serializers.DateTimeField()
    mixed_by = serializers.CharField()
    grams = serializers.CharField()


class TraceToolOut(serializers.Serializer[Any]):
    """A tool of the pool that was, or may have been, used for a step. `until`: how long its calibration held, as known that day."""

    certainty = serializers.ChoiceField(SURE)
    step = serializers.CharField()
    on = serializers.DateField()
    item = serializers.CharField()
    name = serializers.CharField()
    serial = serializers.CharField()
    who = serializers.CharField()
    until = serializers.DateField(allow_null=True)
    calibration = serializers.CharField()
    trace = ReasonOut(many=True)


class TraceWorkedOut(serializers.Serializer[Any]):
    """Who worked how long on a step."""

    step = serializers.CharField()
    name = serializers.CharField()
    minutes = serializers.IntegerField()
    first = serializers.DateField()
    last = serializers.DateField()


class TraceSeenOut(serializers.Serializer[Any]):
    """Who has seen a step. It approves nothing."""

    step = serializers.CharField()
    name = serializers.CharField()
    role = serializers.CharField()
    licence = serializers.CharField()
    statement = serializers.CharField()
    at = serializers.DateTimeField()


class TraceOut(serializers.Serializer[Any]):
    """A trace. Forward, `not` are steps that took the same item from other lots, `sources` other lots that what is traced came from.

    Back, there are batches, tools and people.
    """

    subject = serializers.CharField()
    way = serializers.ChoiceField([("forward", "forward"), ("back", "back")])
    counts = serializers.DictField(child=serializers.IntegerField())
    lots = TracedLotOut(many=True)
    sources = TracedLotOut(many=True)
    lines = TraceLineOut(many=True)
    arrivals = TraceArrivalOut(many=True)
    batches = TraceBatchOut(many=True)
    tools = TraceToolOut(many=True)
    worked = TraceWorkedOut(many=True)
    seen = TraceSeenOut(many=True)
    trace = ReasonOut(many=True)

    def get_fields(self) -> dict[str, Any]:
        """`not` is a word of the language, and so no name of an attribute."""
        return {**super().get_fields(), "not": TraceLineOut(many=True)}


class NoticePatch(serializers.Serializer[Any]):
    """What may be changed of a notice. `items` and `codes` are all of them."""

    reference = serializers.CharField(required=False, max_length=MOST_REFERENCE)
    maker = serializers.CharField(required=False, allow_blank=True, max_length=MOST_MAKER)
    title = serializers.CharField(required=False, max_length=MOST_TITLE)
    text = serializers.CharField(required=False, max_length=MOST_TEXT)
    issued_on = serializers.DateField(required=False)
    items = serializers.ListField(child=serializers.CharField(max_length=80), required=False, max_length=MOST_ITEMS)
    codes = serializers.ListField(child=serializers.CharField(max_length=MOST_CODE), required=False, max_length=MOST_CODES)
    made_from = serializers.DateField(required=False, allow_null=True)
    made_to = serializers.DateField(required=False, allow_null=True)
    packed_from = serializers.DateField(required=False, allow_null=True)
    packed_to = serializers.DateField(required=False, allow_null=True)
    note = serializers.CharField(required=False, allow_blank=True, max_length=MOST_NOTE)


class NoticeIn(NoticePatch):
    """A maker's notice to be written down: of items of the catalogue by their codes, or of the maker's lot codes, or both."""

    reference = serializers.CharField(max_length=MOST_REFERENCE)
    title = serializers.CharField(max_length=MOST_TITLE)
    text = serializers.CharField(max_length=MOST_TEXT)
    issued_on = serializers.DateField()
    key = serializers.UUIDField(required=False, help_text="of the sender's own: sent again it writes no second notice")


class NoticeSweepOut(serializers.Serializer[Any]):
    """A sweep, and what it found: lots and uses by verdict, and how much there is to look at."""

    number = serializers.IntegerField()
    at = serializers.DateTimeField()
    by = serializers.CharField()
    counts = serializers.DictField(child=serializers.IntegerField())


class NoticeOut(serializers.Serializer[Any]):
    """A notice, and its last sweep."""

    id = serializers.IntegerField()
    reference = serializers.CharField()
    maker = serializers.CharField()
    title = serializers.CharField()
    text = serializers.CharField()
    issued_on = serializers.DateField()
    items = serializers.ListField(child=serializers.CharField())
    codes = serializers.ListField(child=serializers.CharField())
    made_from = serializers.DateField(allow_null=True)
    made_to = serializers.DateField(allow_null=True)
    packed_from = serializers.DateField(allow_null=True)
    packed_to = serializers.DateField(allow_null=True)
    note = serializers.CharField()
    by = serializers.CharField()
    sweep = NoticeSweepOut(allow_null=True)


class NoticeTaskOut(serializers.Serializer[Any]):
    """Something to look at. `new`: only the last sweep found it; `gone`: the last sweep did not."""

    id = serializers.IntegerField()
    notice = serializers.IntegerField()
    where = serializers.ChoiceField([(one.value, one.value) for one in Where])
    verdict = serializers.ChoiceField([(value, value) for value, _ in VERDICTS])
    text = serializers.CharField()
    bench = serializers.CharField(allow_null=True)
    lot = serializers.IntegerField(allow_null=True)
    step = serializers.CharField(allow_null=True)
    first_sweep = serializers.IntegerField()
    last_sweep = serializers.IntegerField()
    ticked_at = serializers.DateTimeField(allow_null=True)
    ticked_by = serializers.CharField(allow_null=True)
    outcome = serializers.CharField()
    trace = ReasonOut(many=True)


class NoticeTickIn(serializers.Serializer[Any]):
    """What came of looking at it."""

    outcome = serializers.CharField(max_length=MOST_OUTCOME)


class NoticeLetterOut(serializers.Serializer[Any]):
    """A letter as it was written."""

    id = serializers.IntegerField()
    to = serializers.CharField()
    sweep = serializers.IntegerField()
    at = serializers.DateTimeField()
    text = serializers.CharField()


def notice_object(row: Notice, items: list[str], sweep: dict[str, Any] | None) -> dict[str, Any]:
    """A notice as programs read it."""
    names = ("id", "reference", "maker", "title", "text", "issued_on", "codes", "made_from", "made_to", "packed_from", "packed_to", "note")
    return {**{name: getattr(row, name) for name in names}, "items": items, "by": row.by.name, "sweep": sweep}


def task_object(task: Task) -> dict[str, Any]:
    """A line of a work list as programs read it."""
    names = ("id", "where", "verdict", "text", "ticked_at", "outcome")
    return {
        **{name: getattr(task, name) for name in names},
        "notice": task.notice_id,
        "bench": task.bench.code if task.bench else None,
        "lot": task.lot_id,
        "step": f"{task.step.project.code}:{task.step.code}" if task.step else None,
        "first_sweep": task.first.number,
        "last_sweep": task.last.number,
        "ticked_by": task.ticked_by.name if task.ticked_by else None,
        "trace": task.reasons,
    }
