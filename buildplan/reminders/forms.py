"""How far ahead to look."""

from django import forms

from buildplan.reminders.queries import MOST_DAYS

DAYS = 60


class DaysForm(forms.Form):
    """A number of days."""

    days = forms.IntegerField(
        label="Days ahead",
        min_value=1,
        max_value=MOST_DAYS,
        initial=DAYS,
        widget=forms.NumberInput(attrs={"inputmode": "numeric", "size": 4}),
    )
