"""Every model of the app, for Django to find; the slices define them."""

from inventory.catalogue.models import Identifier, Item
from inventory.claims.models import Claim, ClaimLine, ClaimRule
from inventory.labels.models import Label, LabelSheet
from inventory.photos.models import Photo
from inventory.pool.models import BookedDay, Booking, Loan, LoanEnd, PoolRules, Thing, Transfer, UnitCost
from inventory.receiving.models import Bag, Crate, PackingLine, Sender
from inventory.scanning.models import Scan
from inventory.shelflife.models import Acceptance, Disposal, StorageRule, Temperature, UpdateTest
from inventory.stock.models import Holding, Lot, Movement, Place, SetAside
from inventory.tallying.models import Tally
from inventory.workshop.models import (
    Bench,
    BenchHolder,
    Device,
    DigestMail,
    FeedAddress,
    Invitation,
    KeptAnswer,
    Member,
    SignedIn,
    User,
    Workshop,
)

__all__ = [
    "Acceptance", "Bag", "Bench", "BenchHolder", "BookedDay", "Booking", "Claim", "ClaimLine", "ClaimRule", "Crate", "Device",
    "DigestMail", "Disposal", "FeedAddress", "Holding", "Identifier", "Invitation", "Item", "KeptAnswer", "Label", "LabelSheet", "Loan",
    "LoanEnd", "Lot", "Member", "Movement", "PackingLine", "Photo", "Place", "PoolRules", "Scan", "Sender", "SetAside", "SignedIn",
    "StorageRule", "Tally", "Temperature", "Thing", "Transfer", "UnitCost", "UpdateTest", "User", "Workshop",
]  # fmt: skip
