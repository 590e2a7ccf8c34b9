"""Every model of the app, for Django to find; the slices define them."""

from inventory.catalogue.models import Identifier, Item
from inventory.claims.models import Claim, ClaimLine, ClaimRule
from inventory.labels.models import Label, LabelSheet
from inventory.receiving.models import Bag, Crate, PackingLine, Sender
from inventory.scanning.models import Scan
from inventory.stock.models import Holding, Lot, Movement, Place, SetAside
from inventory.tallying.models import Photo, Tally
from inventory.workshop.models import Bench, Device, KeptAnswer, Member, User, Workshop

__all__ = [
    "Bag", "Bench", "Claim", "ClaimLine", "ClaimRule", "Crate", "Device", "Holding", "Identifier", "Item", "KeptAnswer", "Label",
    "LabelSheet", "Lot", "Member", "Movement", "PackingLine", "Photo", "Place", "Scan", "Sender", "SetAside", "Tally", "User",
    "Workshop",
]  # fmt: skip
