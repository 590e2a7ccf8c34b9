"""A message may carry what takes back what was just done; a page says where it lies."""

import json

import pytest
from django.contrib.messages import constants
from django.contrib.messages.storage.base import Message
from django.contrib.messages.storage.cookie import MessageDecoder, MessageEncoder
from django.contrib.messages.storage.session import SessionStorage
from django.contrib.sessions.backends.signed_cookies import SessionStore
from django.http import HttpRequest
from django.template import engines
from django.template.loader import render_to_string
from django.urls import NoReverseMatch, reverse

from inventory.common.undo import MARK, Undo, undo_of, undoable


@pytest.fixture
def asked():
    request = HttpRequest()
    request.session = SessionStore()
    request._messages = SessionStorage(request)
    return request


def told(request):
    """The messages as the next page gets them: through what keeps them between two requests."""
    found = list(request._messages)
    return json.loads(json.dumps(found, cls=MessageEncoder), cls=MessageDecoder)


def shown(text, **context):
    return engines["django"].from_string(text).render(context)


def test_undo_survives_to_the_next_page_with_what_it_sends(asked):
    undoable(asked, "Planned.", "planned", "TERN-1", "F3/04", label="Take back", fields={"day": "2027-03-14"})

    (message,) = told(asked)

    assert (message.level_tag, message.message) == ("success", "Planned.")
    assert undo_of(message) == Undo(reverse("planned", args=["TERN-1", "F3/04"]), "Take back", (("day", "2027-03-14"),))


@pytest.mark.parametrize(("name", "args"), [("https://elsewhere.example/", []), ("/sign-out/", []), ("undo-tally", ["all"])])
def test_undo_takes_the_names_of_our_urls_alone(asked, name, args):
    with pytest.raises(NoReverseMatch):
        undoable(asked, "Done.", name, *args)

    assert not told(asked)


@pytest.mark.parametrize(
    "kept",
    [
        "",
        "warning",
        f"{MARK}no json",
        MARK + json.dumps([1]),
        MARK + json.dumps({"url": "undo-tally"}),
        MARK + json.dumps({"url": "//elsewhere.example/", "args": [], "label": None, "fields": []}),
        MARK + json.dumps({"url": "undo-tally", "args": ["//elsewhere.example"], "label": None, "fields": []}),
    ],
)
def test_what_cannot_be_read_or_is_not_ours_offers_nothing(kept):
    assert undo_of(Message(constants.SUCCESS, "Done.", extra_tags=kept)) is None


def test_message_shows_a_form_with_its_token_and_marks_text_as_text(asked):
    undoable(asked, "5 of <b>R7</b> moved.", "undo-tally", 7, fields={"key": '"><script>'})

    page = render_to_string("parts/messages.html", {"messages": told(asked), "csrf_token": "abc"})

    assert f'action="{reverse("undo-tally", args=[7])}" method="post"' in page
    assert 'name="csrfmiddlewaretoken" value="abc"' in page
    assert "&lt;b&gt;R7" in page
    assert "<script>" not in page
    assert 'class="success"' in page
    assert ">Undo</button>" in page


def test_message_without_undo_has_no_form(asked):
    page = render_to_string("parts/messages.html", {"messages": [Message(constants.ERROR, "No.")], "csrf_token": "abc"})

    assert "<form" not in page
    assert 'class="error"' in page


def test_crumbs_lead_down_to_the_page_itself():
    page = shown('{% crumbs %}{% crumb "Crates" "crates" project="A&B" bench="" %}{% crumb bag %}{% endcrumbs %}', bag="<i>")

    assert f'<li><a href="{reverse("crates")}?project=A%26B">Crates</a></li>' in page
    assert '<li><span aria-current="page">&lt;i&gt;</span></li>' in page
    assert 'aria-label="Where this page lies"' in page
