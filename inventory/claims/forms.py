"""What the pages of claims ask."""

from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.claims.calc import CARRIER, SENDER
from inventory.claims.models import Fault
from inventory.claims.queries import Claimable
from inventory.claims.services import ANSWERS, MOST_ADDRESS, MOST_ANSWER, MOST_DAYS, MOST_NAME, MOST_NOTE, MOST_SOURCE
from inventory.common.forms import DayInput, QuantityInput, not_after


class SenderForm(forms.Form):
    """A sender, as letters are addressed to it."""

    name = forms.CharField(label=_("Name"), max_length=MOST_NAME, widget=forms.TextInput(attrs={"autocomplete": "off"}))
    address = forms.CharField(label=_("Address"), max_length=MOST_ADDRESS, required=False, widget=forms.Textarea(attrs={"rows": 4}))
    email = forms.EmailField(label=_("E-mail"), required=False, widget=forms.EmailInput(attrs={"autocomplete": "off"}))


class RuleForm(forms.Form):
    """A claim clock. No days are proposed: they stand in what was agreed with the sender or the carrier."""

    fault = forms.ChoiceField(label=_("For"), choices=Fault.choices)
    days = forms.IntegerField(
        label=_("Days after arrival"),
        min_value=0,
        max_value=MOST_DAYS,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off", "size": 5}),
        help_text=_("the last day is the day of arrival and so many more; weekends and holidays count"),
    )
    against = forms.CharField(
        label=_("Claimed from"),
        max_length=MOST_NAME,
        required=False,
        widget=forms.TextInput(attrs={"list": "parties", "autocomplete": "off"}),
        help_text=_("“%(SENDER)s”, “%(CARRIER)s” (whoever carried the crate), or a name; blank: the sender")
        % {"SENDER": SENDER, "CARRIER": CARRIER},
    )
    source = forms.CharField(
        label=_("Where this is written"),
        max_length=MOST_SOURCE,
        required=False,
        help_text=_("for instance: terms of sale, paragraph 7"),
    )


class JourneyForm(forms.Form):
    """Who sent a crate, and how it came."""

    sender = forms.CharField(
        label=_("Sender"),
        max_length=MOST_NAME,
        required=False,
        widget=forms.TextInput(attrs={"list": "senders", "autocomplete": "off"}),
        help_text=_("a new name becomes a new sender"),
    )
    order_code = forms.CharField(label=_("Order"), max_length=80, required=False)
    carrier = forms.CharField(label=_("Carrier"), max_length=MOST_NAME, required=False)
    ordered_on = DayInput(label=_("Ordered"), required=False)
    shipped_on = DayInput(label=_("Shipped"), required=False)
    due_on = DayInput(label=_("Due"), required=False, help_text=_("blank: not known"))
    arrived_on = DayInput(label=_("Arrived"), required=False, help_text=_("claim clocks run from this day"))

    def __init__(self, data: Any = None, *, today: date, **kwargs: Any) -> None:
        """Nothing was shipped or has arrived tomorrow."""
        super().__init__(data, **kwargs)
        for name in ("ordered_on", "shipped_on", "arrived_on"):
            self.fields[name].validators.append(not_after(today))


class DraftForm(forms.Form):
    """What to claim, beside a `ChooseForm` for each difference. `request_key` is the form's own: sent twice, it drafts once."""

    request_key = forms.UUIDField(widget=forms.HiddenInput)


class ChooseForm(forms.Form):
    """How much of one difference to claim; 0 leaves it out."""

    quantity = QuantityInput(label=_("Claim"), zero=True)
    note = forms.CharField(label=_("Note"), max_length=MOST_NOTE, required=False, widget=forms.TextInput(attrs={"autocomplete": "off"}))

    def __init__(self, data: Any = None, *, found: Claimable, **kwargs: Any) -> None:
        """Proposes all that is left. Damage may have been seen at delivery, or only found inside."""
        super().__init__(data, prefix=found.name, initial={"quantity": found.left, "fault": found.fault}, **kwargs)
        if found.fault == Fault.CONCEALED:
            choices = [(fault.value, fault.label) for fault in (Fault.CONCEALED, Fault.DAMAGE)]
            self.fields["fault"] = forms.ChoiceField(label=_("Damage"), choices=choices, required=False)


class SendForm(forms.Form):
    """On which day a claim was sent."""

    on = DayInput(label=_("Sent on"))

    def __init__(self, data: Any = None, *, today: date, **kwargs: Any) -> None:
        """Today unless said otherwise."""
        super().__init__(data, initial={"on": today}, **kwargs)
        self.fields["on"].validators.append(not_after(today))


class AnswerForm(forms.Form):
    """What a claim was answered."""

    state = forms.ChoiceField(label=_("Answer"), choices=[("", _("choose")), *((state.value, state.label) for state in ANSWERS)])
    on = DayInput(label=_("Answered on"))
    replacement_due = DayInput(
        label=_("Replacement due"),
        required=False,
        help_text=_("only for “replaced”: what comes counts as in transit until then; without a day it counts once it has one"),
    )
    answer = forms.CharField(label=_("What was answered"), max_length=MOST_ANSWER, required=False)

    def __init__(self, data: Any = None, *, today: date, **kwargs: Any) -> None:
        """Today unless said otherwise."""
        super().__init__(data, initial={"on": today}, **kwargs)
        self.fields["on"].validators.append(not_after(today))
