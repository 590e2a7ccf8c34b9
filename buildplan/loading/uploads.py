"""A packing list as a page takes it: looked at first, with what it says compared with what it prints, then loaded whole."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from uuid import UUID

from django.db import transaction

from buildplan.loading.packing import Listed, Paper
from buildplan.loading.sent_files import SentFile, look_at, on_disk, refuse_many
from buildplan.loading.services import Outcome, Request, load
from buildplan.loading.targets import Named
from buildplan.loading.totals import Printed, difference, figure
from inventory.catalogue.services import lock
from inventory.common.fields import plain
from inventory.common.history import changed_by
from inventory.common.reasons import Reason
from inventory.models import Bench, Crate, Member, Sender
from inventory.scanning.lookups import near_codes
from inventory.workshop import policy

MOST_UNKNOWN = 30  # codes for which something near is looked for
THE_FILE = "the file"
KIND = "packing"


@dataclass(frozen=True, slots=True)
class Asked:
    """Which crate a list is of. `printed_lines` and `printed_quantity` are the totals on the paper: compared, never used."""

    bench: Bench
    crate: str
    due_on: date | None = None
    sender: Sender | None = None
    printed_lines: int | None = None
    printed_quantity: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Unknown:
    """A code on the list that means nothing here, and codes that are written alike."""

    text: str
    near: tuple[dict[str, str], ...]


@dataclass(frozen=True, slots=True)
class Total:
    """A total as the list prints it, None where it doesn't, and as its rows add up; `difference` says by how much they differ."""

    what: str
    printed: str | None
    computed: str
    difference: str
    reason: Reason


@dataclass(frozen=True, slots=True)
class Preview:
    """What loading would do, and what stands in its way. `taken` is the crate, where it has lines already."""

    outcome: Outcome
    unknown: tuple[Unknown, ...]
    more_unknown: int
    totals: tuple[Total, ...]
    taken: Crate | None = None


def preview(upload: SentFile, asked: Asked, *, by: Member, today: date) -> Preview:
    """Load it without keeping anything: every bad row is told, codes that mean nothing with what is near, and the totals."""
    outcome = load_list(upload, asked, by=by, today=today, dry_run=True)
    unknown = unknown_codes(outcome.listed)
    totals = (_lines(outcome.listed, asked), _bags(outcome.listed), _quantity(outcome.listed, asked))
    return Preview(outcome, unknown[:MOST_UNKNOWN], len(unknown[MOST_UNKNOWN:]), totals, listed_already(asked) if outcome.errors else None)


@transaction.atomic
def load_upload(*, upload: SentFile, asked: Asked, request_key: UUID, by: Member, today: date) -> tuple[Outcome, Crate | None]:
    """Load a packing list into a crate, all of it or nothing, and note who sent it and which totals it prints.

    No crate where there are errors. The same `request_key` for the same crate again finds what it made.
    """
    policy.require(by, "keep_stock", asked.bench)
    lock(by)
    if made := loaded_before(request_key, asked.crate):
        return Outcome({}, [], [], []), made
    outcome = load_list(upload, asked, by=by, today=today)
    if outcome.errors:
        return outcome, None
    crate = Crate.objects.get(code__iexact=asked.crate.strip())
    if crate.request_key is None and not Crate.objects.filter(request_key=request_key).exists():  # the form may have made another
        crate.request_key = request_key
        changed_by(crate, by).save(update_fields=["request_key"])
    return outcome, crate


def loaded_before(request_key: UUID, code: str) -> Crate | None:
    """The crate of a code that this form has made. One query."""
    return Crate.objects.filter(request_key=request_key, code__iexact=code.strip()).first()


def listed_already(asked: Asked) -> Crate | None:
    """The crate, where it has lines: a list is loaded once. One query."""
    return Crate.objects.filter(code__iexact=asked.crate.strip(), lines__isnull=False).first()


def load_list(upload: SentFile, asked: Asked, *, by: Member, today: date, dry_run: bool = False) -> Outcome:
    """Load a packing list by the hand of a member. Every fault is in the outcome's errors; `BadFile` for what is no list at all."""
    policy.require(by, "keep_stock", asked.bench)
    if asked.sender is not None:
        policy.own(by, asked.sender)
    look_at(upload)
    named = Named(workshop=by.workshop.code, bench=asked.bench.code, crate=asked.crate, due=asked.due_on)
    paper = Paper(asked.sender, asked.printed_lines, asked.printed_quantity)
    with on_disk(upload) as path:
        request = Request(KIND, path, named, dry_run=dry_run, paper=paper, called=upload.name)
        return load(request, today=today, progress=refuse_many, by=by)


def unknown_codes(listed: Listed) -> tuple[Unknown, ...]:
    """The codes that mean nothing, with what is near the first of them: looking for that takes a while."""
    texts = list(listed.unknown)
    near = near_codes(texts[:MOST_UNKNOWN]) if texts else {}
    advised = {text: ({"code": item.code, "item": item.code},) for text, item in listed.unknown.items() if item is not None}
    return tuple(Unknown(text, tuple(near.get(text, ())) or advised.get(text, ())) for text in texts)


def _lines(listed: Listed, asked: Asked) -> Total:
    lines, printed = listed.totals.lines, asked.printed_lines
    differs = "" if printed is None else difference(Fraction(lines), Fraction(printed))
    shown = None if printed is None else str(printed)
    return Total("Lines", shown, str(lines), differs, Reason("rows that read well, counted", THE_FILE))


def _bags(listed: Listed) -> Total:
    return Total("Bags", None, str(len(listed.totals.bags)), "", Reason("bags that such rows are in, counted", THE_FILE))


def _quantity(listed: Listed, asked: Asked) -> Total:
    sums = listed.totals.sums()
    computed = ", ".join(f"{figure(quantity)} {unit}" for unit, quantity in sums.items()) or "0"
    reason = Reason("quantities of the rows that read well, as they are written, added up by unit", THE_FILE)
    printed = listed.printed_in_all if asked.printed_quantity is None else asked.printed_quantity
    if printed is None:
        return Total("Pieces", None, computed, "", reason)
    differs = listed.totals.compare(Printed(printed)).difference
    return Total("Pieces", plain(printed), computed, differs, reason)
