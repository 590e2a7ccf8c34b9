"""Signing in, issuing devices, members and one's own account."""

from collections.abc import Iterator, Mapping
from datetime import date
from fractions import Fraction
from typing import Any, cast

from django import forms
from django.conf import settings
from django.contrib.auth import password_validation
from django.contrib.auth.forms import AuthenticationForm, PasswordResetForm
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inventory.common.showing import Dates, Inches, Showing, Sizes, day_text, named_size_text, size_text
from inventory.workshop import policy
from inventory.workshop.models import Bench, Device, Invitation, Member, Role, User, Workshop

_RIVET, _GRIP, _DAY = Fraction(1, 8), Fraction(3, 16), date(2027, 3, 6)  # what the choices are shown by


class SignInForm(AuthenticationForm):
    """E-mail address and password. A wrong one says the same whether or not the address is known."""

    error_messages = {
        "invalid_login": _("This e-mail address and password don't go together. Check both; capitals count in the password."),
        "inactive": _("This e-mail address and password don't go together. Check both; capitals count in the password."),
    }
    username = forms.EmailField(label=_("E-mail address"), widget=forms.EmailInput(attrs={"autocomplete": "username", "autofocus": True}))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Name the fields as the page does."""
        super().__init__(*args, **kwargs)
        self.fields["username"].label = _("E-mail address")

    def clean_username(self) -> str:
        """Addresses are kept in one case."""
        return User.objects.normalize_email(self.cleaned_data["username"]).lower()


class NameForm(forms.Form):
    """What a device is called."""

    name = forms.CharField(
        label=_("Name"),
        max_length=80,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        help_text=_("which one it is, such as: scanner at the gate"),
    )


class IssueForm(NameForm):
    """A device to be issued. `start` is the start of the token to be, chosen when the form is shown: sent twice, it issues once."""

    read = forms.BooleanField(label=_("Look things up (read)"), required=False, initial=True)
    scan = forms.BooleanField(label=_("Send scans (scan)"), required=False, initial=True)
    manage = forms.BooleanField(
        label=_("Everything (manage)"), required=False, help_text=_("all that you may do yourself; looking up and scans are part of it")
    )
    start = forms.CharField(widget=forms.HiddenInput, max_length=Device._meta.get_field("prefix").max_length)  # noqa: SLF001 - Django's documented API

    @property
    def scopes(self) -> tuple[str, ...]:
        """What was ticked."""
        return tuple(name for name in policy.SCOPES if self.cleaned_data[name])


# Members


class MemberForm(forms.Form):
    """A member's name and role."""

    name = forms.CharField(label=_("Name"), max_length=120, widget=forms.TextInput(attrs={"autocomplete": "off"}))
    role = forms.ChoiceField(label=_("Role"), choices=Role.choices, help_text=_("what each may do: the page Roles"))


class InviteForm(MemberForm):
    """Somebody to be invited. `start` is the start of the link's secret, chosen when the form is shown: sent twice, it invites once."""

    email = forms.EmailField(
        label=_("E-mail address"), required=False, max_length=254, help_text=_("may be blank: then you hand the link over yourself")
    )
    bench = forms.ModelChoiceField(
        label=_("Bench"), queryset=Bench.objects.none(), required=False, empty_label=_("none"), help_text=_("what they will hold")
    )
    send = forms.BooleanField(label=_("Mail the link to that address"), required=False)
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
            self.add_error("email", _("Give the address to mail it to, or don't mail it."))
        return given


class HoldersForm(forms.Form):
    """Whose a bench is."""

    members = forms.ModelMultipleChoiceField(
        label=_("Held by"), queryset=Member.objects.none(), required=False, widget=forms.CheckboxSelectMultiple
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Who may use stock at all."""
        super().__init__(*args, **kwargs)
        hands = Member.objects.filter(active=True, role__in=policy.PERMISSIONS["use_stock"]).exclude(user=None).order_by("name", "pk")
        self.fields["members"].queryset = hands  # type: ignore[attr-defined] # likewise


class JoinForm(forms.Form):
    """What somebody who is signed in calls themselves in the workshop."""

    name = forms.CharField(label=_("Your name"), max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"}))


class NewAccountForm(JoinForm):
    """An account for somebody who has none."""

    email = forms.EmailField(label=_("E-mail address"), max_length=254, widget=forms.EmailInput(attrs={"autocomplete": "username"}))
    password = forms.CharField(
        label=_("Password"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text=_("twelve characters at least"),
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
        label=_("The name in what was done"),
        choices=[(KEEP, _("stays")), (FORGET, _('becomes "a former member", in the history too'))],
        initial=KEEP,
        widget=forms.RadioSelect,
    )


# One's own account


class CodeForm(forms.Form):
    """A code of the second step."""

    code = forms.CharField(
        label=_("Code"),
        max_length=20,
        help_text=_("six digits of your authenticator app, or one of your backup codes"),
        widget=forms.TextInput(attrs={"autocomplete": "one-time-code", "inputmode": "text", "size": 12}),
    )


class AppCodeForm(CodeForm):
    """The first code of an authenticator app."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """There are no backup codes yet."""
        super().__init__(*args, **kwargs)
        self.fields["code"].help_text = _("six digits, as the app shows them now")


class ForgottenForm(PasswordResetForm):
    """The address to send a link to. The answer is the same for one that nobody has."""

    email = forms.EmailField(
        label=_("E-mail address"), max_length=254, widget=forms.EmailInput(attrs={"autocomplete": "username", "autofocus": True})
    )

    def get_users(self, email: str) -> Iterator[User]:
        """Whose address it is; who has no password yet may get one this way too."""
        return User.objects.filter(email=User.objects.normalize_email(email).lower(), is_active=True).iterator()


# How pages look


class ShowingForm(forms.Form):
    """A member's own choices of how pages look, each with what it makes of an example. A blank is as in the workshop."""

    sizes = forms.ChoiceField(label=_("Sizes"), required=False)
    inches = forms.ChoiceField(
        label=_("Inches"), required=False, help_text=_("Sixty-fourths and coarser are shown as fractions; finer sizes stay decimals.")
    )
    dates = forms.ChoiceField(label=_("Days"), required=False)
    language = forms.ChoiceField(label=_("Language"), required=False)

    def __init__(self, data: Any, *, workshop: Workshop, **kwargs: Any) -> None:
        """`workshop` is whose choices stand where nothing is chosen."""
        super().__init__(data, **kwargs)
        for name, choices in {**style_choices(), "language": language_choices()}.items():
            cast("forms.ChoiceField", self.fields[name]).choices = [*self.blank(name, dict(choices), workshop), *choices]

    def blank(self, name: str, choices: Mapping[str, str], workshop: Workshop) -> list[tuple[str, str]]:
        """What it means to choose nothing."""
        usual = choices.get(getattr(workshop, name)) or gettext("the browser's")
        return [("", gettext("as in the workshop (%(usual)s)") % {"usual": usual})]


class WorkshopShowingForm(ShowingForm):
    """What a workshop's members see unless they chose otherwise, and whose midnight ends a day."""

    time_zone = forms.CharField(
        label=_("Time zone"),
        required=False,
        max_length=64,
        widget=forms.TextInput(attrs={"autocomplete": "off", "list": "zones", "spellcheck": "false"}),
    )
    field_order = ("time_zone", "sizes", "inches", "dates", "language")

    def __init__(self, data: Any, *, workshop: Workshop, **kwargs: Any) -> None:
        """The zone's box says what a blank means."""
        super().__init__(data, workshop=workshop, **kwargs)
        said = gettext("Whose midnight ends a day: a region and a city, such as Europe/Berlin. Blank: the site's, %(zone)s.")
        self.fields["time_zone"].help_text = said % {"zone": settings.TIME_ZONE}
        for name in ("sizes", "inches", "dates"):
            self.fields[name].required = True

    def blank(self, name: str, choices: Mapping[str, str], workshop: Workshop) -> list[tuple[str, str]]:
        """A workshop may leave the language to each browser; of the rest it chooses one."""
        del choices, workshop
        return [("", gettext("as each reader's browser asks"))] if name == "language" else []


def style_choices() -> dict[str, list[tuple[str, str]]]:
    """The styles of sizes, inches and days, each with what it makes of an example."""
    named = {one: named_size_text(_RIVET, Showing(inches=one)) for one in Inches.values}
    grips = {one: size_text(_GRIP, Showing(inches=one)) for one in Inches.values}
    inches = gettext("%(way)s: a rivet of %(rivet)s, a grip of %(grip)s")
    return {
        "sizes": [(one.value, f"{one.label}: {size_text(_GRIP, Showing(sizes=one))}") for one in Sizes],
        "inches": [(one.value, inches % {"way": one.label, "rivet": named[one], "grip": grips[one]}) for one in Inches],
        "dates": [(one.value, f"{one.label}: {day_text(_DAY, Showing(dates=one))}") for one in Dates],
    }


def language_choices() -> list[tuple[str, str]]:
    """The languages that there are, each by its own name."""
    return [(code, str(name)) for code, name in settings.LANGUAGES]
