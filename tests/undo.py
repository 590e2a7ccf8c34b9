"""What a message offers to take back, pressed as a person presses it."""

import re
from html import unescape
from http import HTTPStatus

from django.urls import reverse


def pressed(client, url_name, /, *args, **given):
    """Send a form, then press what the message on the next page offers; the page after that."""
    page = client.post(reverse(url_name, args=args), given, follow=True)
    return undone(client, page)


def undone(client, page):
    """Press what a message of this page offers; the page after it."""
    form = re.search(r'<form action="([^"]+)" method="post" class="undo">(.*?)</form>', page.content.decode(), re.DOTALL)
    assert form, "no message offers to undo"
    sent = {}
    for name, value in re.findall(r'name="(\w+)" value="([^"]*)"', form[2]):
        sent.setdefault(name, []).append(unescape(value))
    answer = client.post(unescape(form[1]), sent, follow=True)
    assert answer.status_code in {HTTPStatus.OK, HTTPStatus.NOT_FOUND}, answer.content.decode()  # a page may be of what is gone
    return unescape(answer.content.decode())
