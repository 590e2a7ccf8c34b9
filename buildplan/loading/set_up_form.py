"""The first workshop of a site, and its owner."""

from typing import Any

from django import forms
from django.contrib.auth import password_validation
from django.core.exceptions import ValidationError
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inventory.models import User


class SetUpForm(forms.Form):
    """The code that a command prints, the workshop, who owns it."""

    code = forms.CharField(
        label=_("Code"), max_length=200, help_text=_("as manage.py set_up prints it"), widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
    workshop = forms.CharField(
        label=_("Workshop, as a short code"),
        max_length=40,
        help_text=_("such as MARSH: it stands in commands and files"),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    workshop_name = forms.CharField(label=_("Its name"), max_length=120, widget=forms.TextInput(attrs={"autocomplete": "organization"}))
    name = forms.CharField(label=_("Your name"), max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"}))
    email = forms.EmailField(label=_("Your e-mail address"), max_length=254, widget=forms.EmailInput(attrs={"autocomplete": "username"}))
    password = forms.CharField(
        label=_("A password"),
        strip=False,
        help_text=_("at least 12 characters"),
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )
    again = forms.CharField(label=_("Once more"), strip=False, widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}))

    def clean(self) -> dict[str, Any]:
        """Both passwords alike, and one that does."""
        given = super().clean() or {}
        if given.get("password") and given.get("again") and given["password"] != given["again"]:
            self.add_error("again", gettext("The two passwords differ."))
        elif given.get("password"):
            try:
                password_validation.validate_password(given["password"], User(email=given.get("email", "")))
            except ValidationError as error:
                self.add_error("password", error)
        return given

    @property
    def given(self) -> dict[str, str]:
        """What was given, as the service takes it."""
        return {name: value for name, value in self.cleaned_data.items() if name != "again"}
