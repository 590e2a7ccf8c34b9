"""What a search finds, in the shapes that page and API share."""

from dataclasses import dataclass
from datetime import date

from django.urls import reverse
from django.utils.http import urlencode

LABELS = {
    "item": "Items",
    "lot": "Lots",
    "bag": "Bags",
    "crate": "Crates",
    "place": "Places",
    "step": "Steps",
    "project": "Projects",
    "assembly": "Assemblies",
    "conflict": "Conflicts",
    "notice": "Makers' notices",
    "member": "People",
    "thing": "Things of the pool",
    "seal_day": "Seal days",
}


@dataclass(frozen=True, slots=True)
class To:
    """A page: the name of its address, what stands in it, and what it is asked."""

    name: str
    args: tuple[str | int, ...] = ()
    asked: tuple[tuple[str, str], ...] = ()

    @property
    def address(self) -> str:
        """As a browser takes it."""
        return reverse(self.name, args=self.args) + (f"?{urlencode(self.asked)}" if self.asked else "")


@dataclass(frozen=True, slots=True)
class Hit:
    """One thing that was found: what it is, where it lies, one line of what else matters. `exact`: the text is its code or name."""

    kind: str
    id: int
    code: str
    name: str
    what: str
    where: str
    line: str
    to: To
    exact: bool = False


@dataclass(frozen=True, slots=True)
class Group:
    """What was found of one kind, the best first. `more`: there are others; `every` is the page that lists them all, where one does."""

    kind: str
    hits: tuple[Hit, ...]
    more: bool = False
    every: To | None = None

    @property
    def label(self) -> str:
        """As its heading."""
        return LABELS[self.kind]


@dataclass(frozen=True, slots=True)
class Found:
    """All that was found for a text. Of `near` the names are written nearly alike: only what finds nothing else has some.

    `exact` is the page of the one thing whose very code or name it is. `unknown` says what an unknown code reads as, `teach` that it
    may be taught, `day` that the text is a day without a seal day.
    """

    text: str
    groups: tuple[Group, ...] = ()
    near: tuple[Group, ...] = ()
    exact: To | None = None
    unknown: str = ""
    teach: bool = False
    day: date | None = None
