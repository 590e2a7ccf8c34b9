"""The app of things: what there is, where it lies, who has it."""

from django.apps import AppConfig


class InventoryConfig(AppConfig):
    """Knows nothing of plans."""

    name = "inventory"
