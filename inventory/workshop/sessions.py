"""The only writer of where people are signed in."""

from datetime import datetime, timedelta

from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.models import Session
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from inventory.workshop.models import SignedIn, User

SEEN_EVERY = timedelta(minutes=1)
MOST_AGENT = 200
# What a browser says of itself names others too, for old reasons: the first that fits is it.
_BROWSERS = (("Edg", "Edge"), ("OPR", "Opera"), ("Firefox", "Firefox"), ("FxiOS", "Firefox"), ("Chrom", "Chrome"), ("CriOS", "Chrome"))
_SYSTEMS = (("Android", "Android"), ("iPhone", "iPhone"), ("iPad", "iPad"), ("Windows", "Windows"), ("Mac OS", "Mac"), ("Linux", "Linux"))


def saw(*, user: User, key: str, agent: str, now: datetime) -> None:
    """Note that a session was heard of. One statement, whether or not it was known."""
    row = SignedIn(user=user, key=key, agent=agent[:MOST_AGENT], since=now, seen_at=now)
    SignedIn.objects.bulk_create([row], update_conflicts=True, unique_fields=["key"], update_fields=["seen_at", "agent"])


@transaction.atomic
def end(*, signed_in: SignedIn) -> None:
    """Sign a person out in one place."""
    Session.objects.filter(session_key=signed_in.key).delete()
    SignedIn.objects.filter(pk=signed_in.pk).delete()


@transaction.atomic
def end_all(*, user: User, but: str = "") -> int:
    """Sign a person out everywhere, save in the session of key `but`; in how many places that was.

    All sessions are looked through: one that the list has not seen yet ends as well.
    """
    keys = [session.session_key for session in _live() if session.get_decoded().get(SESSION_KEY) == str(user.pk)]
    ended = [key for key in keys if key != but]
    Session.objects.filter(session_key__in=ended).delete()
    SignedIn.objects.filter(user=user).exclude(key=but).delete()
    return len(ended)


def forget_dead(*, user: User) -> None:
    """Drop the rows of sessions that are over."""
    SignedIn.objects.filter(user=user).exclude(key__in=_live().values("session_key")).delete()


def of(user: User) -> list[SignedIn]:
    """Where a person is signed in, the last seen first. One query."""
    return list(SignedIn.objects.filter(user=user, key__in=_live().values("session_key")).order_by("-seen_at", "-pk"))


def named(agent: str) -> str:
    """A browser in words, from what it says of itself: `Firefox on Android`."""
    browser = next((name for word, name in _BROWSERS if word in agent), "Safari" if "Safari" in agent else "A browser")
    system = next((name for word, name in _SYSTEMS if word in agent), "")
    return f"{browser} on {system}" if system else browser


def _live() -> QuerySet[Session]:
    return Session.objects.filter(expire_date__gt=timezone.now())
