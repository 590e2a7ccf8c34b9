"""What pages look like to their readers: whose midnight ends a day, the language, sizes and dates. Its choices are written here alone."""

from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from typing import TypeVar
from zoneinfo import ZoneInfo, available_timezones

from django.conf import settings
from django.db import transaction
from django.utils import timezone, translation

from inventory.common.history import assign, changed_by
from inventory.common.problems import FieldProblem
from inventory.common.showing import Dates, Inches, Showing, Sizes, reading
from inventory.workshop import policy
from inventory.workshop.models import Member, Workshop
from inventory.workshop.services import lock

KNOWN: Mapping[str, tuple[str, ...]] = {"sizes": tuple(Sizes.values), "inches": tuple(Inches.values), "dates": tuple(Dates.values)}
Row = TypeVar("Row", Workshop, Member)
_NEAR = 3  # near misses that a refusal offers
_NO_PLACES = ("Etc/", "SystemV/", "US/", "posix/", "right/")  # older names and offsets: understood, not offered


class BadShowing(FieldProblem):
    """A zone, a language or a style that there is none of."""

    title = "This setting doesn't do"


@dataclass(frozen=True, slots=True)
class Reader:
    """Everything that a request is read with. `language` is blank where the browser decides."""

    zone: ZoneInfo
    language: str
    showing: Showing


def reader_of(workshop: Workshop, member: Member | None = None) -> Reader:
    """The workshop's choices, over which the member's own go. No query."""
    chosen = {name: (getattr(member, name) if member else "") or getattr(workshop, name) for name in (*KNOWN, "language")}
    language = chosen.pop("language")
    return Reader(zone_of(workshop), language if language in dict(settings.LANGUAGES) else "", Showing(**chosen))


def nobody() -> Reader:
    """Who isn't signed in."""
    return Reader(ZoneInfo(settings.TIME_ZONE), "", Showing())


def zone_of(workshop: Workshop) -> ZoneInfo:
    """Whose midnight ends a day there. The site's, where none was chosen or its name is gone."""
    return ZoneInfo(workshop.time_zone if workshop.time_zone in zones() else settings.TIME_ZONE)


def by_clock_of(workshop: Workshop) -> timezone.override:
    """Within it, today is today in the workshop. For what has no request: commands, mails, feeds."""
    return timezone.override(zone_of(workshop))


def read_by(reader: Reader, language: str) -> ExitStack:
    """Within it, clock, texts, sizes and dates are the reader's. `language` is the one in force, theirs or their browser's."""
    stack = ExitStack()
    stack.enter_context(timezone.override(reader.zone))
    stack.enter_context(translation.override(language))
    stack.enter_context(reading(reader.showing))
    return stack


@cache
def zones() -> frozenset[str]:
    """The names of time zones that this machine knows."""
    return frozenset(available_timezones()) - {"Factory", "localtime"}


@cache
def offered_zones() -> tuple[str, ...]:
    """Those that a form offers: by region and city, and UTC."""
    return ("UTC", *sorted(name for name in zones() if "/" in name and not name.startswith(_NO_PLACES)))


def zone_named(text: str) -> str:
    """The zone of a name in any case, of a city alone too. Blank is the site's. Refuses what there is none of, with near misses."""
    asked = text.strip().replace(" ", "_")
    by_name = {name.casefold(): name for name in sorted(zones())}
    cities = {name.rsplit("/", 1)[-1].casefold(): name for name in reversed(offered_zones())}
    if not asked:
        return ""
    if found := by_name.get(asked.casefold()) or cities.get(asked.casefold()):
        return found
    near = get_close_matches(asked.casefold(), [*cities, *by_name], n=_NEAR, cutoff=0.75)
    named = dict.fromkeys(cities.get(name) or by_name[name] for name in near)
    did_you_mean = f"did you mean {' or '.join(named)}?" if named else "give a region and a city, such as Europe/Berlin"
    raise BadShowing("time_zone", f"there is no time zone {text.strip()[:80]!r}: {did_you_mean}")


@transaction.atomic
def set_workshop(*, workshop: Workshop, by: Member, **choices: str) -> Workshop:
    """Choose for the workshop: `time_zone`, `sizes`, `inches`, `dates`, `language`. Those that aren't given stay as they are."""
    policy.own(by, workshop)
    policy.require(by, "manage")
    kept = _judged(choices, own=False)
    lock(workshop)
    return _write(Workshop.objects.get(pk=workshop.pk), kept, by)


@transaction.atomic
def set_own(*, member: Member, by: Member, **choices: str) -> Member:
    """Choose for oneself: `sizes`, `inches`, `dates`, `language`. A blank is as in the workshop."""
    policy.own(by, member)
    if by.pk != member.pk:
        raise policy.NotAllowed("how pages look is each member's own choice")
    kept = _judged(choices, own=True)
    return _write(Member.objects.select_for_update(no_key=True, of=("self",)).get(pk=member.pk), kept, by)


def _write(row: Row, kept: Mapping[str, str], by: Member) -> Row:
    if assign(row, kept):
        changed_by(row, by).save(update_fields=list(kept))
    return row


def _judged(choices: Mapping[str, str], *, own: bool) -> dict[str, str]:
    return {name: _choice(name, text, own=own) for name, text in choices.items()}


def _choice(name: str, text: str, *, own: bool) -> str:
    if name == "time_zone" and not own:
        return zone_named(text)
    known = tuple(code for code, _ in settings.LANGUAGES) if name == "language" else KNOWN[name]
    if text in known or (text == "" and (own or name == "language")):
        return text
    raise BadShowing(name, f"{text[:80]!r} is no choice of {name}: there are {', '.join(known)}")
