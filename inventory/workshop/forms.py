"""Signing in, and issuing devices."""

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm

from inventory.workshop import policy
from inventory.workshop.models import Device, User


class SignInForm(AuthenticationForm):
    """E-mail address and password. A wrong one says the same whether or not the address is known."""

    error_messages = {
        "invalid_login": "This e-mail address and password don't go together. Check both; capitals count in the password.",
        "inactive": "This e-mail address and password don't go together. Check both; capitals count in the password.",
    }
    username = forms.EmailField(label="E-mail address", widget=forms.EmailInput(attrs={"autocomplete": "username", "autofocus": True}))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Name the fields as the page does."""
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "E-mail address"

    def clean_username(self) -> str:
        """Addresses are kept in one case."""
        return User.objects.normalize_email(self.cleaned_data["username"]).lower()


class NameForm(forms.Form):
    """What a device is called."""

    name = forms.CharField(
        label="Name",
        max_length=80,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        help_text="which one it is, such as: scanner at the gate",
    )


class IssueForm(NameForm):
    """A device to be issued. `start` is the start of the token to be, chosen when the form is shown: sent twice, it issues once."""

    read = forms.BooleanField(label="Look things up (read)", required=False, initial=True)
    scan = forms.BooleanField(label="Send scans (scan)", required=False, initial=True)
    manage = forms.BooleanField(
        label="Everything (manage)", required=False, help_text="all that you may do yourself; looking up and scans are part of it"
    )
    start = forms.CharField(widget=forms.HiddenInput, max_length=Device._meta.get_field("prefix").max_length)  # noqa: SLF001 - Django's documented API

    @property
    def scopes(self) -> tuple[str, ...]:
        """What was ticked."""
        return tuple(name for name in policy.SCOPES if self.cleaned_data[name])
