"""Signing in."""

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm

from inventory.workshop.models import User


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
