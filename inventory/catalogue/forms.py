"""Asking for an item by whichever of its codes comes to hand."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from inventory.catalogue import queries
from inventory.workshop.models import Workshop

MOST_CODE = 80


class CodeInput(forms.CharField):
    """Any code of an item. `offered` is the id of the page's list of codes to choose from; the form says of which workshop."""

    workshop: Workshop

    def __init__(self, *, offered: str, **kwargs: Any) -> None:
        """A text box that a scanner can fill."""
        kwargs.setdefault("widget", forms.TextInput(attrs={"list": offered, "autocomplete": "off"}))
        super().__init__(max_length=MOST_CODE, **kwargs)

    def clean(self, value: Any) -> Any:
        """The item that the code means."""
        text = super().clean(value)
        item = queries.find(self.workshop, text)
        if item is None:
            message = _("%(text)s is no code of the catalogue.") % {"text": text}
            raise ValidationError(message)
        return item
