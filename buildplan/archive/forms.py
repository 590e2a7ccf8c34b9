"""What the page of archives sends."""

from django import forms


class AskForm(forms.Form):
    """A request for an archive: the key tells a second press from a second wish."""

    key = forms.UUIDField(widget=forms.HiddenInput)
