"""What the API says of conflicts and assemblies, and what it reads."""

from typing import Any

from rest_framework import serializers

from buildplan.fitting import assemblies, conflicts
from buildplan.fitting.assemblies import DEEDS
from buildplan.fitting.calc import Phase, Source
from buildplan.fitting.models import Deed, Matter, Position
from buildplan.plan.models import Project
from inventory.catalogue.api import item_field
from inventory.common.api_fields import CodeField, IdField, ReasonOut
from inventory.stock.api import lot_field

MOST_CODE, MOST_ROWS = 40, 200
STATES = [("open", "open"), ("settled", "settled")]
SIDES = [(one.value, one.value) for one in Source]
PHASES = [(one.value, one.value) for one in Phase]


def project_field(**kwargs: Any) -> CodeField[Project]:
    """The project of a code."""

    def find(text: str) -> Project | None:
        return Project.objects.select_related("bench__workshop").filter(code__iexact=text).first()

    return CodeField("project", find, max_length=MOST_CODE, **kwargs)


def step_codes(**kwargs: Any) -> serializers.ListField:
    """Codes of steps of the project."""
    return serializers.ListField(child=serializers.CharField(max_length=MOST_CODE), max_length=MOST_ROWS, **kwargs)


# Conflicts


class ConflictPatch(serializers.Serializer[Any]):
    """What may be changed of an open conflict. `steps` and `items` are all that rest on it."""

    title = serializers.CharField(max_length=conflicts.LENGTHS["title"], required=False)
    kind = serializers.ChoiceField(Matter.choices, required=False)
    text_says = serializers.CharField(max_length=conflicts.LENGTHS["text_says"], required=False)
    text_where = serializers.CharField(max_length=conflicts.LENGTHS["text_where"], required=False)
    drawing_says = serializers.CharField(max_length=conflicts.LENGTHS["drawing_says"], required=False)
    drawing_where = serializers.CharField(max_length=conflicts.LENGTHS["drawing_where"], required=False)
    steps = step_codes(required=False)
    items = serializers.ListField(child=item_field(), max_length=MOST_ROWS, required=False)


class ConflictIn(serializers.Serializer[Any]):
    """A conflict of text and drawing. Steps are codes of the project's steps, items any codes that mean them."""

    project = project_field()
    title = serializers.CharField(max_length=conflicts.LENGTHS["title"])
    kind = serializers.ChoiceField(Matter.choices)
    text_says = serializers.CharField(max_length=conflicts.LENGTHS["text_says"])
    text_where = serializers.CharField(max_length=conflicts.LENGTHS["text_where"])
    drawing_says = serializers.CharField(max_length=conflicts.LENGTHS["drawing_says"])
    drawing_where = serializers.CharField(max_length=conflicts.LENGTHS["drawing_where"])
    steps = step_codes(required=False, default=list)
    items = serializers.ListField(child=item_field(), max_length=MOST_ROWS, required=False, default=list)


class MakerAnswerIn(serializers.Serializer[Any]):
    """What the maker answered."""

    text = serializers.CharField(max_length=conflicts.MOST_ANSWER)
    on = serializers.DateField()
    reference = serializers.CharField(max_length=conflicts.MOST_REFERENCE, help_text="where it can be looked up")


class ConflictSettleIn(serializers.Serializer[Any]):
    """Which side turned out right. Without an answer of the maker the note says what the decision rests on."""

    right = serializers.ChoiceField(SIDES)
    on = serializers.DateField()
    note = serializers.CharField(max_length=conflicts.MOST_NOTE, required=False, allow_blank=True, default="")


class ConflictReopenIn(serializers.Serializer[Any]):
    """Why the decision doesn't stand."""

    why = serializers.CharField(max_length=conflicts.MOST_NOTE)


class ConflictRowOut(serializers.Serializer[Any]):
    """A conflict as a list shows it."""

    id = serializers.IntegerField(source="pk")
    project = serializers.CharField(source="project.code")
    title = serializers.CharField()
    kind = serializers.ChoiceField(Matter.choices)
    state = serializers.SerializerMethodField()
    answered = serializers.DateField(allow_null=True, help_text="day of the maker's last answer")
    right = serializers.CharField(help_text="text, drawing or neither; blank while it is open")
    settled_on = serializers.DateField(allow_null=True)

    def get_state(self, row: Any) -> str:
        """Open or settled."""
        return "settled" if row.right else "open"


class RestingStepOut(serializers.Serializer[Any]):
    """A step that rests on a conflict; `through` is the item by which it does, blank where the step was named."""

    step = serializers.CharField()
    title = serializers.CharField()
    done = serializers.BooleanField()
    through = serializers.CharField()


class MakerAnswerOut(serializers.Serializer[Any]):
    """What the maker answered."""

    text = serializers.CharField()
    on = serializers.DateField()
    reference = serializers.CharField()
    by = serializers.CharField()


class SettlementOut(serializers.Serializer[Any]):
    """A decision; `reopened_at` is null while it stands."""

    right = serializers.ChoiceField(SIDES)
    on = serializers.DateField()
    by = serializers.CharField()
    note = serializers.CharField()
    reopened_at = serializers.DateTimeField(allow_null=True)
    reopened_by = serializers.CharField(allow_null=True)
    reopened_why = serializers.CharField()


class SideRecordOut(serializers.Serializer[Any]):
    """Which side was right so far in conflicts of this kind. It is shown, never applied."""

    text = serializers.IntegerField()
    drawing = serializers.IntegerField()
    neither = serializers.IntegerField()
    cases = serializers.IntegerField()
    trace = ReasonOut(many=True)


class ConflictOut(serializers.Serializer[Any]):
    """A conflict with all that was said of it."""

    id = serializers.IntegerField()
    project = serializers.CharField()
    title = serializers.CharField()
    kind = serializers.ChoiceField(Matter.choices)
    state = serializers.ChoiceField(STATES)
    text_says = serializers.CharField()
    text_where = serializers.CharField()
    drawing_says = serializers.CharField()
    drawing_where = serializers.CharField()
    by = serializers.CharField()
    steps = RestingStepOut(many=True)
    items = serializers.ListField(child=serializers.CharField())
    answers = MakerAnswerOut(many=True)
    settlements = SettlementOut(many=True)
    record = SideRecordOut()


# Assemblies


class PhaseStepIn(serializers.Serializer[Any]):
    """A step of an assembly, and what it does with it."""

    step = serializers.CharField(max_length=MOST_CODE)
    phase = serializers.ChoiceField(PHASES)


class AssemblyPatch(serializers.Serializer[Any]):
    """What may be changed of an assembly. `steps` are all of them."""

    name = serializers.CharField(max_length=assemblies.MOST_NAME, required=False)
    note = serializers.CharField(max_length=assemblies.MOST_NOTE, required=False, allow_blank=True)
    steps = serializers.ListField(child=PhaseStepIn(), max_length=MOST_ROWS, required=False)


class AssemblyIn(serializers.Serializer[Any]):
    """An assembly of a project."""

    project = project_field()
    name = serializers.CharField(max_length=assemblies.MOST_NAME)
    note = serializers.CharField(max_length=assemblies.MOST_NOTE, required=False, allow_blank=True, default="")
    steps = serializers.ListField(child=PhaseStepIn(), max_length=MOST_ROWS, required=False, default=list)


class PositionsIn(serializers.Serializer[Any]):
    """Positions of some parts, from a number to a number. Those that are there already stay."""

    parts = serializers.ListField(child=serializers.CharField(max_length=assemblies.MOST_PART), min_length=1, max_length=20)
    first = serializers.IntegerField(min_value=1, max_value=assemblies.MOST_NUMBER)
    last = serializers.IntegerField(min_value=1, max_value=assemblies.MOST_NUMBER)
    item = item_field(required=False, allow_null=True, default=None)


class DeedIn(serializers.Serializer[Any]):
    """What was done to every marked piece of some numbers."""

    deed = serializers.ChoiceField([(one.value, one.value) for one in DEEDS])
    first = serializers.IntegerField(min_value=1, max_value=assemblies.MOST_NUMBER)
    last = serializers.IntegerField(min_value=1, max_value=assemblies.MOST_NUMBER)
    on = serializers.DateField()
    drill = serializers.CharField(max_length=10, required=False, allow_blank=True, default="")
    final = serializers.BooleanField(required=False, default=False)
    note = serializers.CharField(max_length=assemblies.MOST_REASON, required=False, allow_blank=True, default="")


class PieceIn(serializers.Serializer[Any]):
    """Which piece is marked: one of a lot, or one in words. A piece of another item than the position's takes a reason."""

    lot = lot_field(required=False, allow_null=True, default=None)
    words = serializers.CharField(max_length=assemblies.MOST_WORDS, required=False, allow_blank=True, default="")
    reason = serializers.CharField(max_length=assemblies.MOST_REASON, required=False, allow_blank=True, default="")
    on = serializers.DateField()


class ReplaceIn(PieceIn):
    """The new piece, and why the old one goes."""

    why = serializers.CharField(max_length=assemblies.MOST_REASON)


class AwayIn(serializers.Serializer[Any]):
    """Why a piece goes."""

    why = serializers.CharField(max_length=assemblies.MOST_REASON)
    on = serializers.DateField()


class TakeForIn(serializers.Serializer[Any]):
    """For which position a piece is taken, and why."""

    position = IdField("position", lambda pk: Position.objects.select_related("assembly__project__bench__workshop").filter(pk=pk).first())
    reason = serializers.CharField(max_length=assemblies.MOST_REASON - 100)
    on = serializers.DateField()


class AssemblyRowOut(serializers.Serializer[Any]):
    """An assembly as a list shows it."""

    id = serializers.IntegerField(source="pk")
    project = serializers.CharField(source="project.code")
    name = serializers.CharField()
    positions = serializers.IntegerField(source="position_count")
    marked = serializers.IntegerField(source="marked_count")


class PhaseStepOut(serializers.Serializer[Any]):
    """A step of an assembly."""

    step = serializers.CharField()
    phase = serializers.ChoiceField(PHASES)
    done = serializers.BooleanField()


class MarkEventOut(serializers.Serializer[Any]):
    """What was done to a piece."""

    deed = serializers.ChoiceField(Deed.choices)
    on = serializers.DateField()
    by = serializers.CharField()
    drill = serializers.CharField()
    final = serializers.BooleanField()
    mates = serializers.CharField()
    note = serializers.CharField()


class MarkOut(serializers.Serializer[Any]):
    """A piece that was marked; `ended_on` is null while it is there."""

    id = serializers.IntegerField()
    mark = serializers.CharField()
    item = serializers.CharField()
    lot = serializers.IntegerField(allow_null=True)
    words = serializers.CharField()
    reason = serializers.CharField()
    on = serializers.DateField()
    by = serializers.CharField()
    ended_on = serializers.DateField(allow_null=True)
    ended_by = serializers.CharField()
    ended_why = serializers.CharField()
    events = MarkEventOut(many=True)


class PositionOut(serializers.Serializer[Any]):
    """A position with its pieces, the first first, and what its holes went through."""

    id = serializers.IntegerField()
    number = serializers.IntegerField()
    part = serializers.CharField()
    item = serializers.CharField()
    marks = MarkOut(many=True)
    holes = ReasonOut(many=True)


class TimePinsOut(serializers.Serializer[Any]):
    """Clecos of one size."""

    cleco = serializers.CharField()
    put = serializers.IntegerField()
    most = serializers.IntegerField()
    when = serializers.CharField()


class TogetherOut(serializers.Serializer[Any]):
    """One time that an assembly is together; `apart` is the step that takes it apart, blank where it stays."""

    number = serializers.IntegerField()
    steps = serializers.ListField(child=serializers.CharField())
    apart = serializers.CharField()
    clecos = TimePinsOut(many=True)


class AssemblyOut(serializers.Serializer[Any]):
    """An assembly with its positions, and how often it is together."""

    id = serializers.IntegerField()
    project = serializers.CharField()
    name = serializers.CharField()
    note = serializers.CharField()
    steps = PhaseStepOut(many=True)
    times = TogetherOut(many=True)
    assemblies = serializers.IntegerField()
    disassemblies = serializers.IntegerField()
    trace = ReasonOut(many=True)
    positions = PositionOut(many=True)
