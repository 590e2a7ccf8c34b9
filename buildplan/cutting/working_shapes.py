"""What the API says of operations on pieces, and what it reads."""

from typing import Any

from rest_framework import serializers

from buildplan.cutting.models import Operation, OperationDone
from buildplan.cutting.queries import budget_of
from buildplan.cutting.shapes import MOST_COUNT, not_to_come, piece_of
from buildplan.cutting.working import MOST_NAME, MOST_NOTE
from buildplan.plan.models import Hand
from inventory.common.api_fields import IdField

HANDS = [(hand.value, hand.value) for hand in Hand]


class OperationIn(serializers.Serializer[Any]):
    """Something to be done to so many of a step's piece."""

    piece = IdField("piece", piece_of)
    name = serializers.CharField(max_length=MOST_NAME, help_text="such as trim, flute, dimple, prime")
    hand = serializers.ChoiceField(HANDS, required=False, default=Hand.NONE.value)
    count = serializers.IntegerField(min_value=1, max_value=MOST_COUNT)
    note = serializers.CharField(required=False, allow_blank=True, default="", max_length=MOST_NOTE)


class DoneIn(serializers.Serializer[Any]):
    """Pieces that it was done to."""

    count = serializers.IntegerField(min_value=1, max_value=MOST_COUNT)
    on = serializers.DateField(validators=[not_to_come])


class OperationDoneOut(serializers.Serializer[OperationDone]):
    """Pieces that it was done to, on a day."""

    id = serializers.IntegerField()
    count = serializers.IntegerField()
    on = serializers.DateField()
    by = serializers.CharField(source="by.name")


class OperationOut(serializers.Serializer[Operation]):
    """An operation: `count` of the step's `of` pieces are meant; `over` were done beyond that."""

    id = serializers.IntegerField()
    piece = serializers.IntegerField(source="piece_id")
    code = serializers.CharField(source="piece.code")
    project = serializers.CharField(source="piece.step.project.code")
    step = serializers.CharField(source="piece.step.code")
    name = serializers.CharField()
    hand = serializers.ChoiceField(HANDS)
    count = serializers.IntegerField()
    of = serializers.IntegerField(source="piece.count")
    note = serializers.CharField()
    done = serializers.SerializerMethodField()
    left = serializers.SerializerMethodField()
    over = serializers.SerializerMethodField(help_text="done to more than were meant")
    rows = OperationDoneOut(many=True, source="standing")

    def get_done(self, row: Operation) -> int:
        """To how many it was done."""
        return budget_of(row).done

    def get_left(self, row: Operation) -> int:
        """How many are left."""
        return budget_of(row).left

    def get_over(self, row: Operation) -> int:
        """How many beyond what was meant."""
        return budget_of(row).over
