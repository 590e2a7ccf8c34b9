"""Every page says where it lies, or is one that everything else lies under."""

import re
from pathlib import Path

import pytest
from django.conf import settings
from django.utils.text import smart_split

TEMPLATES = settings.BASE_DIR / "templates"
TOP = {  # an entry of the menu, or of the footer
    "receiving/crates",
    "stock/shelves",
    "tonight/tonight",
    "plan/plan",
    "plan/choose",
    "shortfall/order_sheet",
    "ageing/shelf_life",
    "club/club",
    "scanning/scan",
    "hardware/settings",
    "workshop/members",
    "workshop/account",
    "figures/list",
    "finding/words",
    "finding/find",
    "api/reference",
}
OUTSIDE = {  # before one is in, or nowhere
    "workshop/sign_in",
    "workshop/sign_in_link",
    "workshop/code",
    "workshop/dead_link",
    "workshop/forgotten",
    "workshop/sent",
    "workshop/reset",
    "workshop/join",
    "workshop/locked",
    "workshop/no_membership",
    "loading/set_up",
    "problem",
    "400",
    "403",
    "403_csrf",
    "404",
    "405",
}
PAGES = sorted(path for path in TEMPLATES.rglob("*.html") if '{% extends "base.html" %}' in path.read_text())


def name(path: Path) -> str:
    return str(path.relative_to(TEMPLATES).with_suffix(""))


def test_every_page_has_crumbs_or_is_a_top_one():
    without = {name(path) for path in PAGES if "{% block crumbs %}" not in path.read_text()}

    assert without == TOP | OUTSIDE


@pytest.mark.parametrize("path", [path for path in PAGES if "{% block crumbs %}" in path.read_text()], ids=name)
def test_crumbs_end_with_the_page_itself(path):
    """One crumb without an address, the last; where a page has two faces, each of them has one."""
    text = re.search(r"{% crumbs %}(.*?){% endcrumbs %}", path.read_text(), re.DOTALL)[1]
    crumbs = [list(smart_split(each)) for each in re.findall(r"{% crumb (.*?) %}", text)]
    texts = [each[0] for each in crumbs]
    ends = [each[0] for each in crumbs if len(each) == 1]

    assert ends == texts[-len(ends) :]
    assert len(ends) == (2 if text.rstrip().endswith("{% endif %}") else 1)
