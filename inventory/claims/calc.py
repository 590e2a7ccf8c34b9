"""Claim clocks, what is left to claim, and the letter as text. Pure: no Django, no clock."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from decimal import Decimal
from typing import Any

NOTHING = Decimal(0)
SENDER, CARRIER = "sender", "carrier"  # as a rule says whom to claim from; anything else is a name
_NUMBER_WIDTH = 3


@dataclass(frozen=True, slots=True)
class Deadline:
    """A claim clock on a day. `days_left` is 0 on the last day itself; below that it has lapsed. Every day counts, holidays too."""

    last_day: date
    days_left: int

    @property
    def lapsed(self) -> bool:
        """Whether the last day is over."""
        return self.days_left < 0

    def __str__(self) -> str:
        """How long is left, in words."""
        if self.lapsed:
            return f"lapsed {_days(-self.days_left)} ago"
        return f"{_days(self.days_left)} left" if self.days_left else "today is the last day"


def deadline(arrived_on: date, days: int, today: date) -> Deadline:
    """The last day is the day of arrival and `days` more; one past the calendar is the calendar's last."""
    return until(date.fromordinal(min(arrived_on.toordinal() + days, date.max.toordinal())), today)


def until(last_day: date, today: date) -> Deadline:
    """The clock of a last day that is known."""
    return Deadline(last_day, (last_day - today).days)


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"


def addressee(against: str, sender: str, carrier: str) -> str:
    """Whom a rule means: `sender` and `carrier` are the crate's own, blank is the sender, all else is a name. Blank where unknown."""
    wanted = against.strip()
    return {"": sender, SENDER: sender, CARRIER: carrier}.get(wanted.casefold(), wanted)


def still_to_claim(found: Decimal, claimed: Iterable[Decimal]) -> Decimal:
    """How much of a difference no claim covers."""
    return max(found - sum(claimed, NOTHING), NOTHING)


def next_code(code: str, taken: Iterable[str], most: int) -> str:
    """The code of a crate with replacements for the crate `code`: `CRATE-7/R1`, then `/R2`; of `CRATE-7/R1` too it is `CRATE-7/R2`."""
    base, _, tail = code.rpartition("/R")
    base = base if base and tail.isdecimal() else code
    known = {one.casefold() for one in taken}
    number = 1
    while (wanted := f"{base[: most - len(f'/R{number}')]}/R{number}").casefold() in known:
        number += 1
    return wanted


# The letter


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo that the letter names: of what, and when it was taken."""

    id: int
    caption: str


@dataclass(frozen=True, slots=True)
class Row:
    """One claimed thing: what it is, where it should be, and the figures under the letter's headings."""

    item: str
    name: str
    where: str
    figures: tuple[str, ...]
    note: str = ""


@dataclass(frozen=True, slots=True)
class Letter:
    """A claim letter: facts, as texts ready to print. Text and PDF are both made from this, so that they can't differ."""

    subject: str
    sent_by: tuple[str, ...]
    to: tuple[str, ...]
    day: str
    facts: tuple[tuple[str, str], ...]
    opening: str
    heads: tuple[str, ...]
    rows: tuple[Row, ...]
    photos: tuple[Photo, ...]
    closing: tuple[str, ...]


def as_facts(letter: Letter) -> dict[str, Any]:
    """The letter as JSON keeps it."""
    return asdict(letter)


def of_facts(facts: Mapping[str, Any]) -> Letter:
    """The letter that `as_facts` gave."""
    given = {name: tuple(facts[name]) for name in ("sent_by", "to", "heads", "closing")}
    rows = tuple(Row(**{**row, "figures": tuple(row["figures"])}) for row in facts["rows"])
    return Letter(
        subject=facts["subject"],
        day=facts["day"],
        opening=facts["opening"],
        facts=tuple((name, value) for name, value in facts["facts"]),
        rows=rows,
        photos=tuple(Photo(**photo) for photo in facts["photos"]),
        **given,
    )


def as_text(letter: Letter) -> str:
    """The whole letter as plain text, each line of it short enough for a mail."""
    return "\n".join(_lines(letter)).rstrip() + "\n"


def _lines(letter: Letter) -> Iterator[str]:
    yield from (*letter.sent_by, "", "To:", *letter.to, "", letter.day, "", letter.subject, "")
    yield from (f"{name}: {value}" for name, value in letter.facts)
    yield from ("", letter.opening, "")
    for number, row in enumerate(letter.rows, 1):
        yield from _row_lines(number, row, letter.heads)
    if letter.photos:
        yield from ("", "Photos:")
        yield from (f"{number:>{_NUMBER_WIDTH}}. {photo.caption}" for number, photo in enumerate(letter.photos, 1))
    yield from ("", *letter.closing)


def _row_lines(number: int, row: Row, heads: Sequence[str]) -> Iterator[str]:
    indent = " " * (_NUMBER_WIDTH + 2)
    yield f"{number:>{_NUMBER_WIDTH}}. {row.item}  {row.name}".rstrip()
    if row.where:
        yield f"{indent}{row.where}"
    yield indent + ", ".join(f"{head.lower()} {figure}" for head, figure in zip(heads, row.figures, strict=True))
    if row.note:
        yield f"{indent}{row.note}"
