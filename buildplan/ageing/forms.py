"""What the page of shelf lives asks."""

from django import forms
from django.utils.translation import gettext_lazy as _

from buildplan.ageing.queries import DEAD, UNKNOWN
from inventory.stock.models import State

WITHIN = 30
MOST_DAYS = 3650
LIVES = [(DEAD, _("dead")), (UNKNOWN, _("life unknown"))]


class ShelfLifeForm(forms.Form):
    """Which lots to show, and how far ahead what dies is told."""

    place = forms.CharField(
        label=_("In place"),
        required=False,
        max_length=200,
        widget=forms.TextInput(attrs={"list": "places", "autocomplete": "off"}),
    )
    item = forms.CharField(label=_("Item, name or lot"), required=False, max_length=80)
    state = forms.ChoiceField(
        label=_("State"),
        required=False,
        choices=[("", _("every state")), (_("Of its life"), LIVES), (_("Of the lot"), State.choices)],
    )
    days = forms.IntegerField(
        label=_("Dies within days"), required=False, min_value=1, max_value=MOST_DAYS, help_text=_("blank: %(WITHIN)s") % {"WITHIN": WITHIN}
    )
