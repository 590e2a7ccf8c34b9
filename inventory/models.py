"""Every model of the app, for Django to find; the slices define them."""

from inventory.catalogue.models import Identifier, Item
from inventory.claims.models import Claim, ClaimLine, ClaimRule
from inventory.labels.models import Label, LabelSheet
from inventory.receiving.models import Bag, Crate, PackingLine, Sender
from inventory.scanning.models import Scan
from inventory.shelflife.models import Acceptance, Disposal, StorageRule, Temperature, UpdateTest
from inventory.stock.models import Holding, Lot, Movement, Place, SetAside
from inventory.tallying.models import Photo, Tally
from inventory.workshop.models import Bench, Device, DigestMail, FeedAddress, KeptAnswer, Member, User, Workshop

__all__ = [
    "Acceptance", "Bag", "Bench", "Claim", "ClaimLine", "ClaimRule", "Crate", "Device", "DigestMail", "Disposal", "FeedAddress",
    "Holding", "Identifier", "Item", "KeptAnswer", "Label", "LabelSheet", "Lot", "Member", "Movement", "PackingLine", "Photo",
    "Place", "Scan", "Sender", "SetAside", "StorageRule", "Tally", "Temperature", "UpdateTest", "User", "Workshop",
]  # fmt: skip
