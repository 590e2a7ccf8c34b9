"""What the API says of blanks and cuts, and what it reads."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.utils import timezone
from rest_framework import serializers

from buildplan.cutting.filters import STATES
from buildplan.cutting.measuring import MOST_CERTIFICATE
from buildplan.cutting.models import Blank, Cut, CutPiece, Form, Grain, Piece
from buildplan.cutting.sawing import MOST_CAUSE, MOST_KEPT
from buildplan.sealing.calc import MM
from inventory.common.api_fields import DecimalOut, IdField, SizeField
from inventory.common.history import MOST_WHY
from inventory.stock.api import lot_field, place_field

UNITS = [(unit, unit) for unit in MM]
FORMS = [(form.value, form.value) for form in Form]
GRAINS = [(grain.value, grain.value) for grain in Grain]
MOST_PIECES = 50
MOST_COUNT = 100_000


def _blank(pk: int) -> Blank | None:
    return Blank.objects.select_related("item", "offcut").filter(pk=pk).first()


def piece_of(pk: int) -> Piece | None:
    """The piece of an id, with what services ask of it; None where there is none here."""
    return Piece.objects.select_related("step__project__bench__workshop", "blank").filter(pk=pk).first()


class CutCountIn(serializers.Serializer[Any]):
    """So many of a step's piece."""

    piece = IdField("piece", piece_of)
    count = serializers.IntegerField(min_value=1, max_value=MOST_COUNT)


def counts(given: Iterable[dict[str, Any]]) -> dict[Piece, int]:
    """By piece; one named twice adds up."""
    found: dict[Piece, int] = {}
    for one in given:
        found[one["piece"]] = found.get(one["piece"], 0) + one["count"]
    return found


class CutIn(serializers.Serializer[Any]):
    """A cut to be planned: what is sawn now, and what stays promised from what is left."""

    blank = IdField("blank", _blank)
    lot = lot_field(help_text="id of the lot of blanks, or of an offcut")
    now = serializers.ListField(child=CutCountIn(), min_length=1, max_length=MOST_PIECES)
    later = serializers.ListField(child=CutCountIn(), required=False, default=list, max_length=MOST_PIECES)
    accept = serializers.BooleanField(
        required=False, default=False, help_text="that it leaves other pieces without material is seen and meant"
    )
    note = serializers.CharField(required=False, allow_blank=True, default="", max_length=200)


class OffcutIn(serializers.Serializer[Any]):
    """An offcut that is kept, as measured."""

    length = SizeField(required=False, allow_null=True, default=None)
    width = SizeField(required=False, allow_null=True, default=None)
    unit = serializers.ChoiceField(UNITS, required=False, default="mm")


def not_to_come(day: date) -> None:
    """Refuse a day after today."""
    if day > timezone.localdate():
        raise serializers.ValidationError("That day is still to come.")


class SawIn(serializers.Serializer[Any]):
    """That a planned cut was sawn."""

    source = place_field(help_text="path of the place that the blank is taken from")  # type: ignore[assignment] # a declared field
    target = place_field(help_text="path of the place that pieces and offcuts are laid in")
    kept = serializers.ListField(child=OffcutIn(), required=False, default=list, max_length=MOST_KEPT)
    on = serializers.DateField(help_text="the day it was sawn", validators=[not_to_come])
    certificate = serializers.CharField(required=False, allow_blank=True, default="", max_length=MOST_CERTIFICATE)
    release = serializers.CharField(
        required=False,
        allow_blank=True,
        default="",
        max_length=MOST_WHY,
        help_text="why what is promised for later is given up: its pieces are wanted again",
    )


class SpoilIn(serializers.Serializer[Any]):
    """Sawn pieces that are no good."""

    line = serializers.IntegerField(help_text="id of the cut's line, from its `pieces`")
    count = serializers.IntegerField(min_value=1, max_value=MOST_COUNT)
    cause = serializers.CharField(max_length=MOST_CAUSE)
    on = serializers.DateField(validators=[not_to_come])


class BlankOut(serializers.Serializer[Any]):
    """A blank. Quantities are in `unit_of_stock`, sizes in `unit`; `uncut` are pieces of steps not done that no cut gives yet."""

    id = serializers.IntegerField(source="blank.pk")
    item = serializers.CharField(source="blank.item.code")
    name = serializers.CharField(source="blank.item.name")
    unit_of_stock = serializers.CharField(source="blank.item.unit")
    form = serializers.ChoiceField(FORMS, source="blank.form")
    length = SizeField(source="blank.length", allow_null=True)
    width = SizeField(source="blank.width", allow_null=True)
    thickness = SizeField(source="blank.thickness", allow_null=True)
    unit = serializers.CharField(source="blank.unit")
    grain = serializers.ChoiceField([("", ""), *GRAINS], source="blank.grain")
    kerf = SizeField(source="blank.kerf", allow_null=True, help_text="null: the workshop's")
    end_trim = SizeField(source="blank.end_trim", allow_null=True, help_text="null: the workshop's")
    there = DecimalOut()
    promised = DecimalOut()
    offcuts = serializers.IntegerField()
    uncut = serializers.IntegerField()
    planned = serializers.IntegerField()


class BlanksOut(serializers.Serializer[Any]):
    """Every blank of the workshop."""

    blanks = BlankOut(many=True)


class SpoiledOut(serializers.Serializer[Any]):
    """What was spoiled, and why."""

    count = serializers.IntegerField()
    cause = serializers.CharField()
    on = serializers.DateField()
    by = serializers.CharField(source="by.name")


class CutLineOut(serializers.Serializer[CutPiece]):
    """What a cut gives of a piece."""

    id = serializers.IntegerField()
    piece = serializers.IntegerField(source="piece_id")
    code = serializers.CharField(source="piece.code")
    project = serializers.CharField(source="piece.step.project.code")
    step = serializers.CharField(source="piece.step.code")
    count = serializers.IntegerField()
    later = serializers.BooleanField(help_text="promised from what this cut leaves")
    lot = serializers.IntegerField(source="lot_id", allow_null=True, help_text="what the sawn pieces are on the shelf")
    spoiled = SpoiledOut(many=True, source="spoiled.all")


class CutOut(serializers.Serializer[Cut]):
    """A cut of one blank or offcut."""

    id = serializers.IntegerField()
    blank = serializers.IntegerField(source="blank_id")
    item = serializers.CharField(source="blank.item.code")
    lot = serializers.IntegerField(source="lot_id")
    quantity = DecimalOut()
    state = serializers.ChoiceField(STATES)
    project = serializers.CharField(source="step.project.code")
    step = serializers.CharField(source="step.code", help_text="the first that needs it: the blank is held for it")
    accepted = serializers.BooleanField(help_text="that it leaves other pieces without material was seen and meant")
    note = serializers.CharField()
    mother = serializers.IntegerField(source="mother_id", allow_null=True, help_text="the cut that left the offcut this one is of")
    sawn_on = serializers.DateField(allow_null=True)
    by = serializers.CharField(source="by.name")
    pieces = CutLineOut(many=True, source="pieces.all")
