"""What the evening has: minutes, people, and for which aeroplane."""

from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from buildplan.plan.forms import MOST_PEOPLE
from buildplan.plan.models import Project

MOST_MINUTES = 24 * 60
MOST_CODE = 400  # characters of a code


class EveningForm(forms.Form):
    """All of it may be left blank: nobody said how long the evening is, one person, every aeroplane."""

    minutes = forms.IntegerField(
        label=_("Minutes"),
        required=False,
        min_value=1,
        max_value=MOST_MINUTES,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    people = forms.IntegerField(
        label=_("People here"),
        required=False,
        min_value=1,
        max_value=MOST_PEOPLE,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    project = forms.ChoiceField(label=_("Aeroplane"), required=False)

    def __init__(self, projects: Iterable[Project], *args: Any, **kwargs: Any) -> None:
        """Offer the workshop's own aeroplanes; with one alone there is nothing to choose."""
        super().__init__(*args, **kwargs)
        found = [(project.code, project.name) for project in projects]
        self._choices().choices = [("", _("all of them")), *found]
        if len(found) < 2:  # noqa: PLR2004 - a choice has two
            del self.fields["project"]

    def _choices(self) -> forms.ChoiceField:
        field = self.fields["project"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 - for the type checker
        return field


class PickScanForm(forms.Form):
    """A code of what is fetched: scanned by something that types, or typed."""

    code = forms.CharField(label=_("Scan what you take"), max_length=MOST_CODE, strip=False)
