"""Every address of the site: an outsider's rows are a 404, and who isn't signed in is sent to sign in.

The rows are made from the URL configuration: an address that nobody described here fails.
"""

from collections.abc import Iterator
from datetime import timedelta
from fractions import Fraction
from http import HTTPStatus
from uuid import uuid4

import pytest
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone
from django_scopes import scopes_disabled

from buildplan.closeup.models import Closing, GatePoint, LeakReading, LeakTest
from buildplan.figures.calculators import CALCULATORS
from buildplan.fitting.models import Assembly, Conflict, FalseMirror, ItemHand, Mark, MirrorPair, Position, Settlement
from buildplan.logbook.models import LogEntry, LogHours, Signature
from buildplan.models import (
    Blank,
    Cut,
    CutPiece,
    DayCheck,
    DayMix,
    DayStep,
    LoadJob,
    Mix,
    MixShare,
    Operation,
    OperationDone,
    Piece,
    RivetLoss,
    RivetRow,
    SavedArchive,
    SealDay,
    SealingSupply,
    Seam,
    Section,
    Step,
    Substitution,
)
from buildplan.trace.models import Notice, NoticeItem, NoticeLetter, Sweep, Task
from inventory.claims.calc import Letter, as_facts
from inventory.models import (
    Acceptance,
    Bag,
    Bench,
    Booking,
    Claim,
    ClaimLine,
    ClaimRule,
    Crate,
    Device,
    Disposal,
    Holding,
    Identifier,
    Invitation,
    Item,
    Label,
    LabelSheet,
    Loan,
    Lot,
    Member,
    Movement,
    PackingLine,
    Photo,
    Place,
    Scan,
    Sender,
    SignedIn,
    StorageRule,
    Tally,
    Temperature,
    Thing,
    Transfer,
    UnitCost,
    UpdateTest,
)
from tests import factories

# Open to everyone: they are how one gets in and out.
OPEN = {"api", "api-part", "openapi", "sign-in", "sign-in-link", "sign-out", "scan-worker", "scan-decoder", "feed"}
OPEN |= {"set-up"}  # on a site that has nobody; else it isn't there
OPEN |= {"sign-in-code", "forgotten", "password-sent", "reset", "join"}
# What stands in an open address.
LINKS = {"sign-in-link": ["MQ", "x-y"], "reset": ["MQ", "x-y"], "join": ["ri_x"]}
# Of no row: what they list is looked through for the outsider's names below.
LISTS = {
    "code",
    "load-crate",
    "labels",
    "labels-pdf",
    "label-sheets",
    "api-labels",
    "api-label-sheets",
    "scan",
    "scans",
    "scan-conflicts",
    "api-scans",
    "devices",
    "api-devices",
    "home",
    "plans",
    "order-sheets",
    "shelves",
    "crates",
    "supplies",
    "figures",
    "api-figures",
    "settings",
}
LISTS |= {f"api-{name}" for name in ("items", "identifiers", "places", "lots", "holdings", "movements")}
LISTS |= {f"api-{name}" for name in ("crates", "bags", "lines", "tallies", "benches", "members")}
LISTS |= {"reminders", "api-reminders"}
LISTS |= {"tonight", "pick-list", "projects", "api-tonight"}
LISTS |= {"find", "words", "api-find"}
LISTS |= {"load", "start", "api-loads"}
LISTS |= {"archives"}
LISTS |= {"members", "roles", "invite", "api-invitations"}
LISTS |= {"temperatures", *(f"api-{name}" for name in ("storage-rules", "update-tests", "acceptances", "disposals", "temperatures"))}
LISTS |= {"seal-days", "api-seal-days"}
LISTS |= {"cutting", "cutting-rules", "add-blank", "api-blanks", "api-cuts", "api-operations", "api-cutting-rules"}
LISTS |= {"conflicts", "hands", "assemblies", "api-conflicts", "api-assemblies"}
LISTS |= {"api-hands", "api-mirror-pairs", "api-false-mirrors"}
LISTS |= {"closing", "api-gates", "api-leak-tests"}
LISTS |= {"log", "log-hours", "log-csv", "api-log"}
LISTS |= {"trace", "notices", "new-notice", "api-notices", "api-notice-tasks"}
LISTS |= {"shelf-life", "shelf-life-csv", "api-expiries", "api-shelf-life"}
LISTS |= {"senders", "claims", "api-senders", "api-claim-rules", "api-claim-clocks", "api-claims"}
LISTS |= {"surplus", "api-club-surplus", "api-unit-costs"}
LISTS |= {"club", "club-day", "statement", "statement-csv", "unit-costs", *(f"api-club-{name}" for name in ("day", "week", "statement"))}
LISTS |= {"pool", "my-pool", "lend", "loans", "bookings", "book", "things", "pool-rules", "transfers", "offer", "ask"}
LISTS |= {f"api-{name}" for name in ("pool", "pool-rules", "loans", "bookings", "things", "transfers")}
# One's own, whatever the workshop.
OWN = {"new-feed", "end-feed", "digest"}
OWN |= {"load-columns", "start-example", "start-hide"}
OWN |= {"pick-tick"}  # its steps stand in what is sent: tests/buildplan/tonight tries another workshop's
OWN |= {"api-settings", "showing", "own-showing"}
OWN |= {"account", "two-step", "confirm-two-step", "renew-codes", "end-two-step", "end-sessions"}
OWN |= {
    "api-packing-lists",
    "api-club-day-book",
    "api-club-day-take",
    "api-labels-pdf",
    "scan-photo",
    "api-decode",
    "password",
    "workshop",
    "api-me",
}
OWN |= {"log-pdf"}  # likewise
OWN |= {"trace-csv", "trace-pdf", "api-trace"}  # asked by what stands behind the address: tests/buildplan/trace
OWN |= {"state-hand", "pair-items", "false-mirror"}  # the items stand in the form: tests/buildplan/fitting
OWN |= {"reverse-all"}  # its rows stand in its form: tests/inventory/tallying/test_undo.py gives it the outsider's
OWN |= {"statement-pdf"}  # no text to look through: it prints what the page shows
# Reckoned from the address alone: no row stands behind it.
RECKONED = {f"api-figure-{name}" for name in CALCULATORS}
# For programs: without a session they are a 401.
API = {
    "api-club-day-book",
    "api-club-day-take",
    "api-packing-lists",
    "api-labels",
    "api-labels-pdf",
    "api-label",
    "api-label-sheets",
    "api-decode",
    "api-me",
    "api-settings",
    "api-devices",
    "api-device",
    "api-shortfall",
    "api-pins",
    "api-stock-by-week",
    "api-step",
    "api-trace",
    "api-figures",
    "api-figure",
    *RECKONED,
}

# Rows of the API by their ids.
API_ROWS = {
    "api-item": Item,
    "api-identifier": Identifier,
    "api-place": Place,
    "api-lot": Lot,
    "api-lot-opened": Lot,
    "api-movement": Movement,
    "api-reverse": Movement,
    "api-crate": Crate,
    "api-bag": Bag,
    "api-line": PackingLine,
    "api-tally": Tally,
    "api-tally-undo": Tally,
    "api-crate-sheet": Crate,
    "api-crate-receipt": Crate,
    "api-put-away": Crate,
    "api-crate-arrived": Crate,
    "api-crate-close": Crate,
    "api-bag-finish": Bag,
    "api-bench": Bench,
    "api-member": Member,
    "api-member-leave": Member,
    "api-bench-holders": Bench,
    "api-invitation": Invitation,
    "api-sender": Sender,
    "api-claim-rule": ClaimRule,
    "api-claimable": Crate,
    "api-claim": Claim,
    "api-claim-letter": Claim,
    "api-claim-send": Claim,
    "api-claim-answer": Claim,
    "api-storage-rule": StorageRule,
    "api-unit-cost": UnitCost,
    "api-update-test": UpdateTest,
    "api-acceptance": Acceptance,
    "api-acceptance-withdraw": Acceptance,
    "api-disposal": Disposal,
    "api-log-entry": LogEntry,
    "api-log-sign": LogEntry,
    "api-log-strike": LogEntry,
    "api-log-withdraw": Signature,
    **{f"api-conflict{name}": Conflict for name in ("", "-answers", "-settle", "-reopen")},
    **{f"api-assembly{name}": Assembly for name in ("", "-positions", "-done")},
    "api-position-mark": Position,
    "api-load": LoadJob,
    "api-hand": ItemHand,
    "api-mirror-pair": MirrorPair,
    "api-false-mirror": FalseMirror,
    **{f"api-mark-{name}": Mark for name in ("replace", "away", "take-for")},
    "api-seal-day": SealDay,
    **{f"api-seal-day-{name}": SealDay for name in ("people", "products", "move", "mixes", "checks", "close", "call-off")},
    **{f"api-gate{name}": Section for name in ("", "-tick", "-untick", "-close", "-reopen")},
    **{f"api-leak-test{name}": LeakTest for name in ("", "-read")},
    "api-leak-reading-strike": LeakReading,
    "api-notice": Notice,
    **{f"api-notice-{name}": Notice for name in ("sweep", "letters")},
    **{f"api-notice-{name}": Task for name in ("tick", "untick", "quarantine")},
    "api-cut": Cut,
    "api-blank": Blank,
    "api-lot-size": Lot,
    **{f"api-cut-{name}": Cut for name in ("saw", "undo", "spoil")},
    **{f"api-operation{name}": Operation for name in ("", "-done")},
    "api-operation-take-back": OperationDone,
    "api-mix": Mix,
    "api-mix-take-back": Mix,
    "api-loan": Loan,
    "api-loan-ends": Loan,
    "api-loan-renew": Loan,
    "api-booking": Booking,
    "api-thing": Thing,
    "api-transfer": Transfer,
    "api-transfer-accept": Transfer,
    "api-transfer-decline": Transfer,
    "api-transfer-withdraw": Transfer,
}
# Asked by a text, not by a row: what is the outsider's is as unknown as anything, which is a 422 (tests/buildplan/wanted).
ASKED = {"api-code": ["OUTSIDE-ITEM"], "api-pool-free": []}
API |= {
    "api-scan",
    "api-scan-undo",
    "api-scan-settle",
    "api-crate-order",
    *ASKED,
    *API_ROWS,
    *(name for name in LISTS if name.startswith("api-")),
}

# What each address of a row is given of the outsider's. `one` finds the first row of a model there.
FOREIGN = {
    "crate-order": lambda one: [one(Crate)],
    "api-crate-order": lambda one: [one(Crate)],
    "plan": lambda one: ["OUTSIDE-PROJECT"],
    "planned": lambda one: ["OUTSIDE-PROJECT", "OUTSIDE-STEP"],
    "step": lambda one: ["OUTSIDE-PROJECT", "OUTSIDE-STEP"],
    "take-back": lambda one: ["OUTSIDE-PROJECT", "OUTSIDE-STEP"],
    "step-sheet": lambda one: ["OUTSIDE-PROJECT", "OUTSIDE-STEP"],
    "supply": lambda one: [one(SealingSupply)],
    "order-sheet": lambda one: ["OUTSIDE-PROJECT"],
    "order-sheet-csv": lambda one: ["OUTSIDE-PROJECT"],
    "pins": lambda one: ["OUTSIDE-PROJECT"],
    "stock-by-week": lambda one: ["OUTSIDE-PROJECT", one(Item)],
    "substitutions": lambda one: ["OUTSIDE-PROJECT", "OUTSIDE-STEP"],
    "withdraw": lambda one: [one(Substitution)],
    "add-row": lambda one: ["OUTSIDE-PROJECT", "OUTSIDE-STEP"],
    "row": lambda one: [one(RivetRow)],
    "remove-row": lambda one: [one(RivetRow)],
    "add-seam": lambda one: ["OUTSIDE-PROJECT", "OUTSIDE-STEP"],
    "seam": lambda one: [one(Seam)],
    **{name: lambda one: [one(Blank)] for name in ("blank", "change-blank", "remove-blank", "plan-cut")},
    **{name: lambda one: [one(Cut)] for name in ("cut", "saw-cut", "undo-cut")},
    "spoil-pieces": lambda one: [one(CutPiece)],
    "measure-lot": lambda one: [one(Lot)],
    "add-piece": lambda one: ["OUTSIDE-PROJECT", "OUTSIDE-STEP"],
    **{name: lambda one: [one(Piece)] for name in ("piece", "remove-piece", "add-operation")},
    **{name: lambda one: [one(Operation)] for name in ("remove-operation", "operation-done")},
    "take-back-operation": lambda one: [one(OperationDone)],
    "remove-seam": lambda one: [one(Seam)],
    "remove-loss": lambda one: [one(RivetLoss)],
    "ordered": lambda one: ["OUTSIDE-PROJECT", one(Item)],
    "device": lambda one: [one(Device)],
    "revoke-device": lambda one: [one(Device)],
    "api-device": lambda one: [one(Device)],
    "labelled": lambda one: [one(Label, "token")],
    "api-label": lambda one: [one(Label, "token")],
    "scan-undo": lambda one: [one(Scan, "uuid")],
    "undo-scan": lambda one: [one(Scan)],
    "apply-scan": lambda one: [one(Scan)],
    "let-go-scan": lambda one: [one(Scan)],
    "api-scan": lambda one: [one(Scan, "uuid")],
    "api-scan-undo": lambda one: [one(Scan, "uuid")],
    "api-scan-settle": lambda one: [one(Scan, "uuid")],
    "label-sheet": lambda one: [one(LabelSheet)],
    "remove-label-sheet": lambda one: [one(LabelSheet)],
    "lot": lambda one: [one(Lot)],
    "lot-state": lambda one: [one(Lot)],
    "lot-dates": lambda one: [one(Lot)],
    "lot-opened": lambda one: [one(Lot)],
    "lot-test": lambda one: [one(Lot)],
    "lot-accept": lambda one: [one(Lot)],
    "lot-dispose": lambda one: [one(Lot)],
    "withdraw-acceptance": lambda one: [one(Acceptance)],
    "load-job": lambda one: [one(LoadJob)],
    "archive-file": lambda one: [one(SavedArchive)],
    "archive-now": lambda one: [one(SavedArchive)],
    "remove-archive": lambda one: [one(SavedArchive)],
    "item-storage": lambda one: [one(Item)],
    "item-extension": lambda one: [one(Item)],
    "remove-storage-rule": lambda one: [one(StorageRule)],
    "count": lambda one: [one(Lot), one(Holding, "place_id")],
    "reverse": lambda one: [one(Movement)],
    "withdraw-order": lambda one: [one(Crate)],
    "forget-code": lambda one: [one(Identifier)],
    "crate": lambda one: [one(Crate)],
    "due": lambda one: [one(Crate)],
    "crate-arrived": lambda one: [one(Crate)],
    "bag-arrived": lambda one: [one(Bag)],
    "arrived": lambda one: [one(PackingLine)],
    "crate-here": lambda one: [one(Crate)],
    "count-crate": lambda one: [one(Crate)],
    "count-loose": lambda one: [one(Crate)],
    "count-other": lambda one: [one(Crate)],
    "count-mystery": lambda one: [one(Crate)],
    "counts": lambda one: [one(Crate)],
    "put-away": lambda one: [one(Crate)],
    "close-crate": lambda one: [one(Crate)],
    "reopen-crate": lambda one: [one(Crate)],
    "receipt": lambda one: [one(Crate)],
    "receipt-csv": lambda one: [one(Crate)],
    "crate-photos": lambda one: [one(Crate)],
    "count-bag": lambda one: [one(Bag)],
    "finish-bag": lambda one: [one(Bag)],
    "lay-bag": lambda one: [one(Bag)],
    "tick-line": lambda one: [one(PackingLine)],
    "count-line": lambda one: [one(PackingLine)],
    "weigh-line": lambda one: [one(PackingLine)],
    "mystery": lambda one: [one(Tally)],
    "undo-tally": lambda one: [one(Tally)],
    "photo": lambda one: [one(Photo)],
    "remove-photo": lambda one: [one(Photo)],
    "test-photos": lambda one: [one(UpdateTest)],
    "plan-seal-day": lambda one: [one(Bench)],
    "seal-day": lambda one: [one(SealDay)],
    "seal-day-change": lambda one: [one(SealDay)],
    "seal-day-people": lambda one: [one(SealDay)],
    "seal-day-steps": lambda one: [one(SealDay)],
    "seal-day-products": lambda one: [one(SealDay)],
    "seal-day-hold": lambda one: [one(SealDay)],
    "seal-day-checks": lambda one: [one(SealDay)],
    "seal-day-tick": lambda one: [one(SealDay)],
    "remove-seal-day-check": lambda one: [one(DayCheck)],
    "seal-day-move": lambda one: [one(SealDay)],
    "seal-day-card": lambda one: [one(SealDay)],
    "mix-card": lambda one: [one(SealDay), 1],
    "seal-day-close": lambda one: [one(SealDay)],
    "seal-day-call-off": lambda one: [one(SealDay)],
    "end-mix": lambda one: [one(Mix)],
    "take-back-mix": lambda one: [one(Mix)],
    "log-entry": lambda one: [one(LogEntry)],
    "edit-log": lambda one: [one(LogEntry)],
    "strike-log": lambda one: [one(LogEntry)],
    "log-photos": lambda one: [one(LogEntry)],
    "sign-log": lambda one: [one(LogEntry)],
    "withdraw-signature": lambda one: [one(Signature)],
    "write-project-log": lambda one: ["OUTSIDE-PROJECT"],
    "write-log": lambda one: ["OUTSIDE-PROJECT", "OUTSIDE-STEP"],
    "step-photos": lambda one: ["OUTSIDE-PROJECT", "OUTSIDE-STEP"],
    "sign-step": lambda one: ["OUTSIDE-PROJECT", "OUTSIDE-STEP"],
    "member": lambda one: [one(Member)],
    "leave": lambda one: [one(Member)],
    "forget-name": lambda one: [one(Member)],
    "bench-holders": lambda one: [one(Bench)],
    "withdraw-invitation": lambda one: [one(Invitation)],
    "end-session": lambda one: [one(SignedIn)],
    "loan": lambda one: [one(Loan)],
    "take-in": lambda one: [one(Loan)],
    "renew-loan": lambda one: [one(Loan)],
    "loan-photos": lambda one: [one(Loan)],
    "cancel-booking": lambda one: [one(Booking)],
    "thing": lambda one: [one(Thing)],
    "remove-unit-cost": lambda one: [one(UnitCost)],
    "retire-thing": lambda one: [one(Thing)],
    "accept-transfer": lambda one: [one(Transfer)],
    "decline-transfer": lambda one: [one(Transfer)],
    "withdraw-transfer": lambda one: [one(Transfer)],
    "sender": lambda one: [one(Sender)],
    "set-claim-rule": lambda one: [one(Sender)],
    "remove-claim-rule": lambda one: [one(ClaimRule)],
    "crate-details": lambda one: [one(Crate)],
    "crate-claims": lambda one: [one(Crate)],
    "claim": lambda one: [one(Claim)],
    "claim-letter": lambda one: [one(Claim)],
    "send-claim": lambda one: [one(Claim)],
    "answer-claim": lambda one: [one(Claim)],
    "discard-claim": lambda one: [one(Claim)],
    "api-shortfall": lambda one: ["OUTSIDE-PROJECT"],
    "api-pins": lambda one: ["OUTSIDE-PROJECT"],
    "api-stock-by-week": lambda one: ["OUTSIDE-PROJECT"],
    "api-step": lambda one: ["OUTSIDE-PROJECT"],
    "figure": lambda one: ["outside"],
    "api-figure": lambda one: ["outside"],
}
FITTED = {
    **dict.fromkeys(("conflict", "change-conflict", "answer-conflict", "settle-conflict", "reopen-conflict"), Conflict),
    **dict.fromkeys(("assembly", "change-assembly", "add-positions", "note-deed", "mark-list", "marks-csv", "mark-labels-pdf"), Assembly),
    **dict.fromkeys(("position", "remove-position"), Position),
    **dict.fromkeys(("replace-mark", "take-mark-away", "take-mark-for"), Mark),
    **dict.fromkeys(("gate", "tick-gate", "untick-gate", "gate-list", "gate-sheet", "close-section", "reopen-section"), Section),
    **dict.fromkeys(("leak-test", "change-leak-test", "add-reading"), LeakTest),
    "new-leak-test": Section,
    "strike-reading": LeakReading,
    **dict.fromkeys(("notice", "change-notice", "remove-notice", "sweep-notice", "write-notice-letters"), Notice),
    **dict.fromkeys(("tick-notice-task", "untick-notice-task", "quarantine-notice-task"), Task),
    **dict.fromkeys(("notice-letter", "notice-letter-pdf", "notice-letter-text"), NoticeLetter),
    "undo-pair": MirrorPair,
    "remove-false-mirror": FalseMirror,
}
FOREIGN |= {name: lambda one: ["OUTSIDE-PROJECT"] for name in ("new-conflict", "new-assembly")}
FOREIGN |= {name: lambda one, model=model: [one(model)] for name, model in (FITTED | API_ROWS).items()}
GIVEN = {"quantity": "1", "on": "2027-02-20", "state": "good", "counted": "1", "place": "Shelf", "due_on": "", "seen": "1"}


def names(patterns: list[URLPattern | URLResolver]) -> Iterator[str | None]:
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            if pattern.namespace != "repair":  # tests/inventory/workshop/test_repair.py
                yield from names(pattern.url_patterns)
        else:
            yield pattern.name


NAMED = sorted(name or "" for name in names(get_resolver().url_patterns))


def _accepted(outsider):
    wanted, served_by = (factories.ItemFactory(workshop=outsider, code=f"OUTSIDE-{code}", kind="rivet") for code in ("D", "AD"))
    step = Step.objects.get(workshop=outsider)
    by = Member.objects.filter(workshop=outsider).first()
    Substitution.objects.create(workshop=outsider, step=step, wanted=wanted, served_by=served_by, by=by, note="OUTSIDE note")


def _counted(outsider, crate):
    by = Member.objects.filter(workshop=outsider).first()
    tally = Tally.objects.create(workshop=outsider, crate=crate, finding="mystery", quantity=1, note="OUTSIDE mystery", by=by)
    Photo.objects.create(workshop=outsider, ref=f"tally:{tally.pk}", file=f"outside-{outsider.pk}.jpg", digest="", width=1, height=1, by=by)


def _claimed(outsider, crate):
    sender = Sender.objects.create(workshop=outsider, name="OUTSIDE sender")
    ClaimRule.objects.create(workshop=outsider, sender=sender, fault="shortage", days=5, against="sender")
    claim = Claim.objects.create(workshop=outsider, crate=crate, fault="shortage", against="OUTSIDE sender", made_on=factories.DAY)
    line = PackingLine.objects.filter(workshop=outsider).first()
    ClaimLine.objects.create(workshop=outsider, claim=claim, line=line, item=line.item, quantity=1)
    Crate.objects.filter(pk=crate.pk).update(sender=sender, arrived_on=factories.DAY)


def _aged(outsider):
    lot, by = Lot.objects.get(workshop=outsider), Member.objects.filter(workshop=outsider).first()
    place = Place.objects.filter(workshop=outsider, end="storage").first()
    said = {"workshop": outsider, "lot": lot, "by": by, "on": factories.DAY}
    UpdateTest.objects.create(**said, passed=True, method="OUTSIDE method")
    Acceptance.objects.create(**said, until=factories.DAY, reason="OUTSIDE reason")
    StorageRule.objects.create(workshop=outsider, item=lot.item, high=27, source="OUTSIDE source")
    Temperature.objects.create(workshop=outsider, place=place, at=timezone.now(), celsius=20)
    moved = Movement.objects.get(workshop=outsider)
    Disposal.objects.create(workshop=outsider, lot=lot, movement=moved, mass_g=1, way="OUTSIDE way")


def _sealed(outsider, step):
    by = Member.objects.filter(workshop=outsider).first()
    item = factories.ItemFactory(workshop=outsider, code="OUTSIDE-SEALANT", kind="sealant", unit="g")
    day = SealDay.objects.create(workshop=outsider, bench=step.project.bench, on=factories.DAY, note="OUTSIDE note", by=by)
    DayStep.objects.create(workshop=outsider, day=day, step=step)
    DayCheck.objects.create(workshop=outsider, day=day, text="OUTSIDE check")
    said = {"base": 10, "accelerator": 1, "mixed_at": timezone.now(), "mixed_by": "OUTSIDE hand"}
    mix = Mix.objects.create(workshop=outsider, item=item, key=uuid4(), by=by, **said)
    MixShare.objects.create(workshop=outsider, mix=mix, step=step, grams=11)
    DayMix.objects.create(workshop=outsider, day=day, mix=mix)


def _logged(outsider, step):
    by = Member.objects.filter(workshop=outsider).first()
    said = {"workshop": outsider, "key": uuid4(), "by": by}
    entry = LogEntry.objects.create(**said, project=step.project, step=step, on=factories.DAY, text="OUTSIDE text")
    LogHours.objects.create(workshop=outsider, entry=entry, name="OUTSIDE helper", minutes=90)
    Signature.objects.create(**said, step=step, name="OUTSIDE inspector", role="inspector", statement="OUTSIDE statement")


def _fitted(outsider, step):
    by, lot = Member.objects.filter(workshop=outsider).first(), Lot.objects.get(workshop=outsider)
    left, right = (factories.ItemFactory(workshop=outsider, code=f"OUTSIDE-{hand}") for hand in ("LEFT", "RIGHT"))
    MirrorPair.objects.create(workshop=outsider, left=left, right=right)
    ItemHand.objects.create(workshop=outsider, item=left, hand="left")
    FalseMirror.objects.create(workshop=outsider, one=left, other=right, told_apart="OUTSIDE difference")
    said = {name: f"OUTSIDE {name}" for name in ("title", "text_says", "text_where", "drawing_says", "drawing_where")}
    Conflict.objects.create(workshop=outsider, project=step.project, kind="hand", **said, by=by)
    assembly = Assembly.objects.create(workshop=outsider, project=step.project, name="OUTSIDE assembly")
    position = Position.objects.create(workshop=outsider, assembly=assembly, number=7, part="OUTSIDE skin")
    Mark.objects.create(workshop=outsider, position=position, serial=0, lot=lot, item=lot.item, on=factories.DAY, by=by)


def _listed(outsider, step):
    """A list that somebody wrote, and a leak test with a reading."""
    by = Member.objects.filter(workshop=outsider).first()
    said = {"workshop": outsider, "section": step.section}
    GatePoint.objects.create(**said, text="OUTSIDE point", position=1)
    test = LeakTest.objects.create(**said, key=uuid4(), name="OUTSIDE tank", by=by)
    read = {"pressure": 1, "pressure_unit": "psi", "temperature": 20, "temperature_unit": "C", "barometer": 1013, "barometer_unit": "hPa"}
    LeakReading.objects.create(workshop=outsider, test=test, key=uuid4(), at=timezone.now(), by=by, **read)


def _noticed(outsider):
    """A maker's notice that was swept for: a lot on the shelf, looked at by nobody, and a letter."""
    by, lot = Member.objects.filter(workshop=outsider).first(), Lot.objects.get(workshop=outsider)
    said = {"workshop": outsider, "by": by}
    told = {"reference": "OUTSIDE-SB", "title": "OUTSIDE title", "text": "OUTSIDE text", "issued_on": factories.DAY}
    notice = Notice.objects.create(**said, **told, key=uuid4(), codes=["OUTSIDE-LOT"])
    NoticeItem.objects.create(workshop=outsider, notice=notice, item=lot.item)
    sweep = Sweep.objects.create(**said, notice=notice, number=1)
    found = {"subject": "shelf:1:1", "where": "shelf", "verdict": "affected", "text": "OUTSIDE task", "first": sweep, "last": sweep}
    Task.objects.create(workshop=outsider, notice=notice, lot=lot, bench=lot.bench, **found)
    letter = Letter("OUTSIDE letter", ("OUTSIDE club",), ("OUTSIDE member",), "2027-02-20", (), "", (), (), (), ())
    NoticeLetter.objects.create(**said, notice=notice, sweep=sweep, member=by, text="OUTSIDE letter", facts=as_facts(letter))


def _invited(outsider):
    """Somebody invited, and an owner who is signed in."""
    by, bench = Member.objects.filter(workshop=outsider).first(), Bench.objects.get(workshop=outsider)
    said = {"name": "OUTSIDE guest", "role": "builder", "prefix": f"ri_{outsider.pk}", "digest": "0" * 64, "bench": bench, "by": by}
    now = timezone.now()
    Invitation.objects.create(workshop=outsider, **said, made_at=now, expires_at=now + timedelta(days=7))
    SignedIn.objects.create(user=by.user, key=f"outside-{outsider.pk}", since=now, seen_at=now)


def _pooled(outsider):
    lot, by = Lot.objects.get(workshop=outsider), Member.objects.filter(workshop=outsider).first()
    place = Place.objects.filter(workshop=outsider, end="storage").first()
    days = {"first_day": factories.DAY, "last_day": factories.DAY}
    said = {"workshop": outsider, "quantity": 1, "by": by, "note": "OUTSIDE note"}
    thing = Thing.objects.create(workshop=outsider, lot=lot, serial="OUTSIDE serial")
    moved = {"movement": Movement.objects.get(workshop=outsider), "held_in": place, "out_on": factories.DAY}
    Loan.objects.create(**said, **moved, lot=lot, open=1, member=by, key=uuid4())
    Booking.objects.create(**said, **days, item=lot.item, thing=thing, member=by, key=uuid4())
    UnitCost.objects.create(workshop=outsider, item=lot.item, since=factories.DAY, amount=1)
    Transfer.objects.create(**said, item=lot.item, lot=lot, giver=lot.bench, key=uuid4())


def _cut(outsider, step):
    """A cut that is planned, and something that was done to its piece."""
    by, lot = Member.objects.filter(workshop=outsider).first(), Lot.objects.get(workshop=outsider)
    blank = Blank.objects.create(workshop=outsider, item=lot.item)
    piece = Piece.objects.create(workshop=outsider, step=step, code="OUTSIDE-PIECE", blank=blank, count=4, per_blank=4)
    cut = Cut.objects.create(workshop=outsider, blank=blank, lot=lot, quantity=1, step=step, key=uuid4(), note="OUTSIDE note", by=by)
    CutPiece.objects.create(workshop=outsider, cut=cut, piece=piece, count=2)
    operation = Operation.objects.create(workshop=outsider, piece=piece, name="OUTSIDE trim", count=2)
    OperationDone.objects.create(workshop=outsider, operation=operation, key=uuid4(), count=1, on=factories.DAY, by=by)


def furnish(outsider):
    """One of each further row that an address can be of, beside those of the furnished workshop."""
    with scopes_disabled():
        crate = Crate.objects.get(workshop=outsider)
        Bag.objects.create(workshop=outsider, crate=crate, name="7A", path="7A")
        factories.LabelFactory(lot=Lot.objects.get(workshop=outsider))
        factories.LabelSheetFactory(workshop=outsider, name="OUTSIDE sheet")
        RivetLoss.objects.create(workshop=outsider, diameter=Fraction(1, 8), percent=5)
        _accepted(outsider)
        _counted(outsider, crate)
        _claimed(outsider, crate)
        _aged(outsider)
        _pooled(outsider)
        step = Step.objects.get(workshop=outsider)
        _sealed(outsider, step)
        _cut(outsider, step)
        _logged(outsider, step)
        _fitted(outsider, step)
        _listed(outsider, step)
        _invited(outsider)
        _noticed(outsider)
        factories.RivetRowFactory(step=step, code="OUTSIDE-ROW")
        factories.SeamFactory(step=step, code="OUTSIDE-SEAM")
        by = Member.objects.filter(workshop=outsider).first()
        factories.LoadJobFactory(by=by)
        SavedArchive.objects.create(workshop=outsider, key=uuid4(), by=by, state="failed", made_at=timezone.now())
        Scan.objects.create(workshop=outsider, uuid=uuid4(), member=by, at=timezone.now(), status=200, answer={}, code="OUTSIDE-ITEM")


def rows_of(workshop):
    """Finds the first row of a model in a workshop, or another one in the order of their ids."""

    def one(model, field="pk", at=0):
        with scopes_disabled():
            # A session is a person's, not a workshop's.
            which = {"user__memberships__workshop" if model is SignedIn else "workshop": workshop}
            return list(model.objects.filter(**which).order_by("pk").values_list(field, flat=True))[at]

    return one


def values_in(name, one):
    """What stands in the address of a name, of the rows that `one` finds."""
    return ASKED.get(name) or FOREIGN.get(name, lambda one: LINKS.get(name, []))(one)


@pytest.fixture
def address(outsider):
    """The address of a name, with the outsider's rows in it."""
    furnish(outsider)
    return lambda name: reverse(name, args=values_in(name, rows_of(outsider)))


def rows_untouched(outsider):
    with scopes_disabled():
        assert Movement.objects.filter(workshop=outsider).count() == 1
        assert not Lot.objects.filter(workshop=outsider).exclude(state="good").exists()
        assert not any(model.objects.filter(workshop=outsider).exclude(ended_at=None).exists() for model in (Booking, Transfer))
        assert list(Loan.objects.filter(workshop=outsider).values_list("open", "renewals")) in ([], [(1, 0)])
        assert list(Thing.objects.filter(workshop=outsider).values_list("serial", "retired_at")) in ([], [("OUTSIDE serial", None)])
        assert Crate.objects.filter(workshop=outsider).count() == 1
        assert list(Claim.objects.filter(workshop=outsider).values_list("state", "against")) == [("draft", "OUTSIDE sender")]
        assert list(Sender.objects.filter(workshop=outsider).values_list("name", "rules__days")) == [("OUTSIDE sender", 5)]
        assert list(Acceptance.objects.filter(workshop=outsider).values_list("withdrawn", "lot__accepted_until")) == [(None, None)]
        assert StorageRule.objects.filter(workshop=outsider).count() == UpdateTest.objects.filter(workshop=outsider).count() == 1
        assert not Substitution.objects.filter(workshop=outsider).exclude(withdrawn_at=None).exists()
        assert not Member.objects.filter(workshop=outsider, active=False).exists()
        assert not Invitation.objects.filter(workshop=outsider).exclude(used_at=None, withdrawn_at=None).exists()
        assert list(LogEntry.objects.filter(workshop=outsider).values_list("text", "struck_at")) in ([], [("OUTSIDE text", None)])
        assert list(Signature.objects.filter(workshop=outsider).values_list("name", "withdrawn_at")) in ([], [("OUTSIDE inspector", None)])
        assert [model.objects.filter(workshop=outsider).count() for model in (Conflict, Settlement, Mark)] in ([0, 0, 0], [1, 0, 1])
        assert not Cut.objects.filter(workshop=outsider).exclude(sawn_at=None, undone_at=None).exists()
        assert list(OperationDone.objects.filter(workshop=outsider).values_list("count", "undone_at")) in ([], [(1, None)])
        assert not Closing.objects.filter(workshop=outsider).exists()
        assert not Task.objects.filter(workshop=outsider).exclude(ticked_at=None).exists()
        assert [model.objects.filter(workshop=outsider).count() for model in (Notice, Sweep, NoticeLetter)] in ([0, 0, 0], [1, 1, 1])
        assert not LeakReading.objects.filter(workshop=outsider).exclude(struck_at=None).exists()
        assert not Mix.objects.filter(workshop=outsider).exclude(taken_back_at=None, ended_at=None).exists()
        assert list(SealDay.objects.filter(workshop=outsider).values_list("on", "closed_at", "called_off_at")) in (
            [],
            [(factories.DAY, None, None)],
        )
        assert list(DayCheck.objects.filter(workshop=outsider).values_list("text", "ticked_at")) in ([], [("OUTSIDE check", None)])
        assert [list(model.objects.filter(workshop=outsider).values_list("code", flat=True)) for model in (RivetRow, Seam)] == [
            ["OUTSIDE-ROW"],
            ["OUTSIDE-SEAM"],
        ]


def test_every_address_is_described_here_once():
    described = sorted([*OPEN, *LISTS, *OWN, *RECKONED, *ASKED, *FOREIGN])

    assert described == NAMED, "give a new address its row in FOREIGN, or say in LISTS, OWN or OPEN why it has none"


# One scene serves each of the tests below for every address: a scene for each would take most of the time.


@pytest.fixture
def _no_rate(settings):
    settings.API_RATE = settings.API_STRANGERS_RATE = 10**6


@pytest.mark.usefixtures("_no_rate")
def test_outsider_s_row_is_not_found(as_member, owner, outsider, address):
    client, wrong = as_member(owner), []
    for name in sorted(FOREIGN):
        where = address(name)
        put = client.put(where, "{}", content_type="application/json")
        tried = {"get": client.get(where), "post": client.post(where, GIVEN), "put": put}
        wrong += [f"{method} {name}: {answer.status_code}" for method, answer in tried.items() if not is_no_answer(answer)]
        if HTTPStatus.NOT_FOUND not in {answer.status_code for answer in tried.values()}:
            wrong.append(f"{name}: no method of it says 404")

    assert wrong == []
    rows_untouched(outsider)


def is_no_answer(answer):
    """Neither found nor told of."""
    told = any(named in answer.content.decode() for named in ("OUTSIDE-BENCH", "OUTSIDE-ITEM", "OUTSIDE-LOT", "Project OUTSIDE"))
    return answer.status_code in {HTTPStatus.NOT_FOUND, HTTPStatus.METHOD_NOT_ALLOWED} and not told


@pytest.mark.usefixtures("_no_rate", "project")
def test_list_never_names_the_outsider(as_member, owner):
    client, wrong = as_member(owner), []
    for name in sorted(LISTS):
        answer = client.get(reverse(name), follow=True)
        if answer.status_code != HTTPStatus.OK or "OUTSIDE" in answer.content.decode():
            wrong.append(f"{name}: {answer.status_code}")

    assert wrong == []


@pytest.mark.usefixtures("_no_rate")
def test_who_is_not_signed_in_is_sent_to_sign_in(client, outsider, address):
    wrong = []
    for name in sorted({*NAMED} - OPEN - API):
        for method in ("get", "post"):
            answer = getattr(client, method)(address(name))
            sent = answer.status_code == HTTPStatus.FOUND and answer.url.startswith(f"{reverse('sign-in')}?next=")
            if not sent and answer.status_code != HTTPStatus.METHOD_NOT_ALLOWED:
                wrong.append(f"{method} {name}: {answer.status_code}")

    assert wrong == []
    rows_untouched(outsider)


@pytest.mark.usefixtures("_no_rate")
def test_program_without_a_session_is_told_so(client, address):
    answers = {name: client.get(address(name)).status_code for name in sorted(API)}

    assert set(answers.values()) == {HTTPStatus.UNAUTHORIZED}, answers


def test_item_of_the_outsider_is_not_ordered_for_our_project(as_member, owner, project, outsider):
    with scopes_disabled():
        item = Item.objects.get(workshop=outsider)

    answer = as_member(owner).post(reverse("ordered", args=[project.code, item.pk]), GIVEN)
    assert answer.status_code == HTTPStatus.NOT_FOUND


def test_place_of_the_outsider_is_not_counted_for_our_lot(as_member, owner, lot, outsider):
    with scopes_disabled():
        place = Holding.objects.get(workshop=outsider).place_id

    assert as_member(owner).post(reverse("count", args=[lot.pk, place]), GIVEN).status_code == HTTPStatus.NOT_FOUND
