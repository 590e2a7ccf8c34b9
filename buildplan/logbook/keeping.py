"""Photos that stay: those of an entry or a step that somebody signed, and those that a section was closed up with.

What is added later is no change of what was there, so it may go again.
"""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime

from buildplan.logbook.models import LogEntry, Signature
from buildplan.plan.models import Section, Step
from inventory.photos.keeping import number_of
from inventory.photos.queries import PhotoRow

STRUCK = "this entry was struck out: write a new one"
Closed = Mapping[int, tuple[str, datetime]]


def seen_text(name: str, at: datetime) -> str:
    """Why nothing of a signed entry changes, and what would do."""
    return (
        f"{name} has seen and signed this entry on {at:%Y-%m-%d}: it changes no more. "
        "Write a further entry, or ask them to withdraw the signature"
    )


def photos_of_entries(photos: Sequence[PhotoRow], *, hold: bool) -> dict[int, str]:
    """All of an entry that is signed or struck out, as its text; else those that its step's section was closed up with. Four queries."""
    entries = {number_of(photo) for photo in photos}
    sections = dict(LogEntry.objects.filter(pk__in=entries).exclude(step=None).values_list("pk", "step__section_id"))
    closed = _closed(sections.values(), hold=hold)
    rows = LogEntry.objects.filter(pk__in=entries).order_by("pk")
    held = rows.select_for_update(of=("self",)) if hold else rows
    fixed = {row.pk: STRUCK for row in held if row.struck_at is not None}
    signed = Signature.objects.filter(entry__in=entries, withdrawn_at=None).order_by("-pk")
    fixed |= {entry: seen_text(name, at) for entry, name, at in signed.values_list("entry_id", "name", "at")}
    why = {photo.id: fixed.get(entry := number_of(photo)) or _of_closed(photo, sections.get(entry), closed) for photo in photos}
    return {photo: text for photo, text in why.items() if text}


def photos_of_steps(photos: Sequence[PhotoRow], *, hold: bool) -> dict[int, str]:
    """Those that a standing signature of the step has seen, and those that its section was closed up with. Four queries at most."""
    steps = {number_of(photo) for photo in photos}
    sections = dict(Step.objects.filter(pk__in=steps).values_list("pk", "section_id"))
    closed = _closed(sections.values(), hold=hold)
    if hold:  # who signs a step locks it first
        list(Step.objects.select_for_update(of=("self",)).filter(pk__in=steps).order_by("pk"))
    signed = Signature.objects.filter(step__in=steps, withdrawn_at=None).order_by("-pk")
    seen = {
        photo: f"{name} has seen and signed this step on {at:%Y-%m-%d}, and this photo with it, so it stays: "
        "add a further photo, or ask them to withdraw the signature"
        for name, at, said in signed.values_list("name", "at", "seen")
        for photo in said.get("photos", ())
    }
    why = {photo.id: seen.get(photo.id) or _of_closed(photo, sections.get(number_of(photo)), closed) for photo in photos}
    return {photo: text for photo, text in why.items() if text}


def _closed(sections: Collection[int], *, hold: bool) -> Closed:
    """Those of some sections that are closed up: their name, and since when. Who closes one up locks it first."""
    rows = Section.objects.filter(pk__in=set(sections)).order_by("pk")
    held = rows.select_for_update(no_key=True) if hold else rows
    return {row.pk: (row.name, row.closed_at) for row in held if row.closed_at is not None}


def _of_closed(photo: PhotoRow, section: int | None, closed: Closed) -> str:
    name, at = closed.get(section, ("", None)) if section is not None else ("", None)
    if at is None or photo.at > at:
        return ""
    return (
        f"{name} was closed up on {at:%Y-%m-%d}, and this photo was there by then, so it stays: "
        "add a further photo, or open the section again first, with the reason"
    )
