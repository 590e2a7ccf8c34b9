"""Movements of steps of closed-up sections stay: what went in was looked at then. The setting `MOVEMENT_KEEPERS` names these."""

from buildplan.plan.models import Step
from buildplan.plan.services import refuse_if_closed
from inventory.models import Movement


def refuse_of_finish(movement: Movement) -> None:
    """Refuse where the section of the step that was finished with it is closed up. Two queries."""
    refuse_if_closed(*Step.objects.filter(finishes=_number(movement)))


def refuse_of_mix(movement: Movement) -> None:
    """Refuse where the section of a step that the batch was mixed for is closed up. Two queries."""
    refuse_if_closed(*Step.objects.filter(mix_shares__mix=_number(movement)))


def _number(movement: Movement) -> int:
    return int(movement.ref.partition(":")[2])
