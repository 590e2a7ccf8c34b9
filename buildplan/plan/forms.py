"""What a plan's page asks."""

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.common.forms import DayInput

MOST_PEOPLE = 50


class PlannedForm(forms.Form):
    """The day a step is planned for, and how many people it takes; blank where nobody said."""

    planned_on = DayInput(label=_("Planned"), required=False)
    people = forms.IntegerField(
        label=_("People it takes at once"),
        required=False,
        min_value=1,
        max_value=MOST_PEOPLE,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
        help_text=_("blank where one is enough"),
    )
