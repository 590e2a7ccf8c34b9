"""What a plan's page asks."""

from django import forms

from inventory.common.forms import DayInput


class PlannedForm(forms.Form):
    """The day a step is planned for; blank where none is."""

    planned_on = DayInput(label="Planned", required=False)
