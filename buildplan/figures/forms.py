"""A calculator's form: its fields are the calculator's inputs, and it is the calculator that reads them."""

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from buildplan.figures.calculator import Answer, Calculator, Input, InputError, ask
from buildplan.figures.reading import NO

_LINES = 4  # of the box where several values go


class FigureForm(forms.Form):
    """Asks a calculator by GET, so that an answer can be bookmarked. `answer` is there once the form holds."""

    answer: Answer | None = None

    def __init__(self, calculator: Calculator, data: QueryDict | None) -> None:
        """`data` is None where nothing is asked yet."""
        self.calculator = calculator
        self.given: Mapping[str, Sequence[str]] = {} if data is None else {one.name: data.getlist(one.name) for one in calculator.inputs}
        super().__init__(None if data is None else {one.name: _box(one, self.given[one.name]) for one in calculator.inputs})
        for one in calculator.inputs:
            self.fields[one.name] = _field(one)

    def clean(self) -> dict[str, Any]:
        """Reckon; each refusal goes beside its field."""
        try:
            self.answer = ask(self.calculator, self.given)
        except InputError as refused:
            for name, text in refused.errors.items():
                self.add_error(name, text)
        return self.cleaned_data


def _box(one: Input, texts: Sequence[str]) -> str:
    """What stands in the box again: several values one a line, and a flag that says no without its tick."""
    text = "\n".join(texts)
    return "" if one.flag and text.strip().lower() in NO else text


def _field(one: Input) -> forms.Field:
    """What a blank means is the calculator's to say, so that no field is required here; the browser is told all the same."""
    if one.flag:
        return forms.BooleanField(
            label=gettext(one.label), help_text=_told(one.help), required=False, widget=forms.CheckboxInput(attrs={"value": "yes"})
        )
    return forms.CharField(label=_label(one), help_text=_help(one), required=False, widget=_widget(one))


def _label(one: Input) -> str:
    return f"{gettext(one.label)} ({gettext(one.unit)})" if one.unit else gettext(one.label)


def _help(one: Input) -> str:
    example = "" if one.choices else gettext("such as %(example)s") % {"example": one.example}
    blank = "" if one.required or "blank" in one.help else gettext("may stay blank")
    return "; ".join(text for text in (_told(one.help), example, blank) if text)


def _told(text: str) -> str:
    """In the reader's language; a blank stays one, which gettext would not leave."""
    return gettext(text) if text else ""


def _widget(one: Input) -> forms.Widget:
    required = {"required": True} if one.required else {}
    if one.choices:
        return forms.Select(attrs=required, choices=[("", _("choose")), *((name, gettext(text)) for name, text in one.choices.items())])
    if one.lines:
        return forms.Textarea(attrs={**required, "rows": _LINES, "autocomplete": "off", "spellcheck": "false"})
    return forms.TextInput(attrs={**required, "autocomplete": "off", "autocapitalize": "none", "spellcheck": "false"})
