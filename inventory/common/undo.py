"""Undo offered with a message: what was just done, and the form that takes it back.

A message keeps no address, only the name of one of our own URLs with its arguments, so nothing that is kept can lead elsewhere.
"""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.messages.storage.base import Message
from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

MARK = "undo "
MOST_FIELDS = 500  # that a form sends; what would take more is told without a button


@dataclass(frozen=True, slots=True)
class Undo:
    """A form that takes back: where it posts to, the word on its button (None for the usual one), what it sends."""

    address: str
    label: str | None = None
    fields: tuple[tuple[str, str], ...] = ()


def undoable(
    request: HttpRequest, text: str, url_name: str, *args: Any, label: str | None = None, fields: Mapping[str, object] | None = None
) -> None:
    """Tell `text`, with a button that posts to our URL `url_name` and so takes back what was done.

    `fields` are sent with it (a key, the day that was, `next`; a list once for each). An URL that isn't ours raises `NoReverseMatch` here,
    not on the next page.
    """
    reverse(url_name, args=args)
    sent = [(name, str(value)) for name, values in (fields or {}).items() for value in _each(values)]
    if len(sent) > MOST_FIELDS:
        messages.success(request, text)
        return
    kept = {"url": url_name, "args": [str(each) for each in args], "label": label and str(label), "fields": sent}
    messages.success(request, text, extra_tags=MARK + json.dumps(kept))


def _each(values: object) -> Iterable[object]:
    return values if isinstance(values, list | tuple) else ("" if values is None else values,)


def as_it_stands(form: forms.Form) -> dict[str, object]:
    """What `form` would send if it were pressed as it opens: with the values before a change, that takes the change back."""
    sent: dict[str, object] = {}
    for box in form:
        value = box.value()
        if isinstance(box.field, forms.BooleanField) and not value:
            continue  # a box without its tick isn't sent
        shown = box.field.widget.format_value(value)  # as the page would write it
        sent[box.html_name] = "on" if value is True else shown
    return sent


def undo_of(message: Message) -> Undo | None:
    """What a message offers to take back, if it does. What can't be read, or names none of our URLs, offers nothing."""
    tags = message.extra_tags or ""
    if not tags.startswith(MARK):
        return None
    try:
        kept = json.loads(tags.removeprefix(MARK))
        return Undo(reverse(kept["url"], args=kept["args"]), kept["label"], tuple((name, value) for name, value in kept["fields"]))
    except (ValueError, KeyError, TypeError, NoReverseMatch):
        return None
