"""What a workshop sets for its rivets, clecos and crates; a rivet row."""

import re
from fractions import Fraction
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.forms import BoundField
from django.utils.translation import gettext_lazy as _

from buildplan.hardware.queries import Spacing
from buildplan.hardware.services import MOST_CODE, MOST_EVERY, MOST_HOLES, MOST_PERCENT
from buildplan.plan.models import Step
from inventory.catalogue.forms import CodeInput
from inventory.common.forms import SizeInput
from inventory.workshop.models import RivetRounding, Workshop
from inventory.workshop.services import MOST_RECEIVING_DAYS

EVERY = "every-"
_INCHES = re.compile(r"\d{1,4}/\d{1,4}|\d{0,4}\.\d{1,6}|\d{1,4}")
_SAY_INCHES = _("Write the size in inches, such as 1/8 or 0.125.")


class InchesInput(forms.CharField):
    """A size in inches, exact: a fraction or a decimal."""

    def __init__(self, **kwargs: Any) -> None:
        """A text box that phones give digits for."""
        kwargs.setdefault("widget", forms.TextInput(attrs={"autocomplete": "off", "size": 9}))
        super().__init__(max_length=12, **kwargs)

    def clean(self, value: Any) -> Any:
        """The size as a `Fraction`."""
        text = super().clean(value)
        try:
            return Fraction(text) if _INCHES.fullmatch(text) else self._refuse()
        except ZeroDivisionError:
            return self._refuse()

    def _refuse(self) -> Fraction:
        raise ValidationError(_SAY_INCHES)


class SettingsForm(forms.Form):
    """The receiving allowance, the rounding of rivet lengths, and the spacing of clecos at each stage (blank: common practice)."""

    receiving_days = forms.IntegerField(label=_("Days"), min_value=0, max_value=MOST_RECEIVING_DAYS)
    rivet_rounding = forms.ChoiceField(label=_("Rounding"), choices=RivetRounding.choices)

    def __init__(self, data: Any, *, spacings: tuple[Spacing, ...], initial: dict[str, Any]) -> None:
        """`spacings` are those in force."""
        own = {EVERY + spacing.stage: spacing.every for spacing in spacings if spacing.own}
        super().__init__(data, initial={**initial, **own})
        for spacing in spacings:
            self.fields[EVERY + spacing.stage] = forms.IntegerField(
                label=_("%(spacing)s: 1 hole in") % {"spacing": spacing.name},
                required=False,
                min_value=1,
                max_value=MOST_EVERY,
                help_text=_("blank: %(practice)s, the common practice") % {"practice": spacing.practice},
            )

    def every_of(self, spacing: Spacing) -> BoundField:
        """The box of a stage."""
        return self[EVERY + spacing.stage]

    def given(self, spacing: Spacing) -> int | None:
        """What was typed for a stage; None for a blank."""
        every: int | None = self.cleaned_data[EVERY + spacing.stage]
        return every


class LossForm(forms.Form):
    """What is lost of one rivet size."""

    diameter = InchesInput(label=_("Rivet diameter in inches"), help_text=_("such as 1/8; a size that is there already is changed"))
    percent = forms.DecimalField(
        label=_("Lost, in percent of the holes"), min_value=0, max_value=MOST_PERCENT, decimal_places=2, max_digits=5
    )


class RowForm(forms.Form):
    """A line of holes in a step."""

    code = forms.CharField(label=_("Row"), max_length=MOST_CODE, help_text=_("its name in the plans"))
    rivet = CodeInput(label=_("Rivet"), offered="rivets", help_text=_("any of its codes"))
    holes = forms.IntegerField(label=_("Holes"), min_value=1, max_value=MOST_HOLES)
    grip = SizeInput(label=_("Grip in inches"), required=False, help_text=_("such as 1/8 or 0.125; blank where the plans give none"))
    cleco_every = forms.IntegerField(
        label=_("Clecos: 1 hole in"),
        required=False,
        min_value=1,
        max_value=MOST_HOLES,
        help_text=_("1: every hole; blank: none. The cleco is the one of the rivet's diameter"),
    )

    def __init__(self, data: Any, *, workshop: Workshop, step: Step, initial: dict[str, Any]) -> None:
        """`workshop` is whose codes the rivet is looked up by, `step` the one that the row is of."""
        super().__init__(data, initial=initial)
        cast("CodeInput", self.fields["rivet"]).workshop = workshop
        self.fields["clecos_until"] = forms.ModelChoiceField(
            Step.objects.filter(project=step.project_id).order_by("position", "pk"),
            label=_("Clecos until"),
            required=False,
            empty_label=_("this step's end"),
        )
