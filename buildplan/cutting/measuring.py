"""Writing down how large lots are: an offcut must give what is promised from it, unless a reason is given why that is given up."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction

from django.db import transaction

from buildplan.cutting import queries
from buildplan.cutting.keeping import planned_on, unfit_on
from buildplan.cutting.models import Blank, Cut, Form, Measured
from buildplan.cutting.planning import give_up, lock_cuts
from buildplan.cutting.stating import checked_grain, checked_unit, size_of
from inventory.common.history import MOST_WHY, changed_by
from inventory.common.problems import FieldProblem
from inventory.common.texts import optional
from inventory.models import Lot, Member
from inventory.stock import services as stock
from inventory.workshop import policy

MOST_CERTIFICATE = 120


@dataclass(frozen=True, slots=True)
class Kept:
    """An offcut that is kept: as measured, in `unit`. Sizes may be missing where nobody has measured it yet."""

    length: Fraction | None = None
    width: Fraction | None = None
    unit: str = "mm"
    grain: str = ""


@dataclass(frozen=True, slots=True)
class Release:
    """Why what was promised from an offcut is given up, and when: its pieces are wanted again."""

    why: str
    at: datetime


@transaction.atomic
def measure(  # noqa: PLR0913 - what is said of a lot
    *, lot: Lot, said: Kept, by: Member, thickness: Fraction | None = None, certificate: str = "", release: Release | None = None
) -> Measured:
    """Write down how large a lot really is, and its certificate. Where it was cut from something, that stays as it was.

    Refused where it then doesn't give what is planned on it, unless `release` says why: those cuts are given up, and their pieces are
    wanted again.
    """
    policy.require(by, "use_stock", lot.bench)
    policy.own(by, lot)
    held, locked = hold_for_measuring(lot, by)
    blank = queries.blank_of(locked.item_id)
    if blank is None:
        raise FieldProblem("length", f"{locked.item.code} is no blank: say first that pieces are cut from it")
    fields = checked(said, blank) | {
        "thickness": None if thickness is None else size_of("thickness", thickness, said.unit),
        "certificate": optional("certificate", certificate, MOST_CERTIFICATE),
    }
    found = Measured.objects.filter(lot=locked).first() or Measured(workshop_id=locked.workshop_id, lot=locked)
    for name, value in fields.items():
        setattr(found, name, value)
    _keep_or_release(found, held, release, by)
    changed_by(found, by).save()
    return found


def hold_for_measuring(lot: Lot, by: Member) -> tuple[Mapping[int, Cut], Lot]:
    """The cuts that are planned on a lot, by id, and the lot, all held until the transaction ends."""
    return lock_cuts(planned_on(lot), by, "read"), stock.lock_lot(lot)


def _keep_or_release(found: Measured, held: Mapping[int, Cut], release: Release | None, by: Member) -> None:
    """What is planned on a lot that is measured so stays; what it doesn't give is given up where a reason is given."""
    saws = queries.rules()
    why = "" if release is None else optional("release", release.why, MOST_WHY)
    for row in planned_on(found.lot):
        text = unfit_on(row, found, saws)
        if text and (release is None or not why or row.pk not in held):
            raise FieldProblem("length", f"{text}. Measure it again, or say why that is given up: then the pieces are wanted again")
        if text and release is not None:
            policy.require(by, "use_stock", held[row.pk].step.project.bench)
            give_up(held[row.pk], release.at, by, why)


def checked(one: Kept, blank: Blank) -> dict[str, object]:
    """What is set on the row of what is measured so; a `FieldProblem` says what can't be."""
    unit = checked_unit(one.unit)
    if blank.form == Form.BAR and one.width is not None:
        raise FieldProblem("kept", "an offcut of a bar has a length alone")
    if blank.form == Form.SHEET and (one.length is None) != (one.width is None):
        raise FieldProblem("kept", "give the length and the width of an offcut, or neither")
    sizes = {name: None if (size := getattr(one, name)) is None else size_of("kept", size, unit) for name in ("length", "width")}
    return {"unit": unit, "grain": checked_grain(one.grain) or blank.grain, **sizes}
