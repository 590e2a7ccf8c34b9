"""What was done to a step: finishes, batches mixed for it, substitutions, signatures. Read once for all that its page tells of them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from buildplan.hardware.models import Substitution
from buildplan.logbook.queries import SignatureRow, signatures_about
from buildplan.logbook.took import Share, Took, took_by
from buildplan.plan.models import Finish, Step
from buildplan.sealing.models import MixShare


class Mixed(NamedTuple):
    """What of a batch was mixed for the step."""

    id: int
    mix: int
    item: str
    name: str
    grams: Decimal
    mixed_at: datetime
    mixed_by: str
    at: datetime
    by: str
    taken_back_at: datetime | None
    taken_back_by: str | None
    temperature_f: Fraction | None


class Accepted(NamedTuple):
    """What an inspector accepted in place of what the plans name."""

    at: datetime
    by: str
    wanted: str
    served_by: str
    note: str
    withdrawn_at: datetime | None
    withdrawn_by: str | None


@dataclass(frozen=True, slots=True)
class Deeds:
    """All of it, what was taken back too, in the order written down. A signature of an entry has the entry's day beside it."""

    step: Step
    finishes: Sequence[Finish]
    mixed: Sequence[Mixed]
    accepted: Sequence[Accepted]
    signed: Sequence[tuple[SignatureRow, date | None]]

    @property
    def served(self) -> tuple[Accepted, ...]:
        """The substitutions that stand."""
        return tuple(one for one in self.accepted if one.withdrawn_at is None)

    def took(self) -> tuple[Took, ...]:
        """What the step took, as the ledger stands now. One query."""
        finishes = [(one.pk, self.step.pk) for one in self.finishes if one.taken_back_at is None]
        standing = sorted((one for one in self.mixed if one.taken_back_at is None), key=lambda one: (one.mixed_at, one.id))
        shares = [Share(self.step.pk, one.mix, one.item, one.name, one.grams, one.mixed_at, one.temperature_f) for one in standing]
        return took_by(finishes, shares).get(self.step.pk, ())


_MIXED = ("id", "mix_id", "mix__item__code", "mix__item__name", "grams", "mix__mixed_at", "mix__mixed_by", "mix__at", "mix__by__name")
_BACK = ("mix__taken_back_at", "mix__taken_back_by__name")
_ACCEPTED = ("at", "by__name", "wanted__code", "served_by__code", "note", "withdrawn_at", "withdrawn_by__name")


def deeds(step: Step, finishes: Sequence[Finish] | None = None) -> Deeds:
    """What was done to a step. Four queries; three where the page has its `finishes`."""
    done = Finish.objects.filter(step=step).select_related("by", "taken_back_by").order_by("pk") if finishes is None else finishes
    mixed = MixShare.objects.filter(step=step).order_by("pk").values_list(*_MIXED, *_BACK, "mix__temperature_f")
    accepted = Substitution.objects.filter(step=step).order_by("pk").values_list(*_ACCEPTED)
    return Deeds(
        step=step,
        finishes=list(done),
        mixed=[Mixed(*row) for row in mixed],
        accepted=[Accepted(*row) for row in accepted],
        signed=signatures_about(step),
    )
