"""What a print of the log is made of: the part that was asked for, in words, with the photos' files."""

from collections.abc import Callable, Collection, Sequence
from datetime import date

from buildplan.logbook import pdf, queries
from buildplan.logbook.pdf import Paper
from buildplan.logbook.queries import Asked, EntryRow
from buildplan.logbook.sums import sums
from buildplan.plan.calc import step_ref
from buildplan.plan.models import Section
from inventory.models import Member, Photo
from inventory.photos.queries import of as photos_of
from inventory.photos.services import path_of


def as_pdf(asked: Asked, entries: Sequence[EntryRow], workshop: str, *, today: date) -> bytes:
    """The print of these entries, which are what was asked for."""
    steps = {entry.step_id for entry in entries if entry.step_id is not None}
    kept = photos_of(step_ref(step) for step in steps)
    of_steps = {step: kept.get(step_ref(step), []) for step in steps}
    shown = [photo.id for entry in entries for photo in entry.photos] + [photo.id for photos in of_steps.values() for photo in photos]
    paper = Paper(
        workshop=workshop,
        title=f"Builder's log{f' of {asked.project.name}' if asked.project else ''}",
        about=_about(asked, today),
        entries=entries,
        sums=sums(asked),
        of_steps=queries.signatures_of_steps(steps),
        photos_of_steps=of_steps,
    )
    return pdf.as_pdf(paper, _files(shown))


def _about(asked: Asked, today: date) -> list[str]:
    period = f"{asked.first or 'the beginning'} to {asked.last or today}"
    lines = [f"Period: {period}. Printed {today}."]
    if asked.section is not None:
        lines.append(f"Section: {Section.objects.filter(pk=asked.section).values_list('name', flat=True).first()}")
    if asked.member is not None:
        lines.append(f"Entries in which {Member.objects.filter(pk=asked.member).values_list('name', flat=True).first()} worked")
    return lines


def _files(photos: Collection[int]) -> Callable[[int], bytes | None]:
    """Finds a photo's file; None where it is gone. One query for all."""
    paths = {photo.pk: path_of(photo) for photo in Photo.objects.filter(pk__in=photos)}

    def file(pk: int) -> bytes | None:
        try:
            return paths[pk].read_bytes()
        except (KeyError, FileNotFoundError):
            return None

    return file
