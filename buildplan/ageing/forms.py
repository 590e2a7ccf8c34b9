"""What the page of shelf lives asks."""

from django import forms

from buildplan.ageing.queries import DEAD, UNKNOWN
from inventory.stock.models import State

WITHIN = 30
MOST_DAYS = 3650
LIVES = [(DEAD, "dead"), (UNKNOWN, "life unknown")]


class ShelfLifeForm(forms.Form):
    """Which lots to show, and how far ahead what dies is told."""

    place = forms.CharField(
        label="In place",
        required=False,
        max_length=200,
        widget=forms.TextInput(attrs={"list": "places", "autocomplete": "off"}),
    )
    item = forms.CharField(label="Item, name or lot", required=False, max_length=80)
    state = forms.ChoiceField(
        label="State",
        required=False,
        choices=[("", "every state"), ("Of its life", LIVES), ("Of the lot", State.choices)],
    )
    days = forms.IntegerField(label="Dies within days", required=False, min_value=1, max_value=MOST_DAYS, help_text=f"blank: {WITHIN}")
