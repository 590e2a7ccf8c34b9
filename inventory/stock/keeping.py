"""Movements that stay: those of a record that is closed. Who made them says so, by the kind of their reference."""

from django.conf import settings
from django.utils.module_loading import import_string

from inventory.stock.models import Movement


def refuse_kept(movement: Movement) -> None:
    """Refuse to undo a movement by itself whose record is closed, as the function says that `MOVEMENT_KEEPERS` names for `finish:7`.

    Asked inside a transaction and before lots are locked: the function may hold what it looked at. No query for any other movement.
    """
    if path := settings.MOVEMENT_KEEPERS.get(movement.ref.partition(":")[0]):
        import_string(path)(movement)
