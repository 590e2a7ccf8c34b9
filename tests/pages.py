"""What stands in a page of the site: its links and forms, and what is wrong with it for a browser or for somebody who can't see it."""

from dataclasses import dataclass
from html.parser import HTMLParser

import html5lib

VOID = frozenset({"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"})
NAMED_BY = ("aria-labelledby", "aria-describedby", "aria-controls", "aria-owns")
ASSETS = {"img": "src", "script": "src", "link": "href", "source": "src"}
FIELDS = frozenset({"input", "select", "textarea"})
NEEDS_NO_LABEL = frozenset({"hidden", "submit", "button", "reset", "image"})


@dataclass(frozen=True, slots=True)
class Link:
    """Where a page leads: an address, and how it is asked for."""

    address: str
    method: str = "GET"


class Page(HTMLParser):
    """A page, read once."""

    def __init__(self, text):
        super().__init__()
        self.links, self.assets, self.faults = set(), set(), []
        self.ids, self._refs, self._fors, self._fields = [], [], set(), []
        self._open, self._titles, self._headings, self._inline = [], 0, 0, 0
        self._form = None
        self.feed(text)
        self.close()
        self._judge()

    def handle_starttag(self, tag, pairs):
        given = dict(pairs)
        if len(given) != len(pairs):
            self.faults.append(f"<{tag}> says an attribute twice")
        self._look_inside(tag, given)
        self._look_for_links(tag, given)
        if tag not in VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag, pairs):
        self.handle_starttag(tag, pairs)
        if tag not in VOID:
            self._open.pop()

    def handle_endtag(self, tag):
        while self._open and self._open.pop() != tag:
            pass
        if tag == "form":
            self._form = None

    def handle_data(self, text):
        if text.strip() and self._open and self._open[-1] == "style":
            self.faults.append("an inline <style>")

    def _look_inside(self, tag, given):
        inside_svg = "svg" in self._open
        self._titles += tag == "title" and not inside_svg
        self._headings += tag == "h1"
        self.ids += [given["id"]] if "id" in given else []
        self._refs += [(name, one) for name in NAMED_BY for one in (given.get(name) or "").split()]
        self.faults += [f"<{tag}> has the attribute {name}" for name in given if name == "style" or name.startswith("on")]
        if tag == "script" and "src" not in given and given.get("type") != "application/json":
            self.faults.append("an inline <script>")
        if tag == "label" and "for" in given:
            self._fors.add(given["for"])
        if tag == "img" and "alt" not in given:
            self.faults.append("an <img> without alt")
        if tag in FIELDS and given.get("type") not in NEEDS_NO_LABEL:
            named = "label" in self._open or given.get("aria-label") or given.get("aria-labelledby")
            self._fields += [] if named else [(given.get("name"), given.get("id"))]

    def _look_for_links(self, tag, given):
        if tag == "a" and "href" in given:
            self.links.add(Link(given["href"]))
        if tag in ASSETS and given.get(ASSETS[tag]):
            self.assets.add(given[ASSETS[tag]])
        if tag == "form":
            self._form = (given.get("method") or "get").upper()
            self.links.add(Link(given.get("action") or "", self._form))
        if given.get("formaction"):
            self.links.add(Link(given["formaction"], (given.get("formmethod") or self._form or "get").upper()))

    def _judge(self):
        self.faults += [f"id {one} stands {self.ids.count(one)} times" for one in sorted(set(self.ids)) if self.ids.count(one) > 1]
        known = set(self.ids)
        self.faults += [f"{name} names {one}, which isn't there" for name, one in self._refs if one not in known]
        self.faults += [f"the field {name} has no label" for name, one in self._fields if one is None or one not in self._fors]
        self.faults += [f"a label is for {one}, which isn't there" for one in sorted(self._fors - known)]
        if self._headings != 1:
            self.faults.append(f"{self._headings} h1")
        if self._titles != 1:
            self.faults.append(f"{self._titles} title")


def invalid(text):
    """What HTML's own rules say against a page."""
    parser = html5lib.HTMLParser()
    parser.parse(text)
    return [f"{code} {data} near line {place[0]}" for place, code, data in parser.errors]
