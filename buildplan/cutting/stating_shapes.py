"""What the API says of blanks, of how a workshop saws and of how large lots are, and what it reads."""

from fractions import Fraction
from typing import Any

from rest_framework import serializers

from buildplan.cutting.measuring import MOST_CERTIFICATE
from buildplan.cutting.shapes import FORMS, GRAINS, UNITS
from inventory.catalogue.api import item_field
from inventory.common.api_fields import SizeField
from inventory.common.history import MOST_WHY
from inventory.models import Lot

GRAIN = [("", ""), *GRAINS]


class ZeroSizeField(SizeField):
    """A size that may be 0."""

    def to_internal_value(self, data: Any) -> Fraction:
        """0 is a size here."""
        return Fraction(0) if data in {"0", "0.0"} else super().to_internal_value(data)


def _size(**kwargs: Any) -> SizeField:
    return SizeField(required=False, allow_null=True, **kwargs)


def _rule(**kwargs: Any) -> ZeroSizeField:
    return ZeroSizeField(required=False, allow_null=True, **kwargs)


class BlankPatch(serializers.Serializer[Any]):
    """How large a whole blank is and how it is sawn. Sizes are in `unit`; null is not known."""

    form = serializers.ChoiceField(FORMS)
    unit = serializers.ChoiceField(UNITS, required=False, help_text="mm unless given")
    length = _size()
    width = _size(help_text="of a sheet")
    thickness = _size()
    grain = serializers.ChoiceField(GRAIN, required=False)
    kerf = _rule(help_text="what the saw takes a cut; null: the workshop's")
    end_trim = _rule(help_text="what a blank loses before the first piece; null: the workshop's")


class BlankIn(BlankPatch):
    """An item that pieces are cut from, and how large a whole one is."""

    item = item_field()


class CuttingRulesPatch(serializers.Serializer[Any]):
    """How the workshop saws, in `unit`."""

    unit = serializers.ChoiceField(UNITS)
    kerf = ZeroSizeField(help_text="what the saw takes a cut")
    end_trim = ZeroSizeField(help_text="what a blank loses before the first piece, its saw cut included")
    allowance = ZeroSizeField(help_text="what a piece is sawn larger, for the file")


class CuttingRulesOut(serializers.Serializer[Any]):
    """How the workshop saws, where a blank or a piece says nothing else."""

    unit = serializers.ChoiceField(UNITS)
    kerf = SizeField()
    end_trim = SizeField()
    allowance = SizeField()


class LotSizePatch(serializers.Serializer[Any]):
    """How large a lot really is, in `unit`; null is not measured."""

    unit = serializers.ChoiceField(UNITS)
    length = _size()
    width = _size(help_text="of a sheet")
    thickness = _size()
    grain = serializers.ChoiceField(GRAIN, required=False)
    certificate = serializers.CharField(required=False, allow_blank=True, max_length=MOST_CERTIFICATE)
    release = serializers.CharField(
        required=False,
        allow_blank=True,
        max_length=MOST_WHY,
        help_text="why cuts planned on it are given up, where it doesn't give them: their pieces are wanted again",
    )


class LotSizeOut(serializers.Serializer[Lot]):
    """How large a lot is, as measured; null where nobody did. `mother` is the lot that it was cut from, `cut` the cut."""

    lot = serializers.IntegerField(source="pk")
    item = serializers.CharField(source="item.code")
    unit = serializers.ChoiceField(UNITS, source="measured.unit", allow_null=True)
    length = SizeField(source="measured.length", allow_null=True)
    width = SizeField(source="measured.width", allow_null=True)
    thickness = SizeField(source="measured.thickness", allow_null=True)
    grain = serializers.ChoiceField(GRAIN, source="measured.grain", allow_null=True)
    certificate = serializers.CharField(source="measured.certificate", allow_null=True)
    mother = serializers.IntegerField(source="measured.mother_id", allow_null=True)
    cut = serializers.IntegerField(source="measured.cut_id", allow_null=True)
