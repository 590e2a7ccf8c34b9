"""The browser tests' own tools."""

from http import HTTPStatus

import pytest
from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore

PAGE = """<!doctype html><html lang="en"><head><title>Shelves</title>
<meta name="viewport" content="width=device-width"><style>{style}</style></head>
<body><main><h1>Shelves</h1><p>Drawer 3</p></main></body></html>"""


def test_browser_reaches_the_site(page, live_server):
    answer = page.goto(f"{live_server.url}/no-such-page/")

    assert answer.status == HTTPStatus.NOT_FOUND


def test_signed_in_member_has_a_session(signed_in, builder, context):
    signed_in(builder)

    (cookie,) = context.cookies()
    assert cookie["name"] == settings.SESSION_COOKIE_NAME
    assert SessionStore(cookie["value"])[SESSION_KEY] == str(builder.user_id)


def test_axe_passes_a_plain_page(page, axe):
    page.set_content(PAGE.format(style=""))

    axe(page)


@pytest.mark.parametrize(
    ("style", "told"),
    [
        ("p { color: #aaa; background: #fff }", "light, 390 px wide: .*color contrast"),
        ("@media (prefers-color-scheme: dark) { p { color: #444; background: #222 } }", "dark, 390 px wide: .*color contrast"),
        ("p { width: 600px }", "light, 390 px wide: the page scrolls sideways"),
        ("@media (min-width: 1000px) { p { color: #aaa; background: #fff } }", "light, 1280 px wide: "),
    ],
)
def test_axe_refuses_a_page_that_someone_cannot_use(page, axe, style, told):
    page.set_content(PAGE.format(style=style))

    with pytest.raises(AssertionError, match=f"(?s){told}"):
        axe(page)
