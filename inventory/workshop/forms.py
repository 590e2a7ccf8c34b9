"""Signing in, issuing devices, members and one's own account."""

from collections.abc import Iterator
from typing import Any

from django import forms
from django.contrib.auth import password_validation
from django.contrib.auth.forms import AuthenticationForm, PasswordResetForm

from inventory.workshop import policy
from inventory.workshop.models import Bench, Device, Invitation, Member, Role, User


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


# Members


class MemberForm(forms.Form):
    """A member's name and role."""

    name = forms.CharField(label="Name", max_length=120, widget=forms.TextInput(attrs={"autocomplete": "off"}))
    role = forms.ChoiceField(label="Role", choices=Role.choices, help_text="what each may do: the page Roles")


class InviteForm(MemberForm):
    """Somebody to be invited. `start` is the start of the link's secret, chosen when the form is shown: sent twice, it invites once."""

    email = forms.EmailField(
        label="E-mail address", required=False, max_length=254, help_text="may be blank: then you hand the link over yourself"
    )
    bench = forms.ModelChoiceField(
        label="Bench", queryset=Bench.objects.none(), required=False, empty_label="none", help_text="what they will hold"
    )
    send = forms.BooleanField(label="Mail the link to that address", required=False)
    start = forms.CharField(widget=forms.HiddenInput, max_length=Invitation._meta.get_field("prefix").max_length)  # noqa: SLF001 - likewise
    field_order = ("name", "email", "send", "role", "bench", "start")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """The benches that somebody can hold."""
        super().__init__(*args, **kwargs)
        self.fields["role"].initial = Role.BUILDER
        self.fields["bench"].queryset = Bench.objects.filter(shared=False).order_by("code")  # type: ignore[attr-defined] # its field has one

    def clean(self) -> dict[str, Any]:
        """A mail needs an address."""
        given = super().clean() or {}
        if given.get("send") and not given.get("email") and "email" not in self.errors:
            self.add_error("email", "Give the address to mail it to, or don't mail it.")
        return given


class HoldersForm(forms.Form):
    """Whose a bench is."""

    members = forms.ModelMultipleChoiceField(
        label="Held by", queryset=Member.objects.none(), required=False, widget=forms.CheckboxSelectMultiple
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Who may use stock at all."""
        super().__init__(*args, **kwargs)
        hands = Member.objects.filter(active=True, role__in=policy.PERMISSIONS["use_stock"]).exclude(user=None).order_by("name", "pk")
        self.fields["members"].queryset = hands  # type: ignore[attr-defined] # likewise


class JoinForm(forms.Form):
    """What somebody who is signed in calls themselves in the workshop."""

    name = forms.CharField(label="Your name", max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"}))


class NewAccountForm(JoinForm):
    """An account for somebody who has none."""

    email = forms.EmailField(label="E-mail address", max_length=254, widget=forms.EmailInput(attrs={"autocomplete": "username"}))
    password = forms.CharField(
        label="Password",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="twelve characters at least",
    )

    def clean(self) -> dict[str, Any]:
        """Judge the password as everywhere."""
        given = super().clean() or {}
        if "password" in given:
            try:
                password_validation.validate_password(given["password"], User(email=given.get("email", "")))
            except forms.ValidationError as error:
                self.add_error("password", error)
        return given


class LeaveForm(forms.Form):
    """How somebody who leaves is called from then on."""

    KEEP, FORGET = "keep", "forget"
    name = forms.ChoiceField(
        label="The name in what was done",
        choices=[(KEEP, "stays"), (FORGET, 'becomes "a former member", in the history too')],
        initial=KEEP,
        widget=forms.RadioSelect,
    )


# One's own account


class CodeForm(forms.Form):
    """A code of the second step."""

    code = forms.CharField(
        label="Code",
        max_length=20,
        help_text="six digits of your authenticator app, or one of your backup codes",
        widget=forms.TextInput(attrs={"autocomplete": "one-time-code", "inputmode": "text", "size": 12}),
    )


class AppCodeForm(CodeForm):
    """The first code of an authenticator app."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """There are no backup codes yet."""
        super().__init__(*args, **kwargs)
        self.fields["code"].help_text = "six digits, as the app shows them now"


class ForgottenForm(PasswordResetForm):
    """The address to send a link to. The answer is the same for one that nobody has."""

    email = forms.EmailField(
        label="E-mail address", max_length=254, widget=forms.EmailInput(attrs={"autocomplete": "username", "autofocus": True})
    )

    def get_users(self, email: str) -> Iterator[User]:
        """Whose address it is; who has no password yet may get one this way too."""
        return User.objects.filter(email=User.objects.normalize_email(email).lower(), is_active=True).iterator()
