"""What the evening has: minutes, people, and for which aeroplane."""

from collections.abc import Iterable
from typing import Any

from django import forms

from buildplan.plan.forms import MOST_PEOPLE
from buildplan.plan.models import Project

MOST_MINUTES = 24 * 60


class EveningForm(forms.Form):
    """All of it may be left blank: nobody said how long the evening is, one person, every aeroplane."""

    minutes = forms.IntegerField(
        label="Minutes",
        required=False,
        min_value=1,
        max_value=MOST_MINUTES,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    people = forms.IntegerField(
        label="People here",
        required=False,
        min_value=1,
        max_value=MOST_PEOPLE,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    project = forms.ChoiceField(label="Aeroplane", required=False)

    def __init__(self, projects: Iterable[Project], *args: Any, **kwargs: Any) -> None:
        """Offer the workshop's own aeroplanes; with one alone there is nothing to choose."""
        super().__init__(*args, **kwargs)
        found = [(project.code, project.name) for project in projects]
        self._choices().choices = [("", "all of them"), *found]
        if len(found) < 2:  # noqa: PLR2004 - a choice has two
            del self.fields["project"]

    def _choices(self) -> forms.ChoiceField:
        field = self.fields["project"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 - for the type checker
        return field
