"""What a batch of sealant uses up beside the sealant: the workshop's own list, read and written here alone."""

from collections.abc import Sequence
from decimal import Decimal

from django.db import transaction

from buildplan.sealing.models import SealingSupply
from inventory.common.history import changed_by
from inventory.common.problems import Problem
from inventory.common.quantities import positive
from inventory.common.texts import filled
from inventory.models import Member
from inventory.workshop import policy

MOST_NAME = 80
MOST_UNIT = 40

# A starting list of ours, no source's: a workshop that wants it says so, and then changes it as it likes.
OURS: tuple[tuple[str, str, str], ...] = (
    ("Mixing cup", "1", "ea"),
    ("Gloves", "1", "pair"),
    ("Mixing stick", "1", "ea"),
    ("Spreader", "1", "ea"),
    ("Cleaner", "30", "mL"),
)


class NameTaken(Problem):
    """A list names each thing once."""

    status = 409
    title = "On the list already"


def listed() -> list[SealingSupply]:
    """The workshop's list, by name. One query."""
    return list(SealingSupply.objects.order_by("name", "pk"))


@transaction.atomic
def add_supply(*, name: str, quantity: Decimal, unit: str, by: Member) -> SealingSupply:
    """Put a thing on the list."""
    policy.require(by, "plan")
    return _save(SealingSupply(workshop_id=by.workshop_id), name, quantity, unit, by)


@transaction.atomic
def change_supply(*, supply: SealingSupply, name: str, quantity: Decimal, unit: str, by: Member) -> SealingSupply:
    """Say anew what a batch takes of a thing."""
    policy.own(by, supply)
    policy.require(by, "plan")
    return _save(SealingSupply.objects.select_for_update().get(pk=supply.pk), name, quantity, unit, by)


@transaction.atomic
def remove_supply(*, supply: SealingSupply, by: Member) -> None:
    """Take a thing off the list; its history stays."""
    policy.own(by, supply)
    policy.require(by, "plan")
    changed_by(supply, by).delete()


@transaction.atomic
def start_list(*, by: Member) -> Sequence[SealingSupply]:
    """Put our starting list on an empty one; a list with anything on it stays as it is."""
    policy.require(by, "plan")
    if SealingSupply.objects.exists():
        return ()
    return [add_supply(name=name, quantity=Decimal(quantity), unit=unit, by=by) for name, quantity, unit in OURS]


def _save(supply: SealingSupply, name: str, quantity: Decimal, unit: str, by: Member) -> SealingSupply:
    supply.name = filled("name", name, MOST_NAME)
    supply.unit = filled("unit", unit, MOST_UNIT)
    supply.quantity = positive(quantity)
    if SealingSupply.objects.filter(name__iexact=supply.name).exclude(pk=supply.pk).exists():
        raise NameTaken(f"{supply.name} is on the list already: change it there")
    changed_by(supply, by).save()
    return supply
