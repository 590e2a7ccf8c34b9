"""A calculator's form: its fields are the calculator's inputs, and it is the calculator that reads them."""

from typing import Any

from django import forms
from django.http import QueryDict

from buildplan.figures.calculator import Answer, Calculator, Input, InputError, ask

_LINES = 4  # of the box where several values go


class FigureForm(forms.Form):
    """Asks a calculator by GET, so that an answer can be bookmarked. `answer` is there once the form holds."""

    answer: Answer | None = None

    def __init__(self, calculator: Calculator, data: QueryDict | None) -> None:
        """`data` is None where nothing is asked yet."""
        super().__init__(data)
        self.calculator = calculator
        self.given = data
        for one in calculator.inputs:
            self.fields[one.name] = _field(one)

    def clean(self) -> dict[str, Any]:
        """Reckon; each refusal goes beside its field."""
        given = self.given or QueryDict()
        try:
            self.answer = ask(self.calculator, {one.name: given.getlist(one.name) for one in self.calculator.inputs})
        except InputError as refused:
            for name, text in refused.errors.items():
                self.add_error(name, text)
        return self.cleaned_data


def _field(one: Input) -> forms.Field:
    """What a blank means is the calculator's to say, so that no field is required here; the browser is told all the same."""
    if one.flag:
        return forms.BooleanField(label=one.label, help_text=one.help, required=False, widget=forms.CheckboxInput(attrs={"value": "yes"}))
    return forms.CharField(label=_label(one), help_text=_help(one), required=False, widget=_widget(one))


def _label(one: Input) -> str:
    return one.label if one.required else f"{one.label} (may stay blank)"


def _help(one: Input) -> str:
    if one.choices:
        return one.help
    example = f"such as {one.example}"
    return f"{one.help}; {example}" if one.help else example


def _widget(one: Input) -> forms.Widget:
    required = {"required": True} if one.required else {}
    if one.choices:
        return forms.Select(attrs=required, choices=[("", "choose"), *one.choices.items()])
    if one.lines:
        return forms.Textarea(attrs={**required, "rows": _LINES, "autocomplete": "off", "spellcheck": "false"})
    return forms.TextInput(attrs={**required, "autocomplete": "off", "autocapitalize": "none", "spellcheck": "false"})
