"""Looking a code up, and teaching one."""

from django import forms
from django.utils.translation import gettext_lazy as _

from buildplan.wanted.queries import LONGEST


class LookUpForm(forms.Form):
    """A code to look up."""

    code = forms.CharField(
        label=_("Code"),
        max_length=LONGEST,
        strip=False,
        help_text=_("as scanned or typed: a part number, a label, a lot, a place, CRATE-7/7A"),
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}),
    )


class TeachForm(forms.Form):
    """Which item an unknown code is of. `text` is what is taught of `code`: of a code with several parts, the one that names the item."""

    code = forms.CharField(max_length=LONGEST, strip=False, widget=forms.HiddenInput)
    text = forms.CharField(max_length=LONGEST, strip=False, widget=forms.HiddenInput)
    item = forms.CharField(
        label=_("It is"), max_length=80, help_text=_("any code that means the item"), widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
