"""Tags that every page has: the way down to it (crumbs), and what a message offers to take back."""

from typing import Any
from urllib.parse import urlencode

from django import template
from django.contrib.messages.storage.base import Message
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext

from inventory.common import undo

register = template.Library()


@register.simple_block_tag
def crumbs(content: str) -> SafeString:
    """The way down to this page: one `crumb` for each step of it, the page itself last."""
    return format_html('<nav class="crumbs" aria-label="{}"><ol>{}</ol></nav>', gettext("Where this page lies"), content)


@register.simple_tag
def crumb(text: object, url_name: str | None = None, *args: Any, **asked: Any) -> SafeString:
    """One step of the way: a link to our URL `url_name`, or without one the page itself. `asked` goes into the query, blanks left out."""
    if url_name is None:
        return format_html('<li><span aria-current="page">{}</span></li>', text)
    query = urlencode({name: value for name, value in asked.items() if value})
    return format_html('<li><a href="{}">{}</a></li>', reverse(url_name, args=args) + (f"?{query}" if query else ""), text)


@register.filter
def undo_of(message: Message) -> undo.Undo | None:
    """What `message` offers to take back, if it does."""
    return undo.undo_of(message)
