"""What the pages of the pool ask."""

from collections.abc import Sequence
from datetime import date
from typing import Any, ClassVar
from uuid import uuid4

from django import forms
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from inventory.common.forms import DayInput, QuantityInput, not_after
from inventory.photos.forms import PhotoInput
from inventory.stock.services import MOST_NOTE, MOST_PATH
from inventory.workshop.models import Bench, Member

MOST_CONDITION = 200
MOST_SERIAL = 80
MOST_MONEY = 80
MOST_CURRENCY = 12
MOST_RULE_DAYS = 3660
MOST_ID = 2**63 - 1
KINDS = [("returned", _("back in its place")), ("lost", _("lost")), ("worn", _("worn out"))]

Choices = Sequence[tuple[str, Any]]


def _number(**kwargs: Any) -> forms.IntegerField:
    """A whole number in a text box: a number box changes by a stray scroll."""
    box = forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off", "size": 5})
    return forms.IntegerField(required=False, max_value=MOST_RULE_DAYS, widget=box, **kwargs)


def _note(label: Any = None, most: int = MOST_NOTE) -> forms.CharField:
    return forms.CharField(label=label or _("Note"), max_length=most, required=False, widget=forms.TextInput(attrs={"autocomplete": "off"}))


class _InParts(forms.Form):
    """A form whose less needed fields are folded away on a phone, unless one of them went wrong."""

    folded: ClassVar[frozenset[str]] = frozenset()

    @property
    def main(self) -> list[forms.BoundField]:
        """What is always asked, except what a template shows in its own way."""
        shown = self.visible_fields()
        return [field for field in shown if field.name not in self.folded and not isinstance(field.field.widget, forms.RadioSelect)]

    @property
    def more(self) -> list[forms.BoundField]:
        """What is folded away."""
        return [field for field in self.visible_fields() if field.name in self.folded]

    @property
    def more_wrong(self) -> bool:
        """Whether something is wrong there."""
        return any(field.errors for field in self.more)


class _Keyed(forms.Form):
    """A form that makes something. Its `key` is its own: sent twice, it makes one."""

    key = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, data: Any = None, files: Any = None, **kwargs: Any) -> None:
        """A key of its own each time it is shown anew."""
        initial = {"key": uuid4(), **kwargs.pop("initial", {})}
        super().__init__(data, files, initial=initial, **kwargs)


def people(members: Sequence[Member]) -> Choices:
    """Members to choose from."""
    return [(str(member.pk), member.name) for member in members]


def benches(rows: Sequence[Bench], none: str | Promise) -> Choices:
    """Benches to choose from; `none` says what a blank means."""
    return [("", none), *((str(bench.pk), bench.name) for bench in rows)]


class LendForm(_Keyed, _InParts):
    """What is lent, to whom, until when."""

    folded = frozenset({"bench", "condition", "note", "photo"})
    spot = forms.ChoiceField(label=_("What, from where"))
    quantity = QuantityInput(label=_("How much"), initial=1)
    member = forms.ChoiceField(label=_("Lent to"))
    due_on = DayInput(label=_("Back by"), required=False, help_text=_("blank: as long as the rules allow"))
    bench = forms.ChoiceField(label=_("For the bench"), required=False)
    condition = _note(_("Condition now"), MOST_CONDITION)
    note = _note()
    photo = PhotoInput(label=_("Photo of its condition"), required=False)
    booking = forms.IntegerField(required=False, min_value=1, max_value=MOST_ID, widget=forms.HiddenInput)

    def __init__(
        self, data: Any = None, files: Any = None, *, spots: Choices, members: Sequence[Member], bench_rows: Sequence[Bench], **kwargs: Any
    ) -> None:
        """What lies on the shelves, who may borrow it, and for which benches."""
        super().__init__(data, files, **kwargs)
        self.fields["spot"].choices = spots  # type: ignore[attr-defined] # a choice field
        self.fields["member"].choices = people(members)  # type: ignore[attr-defined] # likewise
        self.fields["bench"].choices = benches(bench_rows, _("none in particular"))  # type: ignore[attr-defined] # likewise


class TakeInForm(_Keyed, _InParts):
    """What is out no more: back, lost, or worn out."""

    folded = frozenset({"condition", "note", "photo"})
    kind = forms.ChoiceField(label=_("What became of it"), choices=KINDS, initial="returned", widget=forms.RadioSelect)
    quantity = QuantityInput(label=_("How much"))
    place = forms.CharField(
        label=_("Put back in"),
        max_length=MOST_PATH,
        required=False,
        widget=forms.TextInput(attrs={"list": "places", "autocomplete": "off"}),
        help_text=_("only of what is back; blank: where it was taken from"),
    )
    condition = _note(_("Condition when it came back"), MOST_CONDITION)
    note = _note()
    photo = PhotoInput(label=_("Photo of its condition"), required=False)


class RenewForm(forms.Form):
    """A later day to bring it back."""

    due_on = DayInput(label=_("Back by"))


class BookForm(_Keyed):
    """What is promised, to whom, on which days."""

    what = forms.ChoiceField(label=_("What"))
    quantity = QuantityInput(label=_("How much"), initial=1)
    first_day = DayInput(label=_("First day"))
    last_day = DayInput(label=_("Last day"), help_text=_("both days are booked"))
    member = forms.ChoiceField(label=_("For whom"))
    bench = forms.ChoiceField(label=_("For the bench"), required=False)
    note = _note(_("What for"))
    wait = forms.BooleanField(label=_("Wait in line if it is taken"), required=False)

    def __init__(self, data: Any = None, *, whats: Choices, members: Sequence[Member], bench_rows: Sequence[Bench], **kwargs: Any) -> None:
        """What the pool has, counted or single, and for whom it can be booked."""
        super().__init__(data, **kwargs)
        self.fields["what"].choices = whats  # type: ignore[attr-defined] # a choice field
        self.fields["member"].choices = people(members)  # type: ignore[attr-defined] # likewise
        self.fields["bench"].choices = benches(bench_rows, _("none in particular"))  # type: ignore[attr-defined] # likewise


class ThingForm(forms.Form):
    """What is known of a single thing."""

    serial = _note(_("Serial number"), MOST_SERIAL)
    condition = _note(_("Condition"), MOST_CONDITION)
    calibrated_on = DayInput(label=_("Calibrated on"), required=False)
    calibrated_until = DayInput(label=_("Calibrated until"), required=False, help_text=_("as its certificate says"))

    def __init__(self, data: Any = None, *, today: date, **kwargs: Any) -> None:
        """Nothing was calibrated tomorrow."""
        super().__init__(data, **kwargs)
        self.fields["calibrated_on"].validators.append(not_after(today))


class AddThingForm(ThingForm):
    """A lot of one piece that becomes a single thing."""

    lot = forms.ChoiceField(label=_("Which"))
    field_order = ("lot",)

    def __init__(self, data: Any = None, *, lots: Choices, **kwargs: Any) -> None:
        """Lots of one piece that are none yet."""
        super().__init__(data, **kwargs)
        self.fields["lot"].choices = lots  # type: ignore[attr-defined] # a choice field


class RulesForm(forms.Form):
    """A club's rules of lending. Blank is no limit."""

    longest_days = _number(label=_("Longest loan, in days"), min_value=1, help_text=_("blank: no limit"))
    renewals = _number(label=_("How often a loan may be renewed"), min_value=0, help_text=_("blank: as often as one likes"))
    renew_while_waited = forms.BooleanField(label=_("Renew although somebody waits"), required=False)
    remind_days = _number(label=_("Remind so many days before its end"), min_value=0)
    book_ahead_days = _number(label=_("How far ahead to book, in days"), min_value=0, help_text=_("blank: no limit"))
    deposit = _note(_("Deposit"), MOST_MONEY)
    fee = _note(_("Fee"), MOST_MONEY)
    currency = _note(_("Money is in"), MOST_CURRENCY)

    def clean_remind_days(self) -> int:
        """Blank is on the day itself."""
        return self.cleaned_data["remind_days"] or 0


class _TransferForm(_Keyed):
    """What is to pass from bench to bench, how much, until when it can be answered."""

    quantity = QuantityInput(label=_("How much"))
    until = DayInput(label=_("Open until"), required=False, help_text=_("blank: until it is answered"))
    note = _note()


class OfferForm(_TransferForm):
    """Surplus of a bench, for another or for whoever wants it."""

    lot = forms.ChoiceField(label=_("What"))
    taker = forms.ChoiceField(label=pgettext_lazy("bench", "For"), required=False)
    field_order = ("lot", "quantity", "taker", "until", "note")

    def __init__(self, data: Any = None, *, lots: Choices, takers: Sequence[Bench], **kwargs: Any) -> None:
        """Lots that one speaks for, and the benches there are."""
        super().__init__(data, **kwargs)
        self.fields["lot"].choices = lots  # type: ignore[attr-defined] # a choice field
        self.fields["taker"].choices = benches(takers, _("whoever wants it"))  # type: ignore[attr-defined] # likewise


class AskForm(_TransferForm):
    """What a bench wishes for, from another or from whoever has it."""

    item = forms.CharField(
        label=_("What"), max_length=80, widget=forms.TextInput(attrs={"autocomplete": "off"}), help_text=_("any of its codes")
    )
    taker = forms.ChoiceField(label=_("For the bench"))
    giver = forms.ChoiceField(label=pgettext_lazy("bench", "From"), required=False)
    field_order = ("item", "quantity", "taker", "giver", "until", "note")

    def __init__(self, data: Any = None, *, takers: Sequence[Bench], givers: Sequence[Bench], **kwargs: Any) -> None:
        """Benches that one speaks for, and the benches there are."""
        super().__init__(data, **kwargs)
        self.fields["taker"].choices = people(takers)  # type: ignore[attr-defined, arg-type] # choices; benches have names too
        self.fields["giver"].choices = benches(givers, _("whoever has it"))  # type: ignore[attr-defined] # likewise


class AcceptForm(forms.Form):
    """The other side's answer: what it gives, or to which bench it takes it. Only what isn't settled yet is asked."""

    spot = forms.ChoiceField(label=_("What, from where"))
    bench = forms.ChoiceField(label=_("For the bench"))

    def __init__(self, data: Any = None, *, spots: Choices, bench_rows: Sequence[Bench], **kwargs: Any) -> None:
        """A question with one answer, or none, isn't asked."""
        super().__init__(data, **kwargs)
        self.fields["spot"].choices = spots  # type: ignore[attr-defined] # a choice field
        self.fields["bench"].choices = people(bench_rows)  # type: ignore[attr-defined, arg-type] # likewise; benches have names too
        for name, choices in (("spot", spots), ("bench", bench_rows)):
            if not choices:
                del self.fields[name]
