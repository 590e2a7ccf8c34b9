"""A packing list, and the crate that it is of."""

from datetime import datetime
from typing import Any
from uuid import uuid4

from django import forms
from django.utils.translation import gettext_lazy as _

from buildplan.loading import kept_files, sent_files
from buildplan.loading.sent_files import SentFile
from buildplan.loading.uploads import Asked
from inventory.common.forms import DayInput, QuantityInput
from inventory.common.problems import FieldProblem
from inventory.models import Bench, Member, Sender
from inventory.receiving.services import MOST_CODE, MOST_LINES


class PackingForm(forms.Form):
    """The file is kept for an hour while it is looked at again and again: `kept` is its reference.

    What is sent as a file is kept whatever else is wrong with the form, since nobody can fill in a file a second time but the person.
    """

    file = forms.FileField(
        label=_("Packing list"),
        required=False,
        allow_empty_file=True,
        help_text=_("CSV or XLSX with the columns bag, line, item, quantity; and name, unit, lot, made, expires where the list has them"),
        widget=forms.FileInput(attrs={"accept": ".csv,.xlsx"}),
    )
    bench = forms.ModelChoiceField(Bench.objects.none(), label=_("For the bench"))
    crate = forms.CharField(
        label=_("Crate"),
        max_length=MOST_CODE,
        help_text=_("a code of your own, such as CRATE-7"),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    due_on = DayInput(
        label=_("Due"), required=False, help_text=_("until then it counts as on its way; without a day it counts for nothing")
    )
    sender = forms.ModelChoiceField(Sender.objects.none(), label=_("Sender"), required=False, empty_label=_("not known"))
    printed_lines = forms.IntegerField(
        label=_("Lines, as printed"),
        required=False,
        min_value=0,
        max_value=MOST_LINES,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off", "size": 9}),
        help_text=_("the totals at the foot of the list are compared, never used"),
    )
    printed_quantity = QuantityInput(label=_("Pieces, as printed"), required=False, zero=True)
    kept = forms.CharField(required=False, widget=forms.HiddenInput)
    request_key = forms.UUIDField(widget=forms.HiddenInput)

    upload: SentFile  # of a form that holds

    def __init__(self, *args: Any, by: Member, now: datetime, **kwargs: Any) -> None:
        """The benches and senders of the workshop in scope. Whose file it is, and when."""
        super().__init__(*args, **kwargs)
        self._by, self._now = by, now
        benches, senders = Bench.objects.order_by("code"), Sender.objects.order_by("name")
        self.fields["bench"].queryset = benches  # type: ignore[attr-defined] # the fields are these
        self.fields["sender"].queryset = senders  # type: ignore[attr-defined]
        self.initial.setdefault("request_key", uuid4())

    def clean(self) -> dict[str, Any]:
        """Take the file that was sent, else the one kept."""
        given = super().clean() or {}
        if "file" in self.errors:
            return given
        try:
            self.upload = self._sent(given) if self.sent_now else self._kept(given)
        except FieldProblem as problem:
            self.add_error("file", str(problem))
        return given

    def _sent(self, given: dict[str, Any]) -> SentFile:
        upload = sent_files.take(given["file"])
        if given.get("kept"):
            kept_files.forget(given["kept"], now=self._now, by=self._by)
        self._show(kept=kept_files.keep(upload, now=self._now, by=self._by))
        return upload

    def _kept(self, given: dict[str, Any]) -> SentFile:
        if not given.get("kept"):
            raise FieldProblem("file", "Choose the file with the packing list.")
        try:
            return kept_files.find(given["kept"], now=self._now, by=self._by)
        except kept_files.NotKept:
            self._show(kept="")
            raise

    def _show(self, **hidden: str) -> None:
        """What the form carries when it is shown again."""
        self.data = self.data.copy()  # type: ignore[attr-defined] # a QueryDict
        for name, value in hidden.items():
            self.data[name] = value  # type: ignore[index] # a copy can be changed

    @property
    def sent_now(self) -> bool:
        """Whether a file was chosen, which nobody has looked at yet."""
        return "file" in self.files

    @property
    def asked(self) -> Asked:
        """Which crate the list is of."""
        given = self.cleaned_data
        names = ("bench", "crate", "due_on", "sender", "printed_lines", "printed_quantity")
        return Asked(**{name: given[name] for name in names})
