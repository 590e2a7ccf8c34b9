"""Every model of the app, for Django to find; the slices define them."""

from inventory.catalogue.models import Identifier, Item
from inventory.receiving.models import Bag, Crate, PackingLine
from inventory.stock.models import Holding, Lot, Movement, Place, SetAside
from inventory.workshop.models import Bench, Member, User, Workshop

__all__ = [
    "Bag", "Bench", "Crate", "Holding", "Identifier", "Item", "Lot", "Member", "Movement", "PackingLine", "Place",
    "SetAside", "User", "Workshop",
]  # fmt: skip
