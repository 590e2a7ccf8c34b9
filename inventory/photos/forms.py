"""What a photo asks."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext_lazy as _

from inventory.common.pictures import BadPicture
from inventory.photos.services import MOST_CAPTION, read_upload


class PhotoInput(forms.FileField):
    """A picture from the camera or a file, made anew as it is read; None where none was chosen."""

    def __init__(self, **kwargs: Any) -> None:
        """A phone offers its camera."""
        widget = forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp", "capture": "environment"})
        super().__init__(widget=widget, **kwargs)

    def clean(self, data: Any, initial: Any = None) -> Any:
        """The picture, ready to be kept."""
        file = super().clean(data, initial)
        if not isinstance(file, UploadedFile):
            return None
        try:
            return read_upload(file)
        except BadPicture as problem:
            raise ValidationError(str(problem)) from problem


class PhotoForm(forms.Form):
    """A photo and what it shows."""

    photo = PhotoInput(label=_("Photo"))
    caption = forms.CharField(label=_("Caption"), required=False, max_length=MOST_CAPTION)
