"""The only writer of labels and of the sheets they are printed on."""

import secrets
from collections.abc import Sequence
from decimal import Decimal

from django.db import transaction
from django_scopes import scopes_disabled

from inventory.common.history import assign, changed_by, create_many
from inventory.common.problems import FieldProblem, NotHere, Problem
from inventory.common.rows import batches
from inventory.common.texts import BadText, filled
from inventory.labels import queries
from inventory.labels.calc import Sheet, misfit
from inventory.labels.drawing import Job, check, sheet_pdf
from inventory.labels.models import Label, LabelSheet
from inventory.labels.queries import KINDS, Labelled, Thing
from inventory.scanning.calc import BITS, make_token
from inventory.stock.models import End, Place
from inventory.workshop import policy
from inventory.workshop.models import Member, Workshop

MOST_NAME = 80
MOST_SHEETS = 50


class NotLabelled(Problem):
    """An end of the ledger: nothing lies there."""

    title = "No label for that"


class NothingChosen(Problem):
    """A print of nothing."""


class NotPrintedYet(Problem):
    """A reprint of what was never printed: opening an address must not make anything."""

    status = 409
    title = "Not printed yet"


@transaction.atomic
def ensure_labels(*, rows: Sequence[Labelled], by: Member) -> list[Label]:
    """The labels of bags, lots and places, in their order; a token is made for each that has none. A fixed number of queries for each 500.

    A token never changes: printed twice, or after its place was renamed, a label says the same.
    """
    policy.own(by, *rows)
    policy.require(by, "use_stock")
    for row in rows:
        if isinstance(row, Place) and row.end != End.STORAGE:
            raise NotLabelled(f"{row.path} is an end of the ledger, where nothing lies: label the places that hold something")
    found = _labels(rows)
    if any(_key(row) not in found for row in rows):
        Workshop.objects.select_for_update(no_key=True).get(pk=by.workshop_id)  # nobody labels one between this look and the save
        found = _labels(rows)
        missing = {_key(row): row for row in rows if _key(row) not in found}
        made = create_many([_label(row, token) for row, token in zip(missing.values(), _tokens(len(missing)), strict=True)], by)
        found.update(zip(missing, made, strict=True))
    return [found[_key(row)] for row in rows]


def _key(row: Labelled) -> tuple[str, int]:
    return next(kind for kind, model in KINDS.items() if isinstance(row, model)), row.pk


def _labels(rows: Sequence[Labelled]) -> dict[tuple[str, int], Label]:
    found: dict[tuple[str, int], Label] = {}
    for kind in KINDS:
        for batch in batches(row.pk for row in rows if _key(row)[0] == kind):
            labels = Label.objects.filter(**{f"{kind}__in": batch})
            found.update(((kind, getattr(label, f"{kind}_id")), label) for label in labels)
    return found


def _label(row: Labelled, token: str) -> Label:
    kind, pk = _key(row)
    return Label(workshop_id=row.workshop_id, token=token, **{f"{kind}_id": pk})


def _tokens(count: int) -> list[str]:
    """New tokens that no label of any workshop has: one that was drawn before is drawn again."""
    made: dict[str, None] = {}
    while len(made) < count:
        drawn = dict.fromkeys(make_token(secrets.randbits(BITS)) for _ in range(count - len(made)))
        taken = _taken(list(drawn))
        made.update((token, None) for token in drawn if token not in taken)
    return list(made)


def _taken(tokens: Sequence[str]) -> set[str]:
    taken: set[str] = set()
    with scopes_disabled():  # a token is one label's, whichever workshop's
        for batch in batches(tokens):
            taken.update(Label.objects.filter(token__in=batch).values_list("token", flat=True))
    return taken


@transaction.atomic
def label_things(*, things: Sequence[Thing], by: Member) -> list[Label]:
    """`ensure_labels` for things that somebody named; one that isn't of this workshop is refused, and then none is labelled."""
    rows = queries.rows_of(things)
    if len(rows) < len(things):
        raise NotHere("one of these isn't in this workshop, or is gone: look them up again")
    return ensure_labels(rows=rows, by=by)


@transaction.atomic
def print_labels(*, things: Sequence[Thing], job: Job, by: Member, make: bool = True) -> bytes:
    """The labels of `things` as PDF; a token is made for each that has none. Without `make` they must have been printed before."""
    policy.require(by, "use_stock")
    if not things:
        raise NothingChosen("nothing is chosen: tick what to print labels for")
    check(len(things), job)
    if make:
        label_things(things=things, by=by)
    faces = queries.faces(things)
    if without := len(things) - sum(face.token is not None for face in faces):
        raise NotPrintedYet(f"{without} of these {len(things)} have no label yet: print them with the button, which makes one")
    return sheet_pdf(faces, job)


# Sheets


@transaction.atomic
def save_sheet(  # noqa: PLR0913 - a sheet is its measurements
    *,
    workshop: Workshop,
    by: Member,
    name: str,
    page_width: Decimal,
    page_height: Decimal,
    left: Decimal,
    top: Decimal,
    columns: int,
    rows: int,
    label_width: Decimal,
    label_height: Decimal,
    gap_x: Decimal,
    gap_y: Decimal,
    sheet: LabelSheet | None = None,
) -> LabelSheet:
    """Keep a sheet, or change one, all in millimetres. Refuses one whose labels don't fit its page. The same again is the same sheet."""
    policy.own(by, workshop, *([] if sheet is None else [sheet]))
    policy.require(by, "keep_stock")
    Workshop.objects.select_for_update(no_key=True).get(pk=workshop.pk)
    across = (page_width, page_height, left, top, columns, rows)
    wanted = Sheet("", _name(name), *across, label_width, label_height, gap_x, gap_y)
    if (wrong := misfit(wanted)) is not None:
        raise FieldProblem(wrong.field, wrong.text)
    fields = {field: getattr(wanted, field) for field in wanted.__slots__ if field != "key"}
    same = _same_name(workshop, wanted.name, sheet)
    if same is not None and (sheet is not None or any(getattr(same, field) != value for field, value in fields.items())):
        raise FieldProblem("name", f"there is a sheet {same.name} already, with other measurements: give this one another name")
    if same is not None:
        return same
    return _keep(sheet or LabelSheet(workshop=workshop), fields, by)


def _name(name: str) -> str:
    try:
        return filled("name", name, MOST_NAME)
    except BadText as error:
        raise FieldProblem("name", str(error)) from error


def _same_name(workshop: Workshop, name: str, sheet: LabelSheet | None) -> LabelSheet | None:
    """Another sheet of that name, in any case."""
    rows = list(LabelSheet.objects.filter(workshop=workshop).order_by("pk"))
    if sheet is None and len(rows) >= MOST_SHEETS:
        raise FieldProblem("name", f"this workshop has {len(rows)} sheets already: remove one that is used no more")
    return next((row for row in rows if row.name.upper() == name.upper() and row != sheet), None)


def _keep(row: LabelSheet, fields: dict[str, object], by: Member) -> LabelSheet:
    if assign(row, fields):
        changed_by(row, by).save()
    return row


@transaction.atomic
def remove_sheet(*, sheet: LabelSheet, by: Member) -> None:
    """Offer a sheet no more. Labels printed on it stay good."""
    policy.own(by, sheet)
    policy.require(by, "keep_stock")
    changed_by(sheet, by).delete()
