"""How far ahead to look."""

from django import forms
from django.utils.translation import gettext_lazy as _

from buildplan.reminders.queries import MOST_DAYS

DAYS = 60


class DaysForm(forms.Form):
    """A number of days."""

    days = forms.IntegerField(
        label=_("Days ahead"),
        min_value=1,
        max_value=MOST_DAYS,
        initial=DAYS,
        widget=forms.NumberInput(attrs={"inputmode": "numeric", "size": 4}),
    )
