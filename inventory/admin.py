"""The tables that can be looked at for repair, and what of them can be put right: wiring only.

Left out are people's sign-ins, which aren't a workshop's: User and SignedIn.
"""

from django.apps import apps

from inventory.models import (
    Bench,
    Booking,
    ClaimLine,
    ClaimRule,
    Crate,
    Device,
    Invitation,
    Item,
    LabelSheet,
    Loan,
    Member,
    Sender,
    SignedIn,
    StorageRule,
    Thing,
    Transfer,
    User,
    Workshop,
)
from inventory.workshop.repair import register, site

__all__ = ["site"]

EDITABLE = {
    Bench: ["name"],
    Booking: ["note"],
    ClaimLine: ["note"],
    ClaimRule: ["source"],
    Crate: ["order_code", "carrier"],
    Device: ["name"],
    Invitation: ["name"],
    Item: ["name"],
    LabelSheet: ["name"],
    Loan: ["note"],
    Member: ["name"],
    Sender: ["name", "address", "email"],
    StorageRule: ["source"],
    Thing: ["serial", "condition"],
    Transfer: ["note"],
    Workshop: ["name"],
}

tables = apps.get_app_config("inventory").get_models()
register([one for one in tables if one not in {User, SignedIn} and not one.__name__.startswith("Historical")], EDITABLE)
