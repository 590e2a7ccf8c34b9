"""Who gets where: every address and method, for every role, on one's own bench, another's, another workshop's, and signed out."""

import json
from http import HTTPStatus, cookies
from pathlib import Path
from uuid import UUID

import pytest
from django.conf import settings
from django.core.cache import cache
from django.core.files.base import ContentFile
from django.db import transaction
from django.test import Client
from django.urls import get_resolver, reverse
from django.urls.converters import IntConverter, PathConverter, StringConverter, UUIDConverter
from django.utils import timezone
from django_scopes import scopes_disabled

from buildplan.closeup.models import GatePoint
from buildplan.cutting.models import Blank, CutPiece, Piece
from buildplan.fitting.models import Position
from buildplan.plan.models import Section, Step
from inventory.models import Bench, BenchHolder, LabelSheet, Lot, Movement, PackingLine, Photo, Place, Scan, Thing, Transfer
from inventory.workshop import policy, tokens
from inventory.workshop.middleware import seen_key
from inventory.workshop.models import Role
from tests import factories
from tests.test_isolation import FOREIGN, LINKS, OPEN, furnish, rows_of, values_in
from tests.test_scopes import API, methods, views

pytestmark = pytest.mark.django_db

# One bench is the holder's, another the other builder's. The rows of the workshop are of the holder's bench.
MEMBERS = {
    "owner": Role.OWNER,
    "storekeeper": Role.STOREKEEPER,
    "holder": Role.BUILDER,
    "other": Role.BUILDER,
    "inspector": Role.INSPECTOR,
    "reader": Role.READER,
}
PATTERNS = {pattern.name: pattern for pattern in views(get_resolver().url_patterns)}
PROGRAMS = frozenset(pattern.name for pattern in API)
ANYTHING = {IntConverter: 1, StringConverter: "x", PathConverter: "x/y", UUIDConverter: UUID(int=1)}
OURS = {"figure": lambda one: ["mix"], "api-figure": lambda one: ["mix"]}
FILES = {
    "api-packing-lists": lambda: {"file": ContentFile(b"crate,number,item,quantity", "list.csv"), "crate": "NEW", "bench": "OURS-BENCH"},
    "api-decode": dict,
}
ASKED_FOR = {"labels-pdf": "?what=lots", "load-columns": "?table=stock", "api-step": "?step=OURS-STEP"}
KEY = str(UUID(int=7))
LATER = "2100-01-01"
READ = {"pressure": "1", "pressure_unit": "psi", "temperature": "20", "temperature_unit": "C"}
READ |= {"barometer": "1013", "barometer_unit": "hPa"}
READINGS = dict.fromkeys(("title", "text_says", "text_where", "drawing_says", "drawing_where"), "said")


# The whole of it: who is let in, by address and method. A right is a permission of `policy`, whose table says which roles have it.
#   plan@       and it is about the holder's bench: of the two builders only the holder may
#   plan@other  and it is about the other builder's
#   manage?     and who may not is told 404, as of a row that isn't there: a device, a session
#   nobody?     the row is another person's own
#   use_stock@! and who may is told 404 in this scene, since nothing is left to be done there
# "read" is everybody in the workshop: also where each acts for themselves alone, or where the answer doesn't depend on who asks.
# A method that isn't named is a 405. What is open to strangers stands in OPEN of test_isolation.
TABLE = """
api-notice                          GET read, PATCH notices, DELETE notices
api-notice-letters                  GET read, POST notices
api-notice-quarantine               POST judge_lots
api-notice-sweep                    POST notices
api-notice-tasks                    GET read
api-notice-tick                     POST look_into@
api-notice-untick                   POST look_into@
api-notices                         GET read, POST notices
api-trace                           GET read
change-notice                       GET notices, POST notices
new-notice                          GET notices, POST notices
notice                              GET read
notice-letter                       GET read
notice-letter-pdf                   GET read
notice-letter-text                  GET read
notices                             GET read
quarantine-notice-task              POST judge_lots
remove-notice                       POST notices
sweep-notice                        POST notices
tick-notice-task                    GET look_into@, POST look_into@
trace                               GET read
trace-csv                           GET read
trace-pdf                           GET read
untick-notice-task                  POST look_into@
write-notice-letters                POST notices
accept-transfer                     GET use_stock@other, POST use_stock@other
add-blank                           GET keep_stock, POST keep_stock
add-operation                       POST plan@
add-piece                           GET plan@, POST plan@
api-blank                           GET read, PATCH keep_stock, DELETE keep_stock
api-blanks                          GET read, POST keep_stock
api-cut                             GET read
api-cut-saw                         POST use_stock@
api-cut-spoil                       POST use_stock@
api-cut-undo                        POST plan@
api-cutting-rules                   GET read, PATCH manage
api-cuts                            GET read, POST plan@
blank                               GET read
change-blank                        GET keep_stock, POST keep_stock
cut                                 GET read
cutting                             GET read
cutting-rules                       GET manage, POST manage
measure-lot                         GET use_stock@, POST use_stock@
operation-done                      POST use_stock@
piece                               GET read, POST plan@
plan-cut                            GET plan, POST plan
remove-blank                        POST keep_stock
remove-operation                    POST plan@
remove-piece                        POST plan@
saw-cut                             POST use_stock@
spoil-pieces                        POST use_stock@
take-back-operation                 POST use_stock@
undo-cut                            POST plan@
account                             GET read
add-positions                       POST plan@
add-row                             GET plan@, POST plan@
add-seam                            GET plan@, POST plan@
answer-claim                        POST order
answer-conflict                     POST plan@
api-acceptance                      GET read
api-acceptance-withdraw             POST accept
api-acceptances                     GET read, POST accept
api-assemblies                      GET read, POST plan@
api-assembly                        GET read, PATCH plan@
api-assembly-done                   POST use_stock@
api-assembly-positions              POST plan@
api-bag                             GET read, DELETE keep_stock
api-bag-finish                      POST tally@
api-bags                            GET read, POST keep_stock
api-bench                           GET read
api-bench-holders                   GET read, PUT manage
api-benches                         GET read
api-booking                         GET read, DELETE keep_stock
api-bookings                        GET read, POST use_stock
api-claim                           GET read, PATCH order, DELETE order
api-claim-answer                    POST order
api-claim-clocks                    GET read
api-claim-letter                    GET read
api-claim-rule                      GET read, PATCH order, DELETE order
api-claim-rules                     GET read, POST order
api-claim-send                      POST order
api-claimable                       GET read
api-claims                          GET read, POST order
api-club-day                        GET read
api-club-day-book                   POST plan@
api-club-day-take                   POST plan
api-club-statement                  GET read
api-club-surplus                    GET read
api-club-week                       GET read
api-code                            GET read
api-conflict                        GET read, PATCH plan@
api-conflict-answers                POST plan@
api-conflict-reopen                 POST settle@
api-conflict-settle                 POST settle@
api-conflicts                       GET read, POST plan@
api-crate                           GET read, PATCH keep_stock, DELETE keep_stock
api-crate-arrived                   POST tally@
api-crate-close                     POST keep_stock
api-crate-order                     GET read
api-crate-receipt                   GET read
api-crate-sheet                     GET read
api-crates                          GET read, POST keep_stock
api-decode                          POST read
api-device                          GET all_devices?, DELETE all_devices?
api-devices                         GET read, POST issue_devices
api-disposal                        GET read
api-disposals                       GET read, POST keep_stock
api-expiries                        GET read
api-false-mirror                    GET read, PATCH plan, DELETE plan
api-false-mirrors                   GET read, POST plan
api-figure                          GET read
api-figure-batches                  GET read
api-figure-bolt-torque              GET read
api-figure-clecos                   GET read
api-figure-drill                    GET read
api-figure-drill-fit                GET read
api-figure-last-usable-day          GET read
api-figure-mean-kinetic-temperature GET read
api-figure-mix                      GET read
api-figure-pin-peak                 GET read
api-figure-rivet-code               GET read
api-figure-rivet-length             GET read
api-figure-rivet-tools              GET read
api-figure-rivets-per-inch          GET read
api-figure-seam-grams               GET read
api-figure-weigh-count              GET read
api-figure-work-life                GET read
api-figures                         GET read
api-find                            GET read
api-hand                            GET read, PATCH plan, DELETE plan
api-hands                           GET read, POST plan
api-holdings                        GET read
api-identifier                      GET read, DELETE keep_stock
api-identifiers                     GET read, POST keep_stock
api-invitation                      GET manage, DELETE manage
api-invitations                     GET manage, POST manage
api-item                            GET read, PATCH keep_stock, DELETE keep_stock
api-items                           GET read, POST keep_stock
api-label                           GET read
api-label-sheets                    GET read
api-labels                          GET read, POST use_stock
api-labels-pdf                      POST use_stock
api-line                            GET read, PATCH keep_stock, DELETE keep_stock
api-lines                           GET read, POST keep_stock
api-log                             GET read, POST write_log@
api-log-entry                       GET read, PATCH write_log@
api-log-sign                        POST sign_log
api-log-strike                      POST write_log@
api-log-withdraw                    POST sign_log
api-load                            GET keep_stock
api-loads                           GET keep_stock
api-loan                            GET read
api-loan-ends                       POST use_stock@
api-loan-renew                      POST use_stock@
api-loans                           GET read, POST use_stock@
api-lot                             GET read, PATCH judge_lots, DELETE keep_stock
api-lot-size                        GET read, PATCH use_stock@
api-lot-opened                      GET read, POST keep_stock
api-lots                            GET read, POST keep_stock
api-mark-away                       POST use_stock@
api-mark-replace                    POST use_stock@
api-mark-take-for                   POST use_stock@
api-me                              GET read
api-member                          GET read, PATCH manage
api-member-leave                    POST manage
api-members                         GET read, POST manage
api-mirror-pair                     GET read, DELETE plan
api-mirror-pairs                    GET read, POST plan
api-mix                             GET read, PATCH use_stock@
api-mix-take-back                   POST use_stock@
api-movement                        GET read
api-movements                       GET read, POST use_stock@
api-packing-lists                   POST keep_stock
api-pins                            GET read
api-place                           GET read, PATCH keep_stock, DELETE keep_stock
api-places                          GET read, POST keep_stock
api-pool                            GET read
api-pool-free                       GET read
api-pool-rules                      GET read, PATCH manage
api-position-mark                   POST use_stock@
api-settings                        GET read, PATCH manage
api-put-away                        POST keep_stock
api-reminders                       GET read
api-reverse                         POST keep_stock
api-scan                            GET read
api-scan-settle                     POST tally
api-scan-undo                       POST keep_stock
api-scans                           GET read, POST read
api-seal-day                        GET read, PATCH plan@
api-seal-day-call-off               POST plan@
api-seal-day-checks                 POST plan@
api-seal-day-close                  POST plan@
api-seal-day-mixes                  POST use_stock@
api-seal-day-move                   POST plan@
api-seal-day-people                 PUT plan@
api-seal-day-products               PUT plan@
api-seal-days                       GET read, POST plan@
api-sender                          GET read, PATCH order, DELETE order
api-senders                         GET read, POST order
api-shelf-life                      GET read
api-shortfall                       GET read
api-step                            GET read, PATCH plan@
api-stock-by-week                   GET read
api-storage-rule                    GET read, PATCH keep_stock, DELETE keep_stock
api-storage-rules                   GET read, POST keep_stock
api-tallies                         GET read, POST tally@
api-tally                           GET read
api-tally-undo                      POST tally@
api-temperatures                    GET read, POST log_temperatures
api-thing                           GET read, PATCH keep_stock, DELETE keep_stock
api-things                          GET read, POST keep_stock
api-tonight                         GET read
api-transfer                        GET read
api-transfer-accept                 POST use_stock@other
api-transfer-decline                POST use_stock@other
api-transfer-withdraw               POST use_stock@
api-transfers                       GET read, POST use_stock@
api-unit-cost                       GET read, DELETE keep_stock
api-unit-costs                      GET read, POST keep_stock
api-update-test                     GET read
api-update-tests                    GET read, POST judge_lots
apply-scan                          POST tally
add-reading                         POST write_log@
api-gate                            GET read, PATCH plan@
api-gate-close                      POST close_up@
api-gate-reopen                     POST close_up@
api-gate-tick                       POST write_log@
api-gate-untick                     POST write_log@
api-gates                           GET read
api-leak-reading-strike             POST write_log@
api-leak-test                       GET read, PATCH write_log@
api-leak-test-read                  POST write_log@
api-leak-tests                      GET read, POST write_log@
api-operation                       GET read
api-operation-done                  POST use_stock@
api-operation-take-back             POST use_stock@
api-operations                      GET read, POST plan@
change-leak-test                    GET write_log@, POST write_log@
close-section                       POST close_up@
closing                             GET read
gate                                GET read
gate-list                           GET plan@, POST plan@
gate-sheet                          GET read
leak-test                           GET read
new-leak-test                       GET write_log@, POST write_log@
reopen-section                      POST close_up@
strike-reading                      POST write_log@
tick-gate                           POST write_log@
untick-gate                         POST write_log@
archive-file                        GET manage
archive-now                         POST manage
archives                            GET manage, POST manage
arrived                             GET keep_stock, POST keep_stock
ask                                 GET use_stock, POST use_stock
assemblies                          GET read
assembly                            GET read
bag-arrived                         GET keep_stock, POST keep_stock
bench-holders                       GET manage, POST manage
book                                GET use_stock, POST use_stock
bookings                            GET read
cancel-booking                      POST keep_stock
change-assembly                     GET plan@, POST plan@
change-conflict                     GET plan@, POST plan@
claim                               GET read
claim-letter                        GET read
claims                              GET read
close-crate                         GET read, POST keep_stock
club                                GET read
club-day                            GET read, POST use_stock@
code                                GET read, POST keep_stock
confirm-two-step                    POST read
conflict                            GET read
conflicts                           GET read
count                               GET keep_stock, POST keep_stock
count-bag                           GET read
count-crate                         GET read
count-line                          GET read, POST tally@
count-loose                         GET read
count-mystery                       GET tally@, POST tally@
count-other                         GET tally@, POST tally@
counts                              GET read
crate                               GET read
crate-arrived                       GET keep_stock, POST keep_stock
crate-claims                        GET read, POST order
crate-details                       GET order, POST order
crate-here                          GET tally@, POST tally@
crate-order                         GET read
crate-photos                        GET read, POST tally@
crates                              GET read
decline-transfer                    POST use_stock@other
device                              GET all_devices?, POST all_devices?
devices                             GET read, POST issue_devices
digest                              POST read
discard-claim                       POST order
due                                 GET order, POST order
end-feed                            POST read
end-mix                             GET read, POST use_stock@
end-session                         POST nobody?
end-sessions                        POST read
end-two-step                        POST read
false-mirror                        POST plan
figure                              GET read
figures                             GET read
find                                GET read
finish-bag                          POST tally@
forget-code                         POST keep_stock
forget-name                         POST manage
hands                               GET read
home                                GET read
invite                              GET manage, POST manage
item-extension                      POST keep_stock
item-storage                        GET read, POST keep_stock
label-sheet                         GET keep_stock, POST keep_stock
edit-log                            GET write_log@, POST write_log@
label-sheets                        GET read, POST keep_stock
log                                 GET read
log-csv                             GET read
log-entry                           GET read
log-hours                           GET read
log-pdf                             GET read
log-photos                          GET read, POST write_log@
labelled                            GET read
labels                              GET read
labels-pdf                          GET use_stock, POST use_stock
lay-bag                             GET tally@, POST tally@
leave                               GET manage, POST manage
lend                                GET use_stock, POST use_stock
let-go-scan                         POST tally
load                                GET keep_stock, POST keep_stock
load-columns                        GET read
load-crate                          GET keep_stock, POST keep_stock
load-job                            GET keep_stock, POST keep_stock
loan                                GET read
loan-photos                         GET read, POST keep_stock
loans                               GET read
lot                                 GET read
lot-accept                          GET accept, POST accept
lot-dates                           GET keep_stock, POST keep_stock
lot-opened                          GET keep_stock, POST keep_stock
lot-dispose                         GET keep_stock, POST keep_stock
lot-state                           GET judge_lots, POST judge_lots
lot-test                            GET judge_lots, POST judge_lots
mark-labels-pdf                     GET read
mark-list                           GET read
marks-csv                           GET read
member                              GET read, POST manage
members                             GET read
mix-card                            GET read, POST use_stock@!
my-pool                             GET read
mystery                             GET read, POST tally@
new-assembly                        GET plan@, POST plan@
new-conflict                        GET plan@, POST plan@
new-feed                            POST read
note-deed                           POST use_stock@
offer                               GET use_stock, POST use_stock
order-sheet                         GET read
order-sheet-csv                     GET read
order-sheets                        GET read
ordered                             GET order, POST order
pair-items                          POST plan
password                            GET read, POST read
photo                               GET read
pick-list                           GET read
pick-tick                           POST use_stock@
pins                                GET read
plan                                GET read
plan-seal-day                       GET plan@, POST plan@
planned                             GET plan@, POST plan@
plans                               GET read
pool                                GET read
pool-rules                          GET read, POST manage
position                            GET read, POST use_stock@
projects                            GET read
put-away                            GET keep_stock, POST keep_stock
receipt                             GET read
receipt-csv                         GET read
reminders                           GET read
remove-claim-rule                   POST order
remove-false-mirror                 POST plan
remove-label-sheet                  POST keep_stock
remove-loss                         POST manage
remove-photo                        POST keep_stock
remove-position                     POST plan@
remove-row                          POST plan@
remove-seal-day-check               POST plan@
remove-seam                         POST plan@
remove-storage-rule                 POST keep_stock
remove-unit-cost                    POST keep_stock
renew-codes                         POST read
renew-loan                          POST use_stock@
reopen-conflict                     POST settle@
reopen-crate                        POST keep_stock
replace-mark                        POST use_stock@
retire-thing                        POST keep_stock
reverse                             GET keep_stock, POST keep_stock
reverse-all                         POST keep_stock
revoke-device                       POST all_devices?
roles                               GET read
row                                 GET plan@, POST plan@
scan                                GET read, POST read
scan-conflicts                      GET read
scan-photo                          GET read, POST read
scan-undo                           POST keep_stock
scans                               GET read
seal-day                            GET read
seal-day-call-off                   GET plan@, POST plan@
seal-day-card                       GET read
seal-day-change                     GET plan@, POST plan@
seal-day-checks                     POST plan@
seal-day-close                      GET plan@, POST plan@
seal-day-hold                       POST plan@
seal-day-move                       GET plan@, POST plan@
seal-day-people                     GET plan@, POST plan@
seal-day-products                   GET plan@, POST plan@
seal-day-steps                      GET plan@, POST plan@
seal-day-tick                       POST plan@
seal-days                           GET read
seam                                GET plan@, POST plan@
send-claim                          POST order
sender                              GET read, POST order
senders                             GET read, POST order
set-claim-rule                      POST order
settings                            GET read, POST manage
settle-conflict                     POST settle@
showing                             GET manage, POST manage
own-showing                         GET read, POST read
remove-archive                      POST manage
shelf-life                          GET read
shelf-life-csv                      GET read
shelves                             GET read
start                               GET read
start-example                       POST manage
start-hide                          POST read
state-hand                          POST plan
statement                           GET read
statement-csv                       GET read
statement-pdf                       GET read
sign-log                            GET sign_log, POST sign_log
sign-step                           GET sign_log, POST sign_log
step                                GET read, POST use_stock@
step-photos                         GET read, POST write_log@
step-sheet                          GET read
stock-by-week                       GET read
substitutions                       GET read, POST accept
supplies                            GET read, POST plan
supply                              GET plan, POST plan
surplus                             GET read
take-back                           POST use_stock@
take-back-mix                       POST use_stock@
take-in                             POST use_stock@
take-mark-away                      POST use_stock@
take-mark-for                       POST use_stock@
temperatures                        GET read, POST log_temperatures
test-photos                         GET read, POST judge_lots
thing                               GET read, POST keep_stock
things                              GET read, POST keep_stock
tick-line                           POST tally@
tonight                             GET read
transfers                           GET read
two-step                            GET read, POST read
undo-pair                           POST plan
undo-scan                           POST keep_stock
undo-tally                          POST tally@
unit-costs                          GET read, POST keep_stock
weigh-line                          GET read, POST tally@
strike-log                          GET write_log@, POST write_log@
withdraw                            POST accept
withdraw-acceptance                 GET accept, POST accept
withdraw-invitation                 POST manage
withdraw-order                      POST order
withdraw-signature                  GET sign_log, POST sign_log
withdraw-transfer                   POST use_stock@
write-log                           GET write_log@, POST write_log@
write-project-log                   GET write_log@, POST write_log@
words                               GET read
workshop                            POST read
"""


def bodies(one):
    """What is sent where nothing at all would be refused before anybody asks who sends it."""
    spot, day = f"{one(Lot)}-{one(Place)}", "2026-01-02"
    lent = {"kind": "returned", "quantity": "1", "place": one(Place, "path"), "on": day}
    stock = {"lot": one(Lot), "place": one(Place, "path"), "quantity": "1"}
    share = {"project": "OURS-PROJECT", "step": "OURS-STEP", "grams": "11"}
    mixed = {"item": "OURS-ITEM", "base": "10", "accelerator": "1", "mixed_at": "2026-01-02T10:00:00Z", "mixed_by": "Wren"}
    take = {"lot": one(Lot), "place": one(Place, "path"), "grams": "11"}
    person = {"name": "Wren", "comes": "09:00", "goes": "17:00"}
    return {
        "accept-transfer POST": {"spot": spot, "bench": one(Bench, "pk", -1)},
        "api-acceptances POST": {"lot": one(Lot), "until": LATER, "reason": "looked at"},
        "api-assemblies POST": {"project": "OURS-PROJECT", "name": "New"},
        "api-assembly-done POST": {"deed": "drilled", "first": 1, "last": 9, "on": day},
        "api-assembly-positions POST": {"parts": ["skin"], "first": 1, "last": 2},
        "api-bags POST": {"crate": "OURS-CRATE", "path": "9"},
        "api-bookings POST": {"item": "OURS-ITEM", "first_day": LATER, "last_day": LATER},
        "api-claim-answer POST": {"state": "refused"},
        "api-claim-rules POST": {"sender": "OUTSIDE sender", "fault": "shortage", "days": 3},
        "api-claims POST": {"crate": "OURS-CRATE"},
        "api-club-day-book POST": {"day": LATER, "bench": "OURS-BENCH", "key": KEY},
        "api-club-day-take POST": {"day": LATER, "token": "move:1:2027-01-01"},
        "api-conflict-answers POST": {"text": "left", "on": day, "reference": "letter"},
        "api-conflict-reopen POST": {"why": "measured"},
        "api-conflict-settle POST": {"right": "text", "on": day, "note": "measured"},
        "api-conflicts POST": {"project": "OURS-PROJECT", "kind": "hand", **READINGS},
        "api-crates POST": {"bench": "OURS-BENCH", "code": "NEW"},
        "api-cut-saw POST": {"source": one(Place, "path"), "target": one(Place, "path"), "on": day},
        "api-cut-spoil POST": {"line": one(CutPiece), "count": 1, "cause": "bent", "on": day},
        "api-blanks POST": {"item": "OURS-ITEM", "form": "sheet"},
        "api-cuts POST": {"blank": one(Blank), "lot": one(Lot), "now": [{"piece": one(Piece), "count": 1}]},
        "api-devices POST": {"name": "Phone", "scopes": ["read"]},
        "api-disposals POST": {**stock, "mass_g": "1", "way": "to the yard"},
        "api-false-mirrors POST": {"one": "OUTSIDE-LEFT", "other": "OURS-ITEM", "told_apart": "a flange"},
        "api-hands POST": {"item": "OURS-ITEM", "hand": "left"},
        "api-mirror-pairs POST": {"left": "OUTSIDE-LEFT", "right": "OURS-ITEM"},
        "api-gate PATCH": {"points": [{"text": "strainer"}]},
        "api-gate-reopen POST": {"why": "the vent chafes"},
        "api-gate-tick POST": {"point": str(one(GatePoint))},
        "api-gate-untick POST": {"point": str(one(GatePoint))},
        "api-leak-reading-strike POST": {"why": "the wrong gauge"},
        "api-leak-test PATCH": {"name": "Left tank"},
        "api-leak-test-read POST": {"at": f"{day}T10:00Z", **READ},
        "api-leak-tests POST": {"gate": one(Section), "name": "Left tank"},
        "tick-gate POST": {"point": one(GatePoint)},
        "untick-gate POST": {"point": one(GatePoint)},
        "api-identifiers POST": {"item": "OURS-ITEM", "text": "NEW"},
        "api-items POST": {"code": "NEW", "name": "New", "kind": "part", "unit": "ea"},
        "api-labels POST": {"lots": [one(Lot)]},
        "api-labels-pdf POST": {"lots": [one(Lot)], "sheet": str(one(LabelSheet))},
        "api-lines POST": {"crate": "OURS-CRATE", "number": "9", "item": "OURS-ITEM", "quantity": "1"},
        "api-loan-ends POST": lent,
        "api-loan-renew POST": {"due_on": LATER},
        "api-loans POST": stock,
        "api-log POST": {"project": "OURS-PROJECT", "step": "OURS-STEP", "on": day, "text": "riveted"},
        "api-log-entry PATCH": {"text": "riveted"},
        "api-log-strike POST": {"why": "of the other float"},
        "api-log-withdraw POST": {"why": "of the other float"},
        "api-lot PATCH": {"state": "quarantined"},
        "api-lot-opened POST": {"opened": None, "note": "scanned the wrong tube"},
        "api-lots POST": {"item": "OURS-ITEM", "bench": "OURS-BENCH", "code": "NEW"},
        "api-mark-away POST": {"why": "bent", "on": day},
        "api-mark-replace POST": {"why": "bent", "words": "the new one", "on": day},
        "api-mark-take-for POST": {"position": one(Position), "reason": "one template", "on": day},
        "api-notice PATCH": {"title": "New"},
        "api-notice-tick POST": {"outcome": "sound"},
        "api-notices POST": {"reference": "SB", "title": "New", "text": "Look.", "issued_on": day, "codes": ["R-1"]},
        "api-members POST": {"email": "new@club.example", "name": "New", "role": "reader"},
        "api-mix PATCH": {"left": "1"},
        "api-movements POST": {**stock, "kind": "use"},
        "api-operation-done POST": {"count": 1, "on": day},
        "api-operations POST": {"piece": one(Piece), "name": "prime", "count": 1},
        "api-places POST": {"path": "New"},
        "api-position-mark POST": {"words": "the bent one", "on": day},
        "api-put-away POST": {"place": "New"},
        "api-scan-settle POST": {"apply": False},
        "api-seal-day PATCH": {"note": "new"},
        "api-seal-day-call-off POST": {"reason": "too cold"},
        "api-seal-day-checks POST": {"text": "gloves"},
        "api-seal-day-mixes POST": {**mixed, "takes": [take], "shares": [share], "key": KEY},
        "api-seal-day-move POST": {"to": LATER},
        "api-seal-day-people PUT": {"people": [person]},
        "api-seal-day-products PUT": {"products": [{"item": "OURS-ITEM", "life_hours": "2", "cure_hours": "24"}]},
        "api-seal-days POST": {"bench": "OURS-BENCH", "on": LATER, "steps": [{"project": "OURS-PROJECT", "step": "OURS-STEP"}]},
        "api-senders POST": {"name": "New"},
        "api-storage-rules POST": {"item": "OURS-ITEM", "high": "20", "source": "data sheet"},
        "api-tallies POST": {"line": one(PackingLine), "quantity": "1"},
        "api-temperatures POST": {"place": one(Place, "path"), "readings": [{"at": f"{day}T10:00Z", "temperature": "20", "unit": "C"}]},
        "api-things POST": {"lot": one(Lot)},
        "api-transfer-accept POST": {"bench": "OTHER"},
        "api-transfers POST": {"kind": "offer", "lot": one(Lot), "quantity": "1"},
        "api-unit-costs POST": {"item": "OURS-ITEM", "since": day, "amount": "1"},
        "api-update-tests POST": {"lot": one(Lot), "on": day, "passed": True, "method": "by hand"},
        "club-day POST": {"bench": one(Bench), "key": KEY},
        "code POST": {"code": "NEW", "text": "NEW", "item": "OURS-ITEM"},
        "item-storage POST": {"high": "20", "longest_gap_hours": "6", "source": "data sheet"},
        "labels-pdf POST": {"lots": one(Lot), "sheet": str(one(LabelSheet)), "start": 1, "symbol": "qr", "copies": 1},
        "lot-accept POST": {"until": LATER, "reason": "looked at"},
        "lot-dispose POST": {"place": one(Place), "quantity": "1", "mass_g": "1", "way": "to the yard"},
        "lot-state POST": {"state": "quarantined"},
        "lot-test POST": {"result": "passed", "method": "by hand", "on": day},
        "mystery POST": {"line": one(PackingLine)},
        "pick-tick POST": {"step": one(Step), "clear": "1"},
        "new-feed POST": {"start": tokens.make_prefix(tokens.FEED)},
        "renew-loan POST": {"due_on": LATER},
        "reverse-all POST": {"movement": one(Movement)},
        "scan POST": {"code": "OURS-ITEM", "action": "count", "quantity": "1", "place": one(Place, "path"), "uuid": KEY},
        "supplies POST": {"name": "New cup", "quantity": "1", "unit": "ea"},
        "take-in POST": {**lent, "key": KEY},
        "tick-line POST": {"act": "more"},
        "workshop POST": {"workshop": "OURS"},
    }


class Scene:
    """Our workshop and another one, each with a row of every kind, and who works in ours; what one of them is answered."""

    def __init__(self):
        with scopes_disabled():
            self.theirs, self.ours = factories.furnished_workshop("OUTSIDE"), factories.furnished_workshop("OURS")
            for workshop in (self.theirs, self.ours):
                furnish(workshop)
            self.members = {name: factories.MemberFactory(workshop=self.ours, role=role, name=name) for name, role in MEMBERS.items()}
            self._hold_benches()
            Scan.objects.filter(workshop=self.ours).update(
                answer={"movements": [rows_of(self.ours)(Movement)], "text": "used"}, outcome="done"
            )
            Thing.objects.filter(workshop=self.ours).update(retired_at=timezone.now())  # it may pass to another bench then
            self.bodies = bodies(rows_of(self.ours))
        self.client = Client(raise_request_exception=False)
        self.sessions = {name: self._signed_in(member) for name, member in self.members.items()}

    def _hold_benches(self):
        bench = Bench.objects.get(workshop=self.ours)
        Bench.objects.filter(pk=bench.pk).update(shared=False)
        other = factories.BenchFactory(workshop=self.ours, code="OTHER")
        Transfer.objects.filter(workshop=self.ours).update(taker=other)  # what the one bench offers the other
        for name, held in (("holder", bench), ("other", other)):
            BenchHolder.objects.create(workshop=self.ours, bench=held, member=self.members[name])

    def _signed_in(self, member):
        client = Client()
        client.force_login(member.user, backend="django.contrib.auth.backends.ModelBackend")
        return client.session.session_key

    def address(self, name, workshop):
        if workshop is self.ours and name in OURS:
            return reverse(name, args=OURS[name](rows_of(workshop)))
        values = [
            workshop.code.join(value.split("OUTSIDE")) if isinstance(value, str) else value for value in values_in(name, rows_of(workshop))
        ]
        if values or name in ASKED_FOR:
            return reverse(name, args=values) + ASKED_FOR.get(name, "")
        return reverse(name, kwargs={key: ANYTHING[type(kind)] for key, kind in PATTERNS[name].pattern.converters.items()})

    def ask(self, who, method, name, address):
        """What `who` is answered; all that it did is taken back."""
        self.client.cookies = cookies.SimpleCookie({settings.SESSION_COOKIE_NAME: self.sessions[who]} if who else {})
        if who:
            cache.set(seen_key(self.sessions[who]), True)
        with TakenBack():
            body = self.bodies.get(f"{name} {method}", {})
            if name not in PROGRAMS or name in FILES:
                return getattr(self.client, method.lower())(address, body | FILES.get(name, dict)())
            return self.client.generic(method, address, json.dumps(body), content_type="application/json", headers={"If-Match": "*"})


class TakenBack(transaction.Atomic):
    """A transaction that is rolled back."""

    def __init__(self):
        super().__init__(using=None, savepoint=True, durable=False)
        self._from_testcase = True  # what asks to be the outermost one may stand within, as in a test case

    def __exit__(self, *raised):
        transaction.set_rollback(True)
        super().__exit__(*raised)


@pytest.fixture(scope="module")
def whole(django_db_setup, django_db_blocker):
    """Made once for all of these tests: none of them leaves a trace."""
    with django_db_blocker.unblock(), TakenBack():
        yield Scene()


@pytest.fixture
def scene(whole, settings):
    settings.API_RATE = settings.API_STRANGERS_RATE = 10**6
    photo = Path(settings.MEDIA_ROOT) / rows_of(whole.ours)(Photo, "file")
    photo.parent.mkdir(parents=True, exist_ok=True)
    photo.write_bytes(b"")
    return whole


def read_table():
    """The right that each method of each address takes."""
    found = {}
    for line in TABLE.strip().splitlines():
        name, said = line.split(maxsplit=1)
        assert name not in found, f"{name} has two rows"
        found[name] = dict(part.split() for part in said.split(", "))
    return found


RIGHTS = read_table()


def may(who, right):
    permission, _, bench = right.rstrip("?!").partition("@")
    role = MEMBERS[who]
    if permission == "nobody" or role not in policy.PERMISSIONS[permission]:
        return False
    return "@" not in right or role != Role.BUILDER or who == (bench or "holder")


def is_in(answer):
    """Whether whoever asked was let in: done, or refused for what was sent or how things stand."""
    refused = {HTTPStatus.UNAUTHORIZED, HTTPStatus.FORBIDDEN, HTTPStatus.NOT_FOUND, HTTPStatus.METHOD_NOT_ALLOWED}
    return answer.status_code < HTTPStatus.INTERNAL_SERVER_ERROR and answer.status_code not in refused and not is_sent_to_sign_in(answer)


def is_sent_to_sign_in(answer):
    return answer.status_code == HTTPStatus.FOUND and answer.url.startswith(reverse("sign-in"))


def as_expected(answer, who, right):
    if right is None:
        return answer.status_code == HTTPStatus.METHOD_NOT_ALLOWED
    if may(who, right):
        return answer.status_code == HTTPStatus.NOT_FOUND if right.endswith("!") else is_in(answer)
    return answer.status_code == (HTTPStatus.NOT_FOUND if right.endswith("?") else HTTPStatus.FORBIDDEN)


def test_every_address_has_its_row():
    lacking, needless = set(PATTERNS) - OPEN - set(RIGHTS), set(RIGHTS) - set(PATTERNS)

    assert (lacking, needless) == (set(), set()), "give a new address its row in TABLE: `name   GET read, POST plan@`"


def test_every_right_is_a_permission_of_the_policy():
    rights = {right.rstrip("?!").partition("@")[0] for row in RIGHTS.values() for right in row.values()}

    assert rights - {"nobody"} <= set(policy.PERMISSIONS)


def asked_of(method, right):
    """Who asks: what everybody may read is asked for by those with most and with least alone."""
    if right is None:
        return ("owner",)
    return ("owner", "reader") if (method, right) == ("GET", "read") else tuple(MEMBERS)


@pytest.mark.alike
@pytest.mark.parametrize("program", [False, True], ids=["pages", "API"])
def test_each_role_gets_where_the_table_says_on_its_own_and_on_another_s_bench(scene, program):
    wrong = {}
    for name, rights in RIGHTS.items():
        if (name in PROGRAMS) != program:
            continue
        address = scene.address(name, scene.ours)
        for method in methods(PATTERNS[name]) if name in PROGRAMS else ("GET", "POST"):
            answers = {who: scene.ask(who, method, name, address) for who in asked_of(method, rights.get(method))}
            if not all(as_expected(answer, who, rights.get(method)) for who, answer in answers.items()):
                wrong[f"{method} {name}"] = (rights.get(method), {who: answer.status_code for who, answer in answers.items()})

    assert wrong == {}


def test_nobody_gets_to_another_workshop_s_rows(scene):
    wrong = {}
    for name in sorted(FOREIGN):
        address = scene.address(name, scene.theirs)
        for method, right in RIGHTS[name].items():
            for who in ("owner", "holder", "reader"):
                status = scene.ask(who, method, name, address).status_code
                if status != HTTPStatus.NOT_FOUND and (may(who, right) or status != HTTPStatus.FORBIDDEN):
                    wrong[f"{method} {name} {who}"] = status

    assert wrong == {}


def test_nobody_gets_in_without_signing_in(scene):
    wrong = {}
    for name, rights in RIGHTS.items():
        address = scene.address(name, scene.ours)
        for method in rights:
            answer = scene.ask(None, method, name, address)
            if not (answer.status_code == HTTPStatus.UNAUTHORIZED if name in PROGRAMS else is_sent_to_sign_in(answer)):
                wrong[f"{method} {name}"] = answer.status_code

    assert wrong == {}


def test_strangers_get_to_what_lets_them_in(scene):
    for name in sorted(OPEN - {"api", "api-part", "openapi", "sign-out"}):
        values = LINKS.get(name) or ["x"] * len(PATTERNS[name].pattern.regex.groupindex)
        answer = scene.ask(None, "GET", name, reverse(name, args=values))
        assert answer.status_code not in {HTTPStatus.UNAUTHORIZED, HTTPStatus.FORBIDDEN}, name
