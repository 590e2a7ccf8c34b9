"""What a seam's page asks."""

from typing import Any, cast

from django import forms
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from buildplan.hardware.services import MOST_CODE
from buildplan.sealing.calc import Shape
from buildplan.sealing.services import LOSS_PLACES, MOST_ALIKE, MOST_LOSS
from inventory.catalogue.forms import CodeInput
from inventory.catalogue.units import MOST as MOST_UNIT
from inventory.common.forms import SizeInput
from inventory.workshop.models import Workshop

_UNIT = forms.TextInput(attrs={"autocomplete": "off", "size": 9})
SHAPES = [
    ("", _("which the plans say")),
    (Shape.CONCAVE.value, _("concave")),
    (Shape.TRIANGLE.value, _("triangle")),
    (Shape.QUARTER_ROUND.value, _("quarter round")),
    (Shape.FILM.value, _("film")),
    (Shape.DOME.value, _("dome")),
    (Shape.EACH.value, pgettext_lazy("seam", "each")),
]


class SeamForm(forms.Form):
    """A sealed joint. Which sizes a shape takes is the arithmetic's to say: it refuses one that is missing, and one too many."""

    code = forms.CharField(label=_("Seam"), max_length=MOST_CODE, help_text=_("its name in the plans"))
    sealant = CodeInput(label=_("Sealant"), offered="sealants", help_text=_("any of its codes"))
    shape = forms.ChoiceField(label=_("Shape"), choices=SHAPES)
    length = SizeInput(label=_("Length"), required=False, help_text=_("of all shapes but a dome and what is counted each"))
    unit = forms.CharField(
        label=_("Unit of the length"), required=False, max_length=MOST_UNIT, widget=_UNIT, help_text=_("m, ft, in; blank: mm")
    )
    leg_a = SizeInput(
        label=_("Leg a"),
        required=False,
        help_text=_("or radius of a round; width of a film; base radius of a dome"),
    )
    leg_b = SizeInput(label=_("Leg b"), required=False, help_text=_("of a triangle; height of a dome"))
    thickness = SizeInput(label=_("Thickness"), required=False, help_text=_("of a film"))
    size_unit = forms.CharField(
        label=_("Unit of legs and thickness"),
        required=False,
        max_length=MOST_UNIT,
        widget=_UNIT,
        help_text=_("blank: as the length"),
    )
    count = forms.IntegerField(label=_("How many alike"), min_value=1, max_value=MOST_ALIKE)
    grams_each = SizeInput(label=_("Grams each"), required=False, help_text=_("of what is counted each alone"))
    loss_percent = forms.DecimalField(
        label=_("Loss in percent"),
        required=False,
        min_value=0,
        max_value=MOST_LOSS,
        max_digits=LOSS_PLACES + len(str(MOST_LOSS)),
        decimal_places=LOSS_PLACES,
        help_text=_("blank: none"),
    )

    def __init__(self, data: Any, *, workshop: Workshop, initial: dict[str, Any]) -> None:
        """`workshop` is whose codes the sealant is looked up by."""
        super().__init__(data, initial=initial)
        cast("CodeInput", self.fields["sealant"]).workshop = workshop
