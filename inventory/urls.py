"""Addresses of the pages: wiring only."""

from django.contrib.auth.views import LogoutView
from django.urls import path, re_path

from inventory.claims import views as claims
from inventory.labels import views as labels
from inventory.receiving import views as receiving
from inventory.scanning import scan_views as scans
from inventory.scanning import views as scanning
from inventory.shelflife import views as shelflife
from inventory.stock import views as stock
from inventory.tallying import end_views as ending
from inventory.tallying import views as tallying
from inventory.workshop import views as workshop

urlpatterns = [
    path("sign-in/", workshop.SignIn.as_view(), name="sign-in"),
    path("sign-in/link/<str:uidb64>/<str:token>/", workshop.sign_in_link, name="sign-in-link"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path("password/", workshop.Password.as_view(), name="password"),
    path("workshop/", workshop.choose_workshop, name="workshop"),
    path("devices/", workshop.devices, name="devices"),
    path("devices/<int:pk>/", workshop.device, name="device"),
    path("devices/<int:pk>/revoke/", workshop.revoke_device, name="revoke-device"),
    path("shelves/", stock.shelves, name="shelves"),
    path("lots/<int:pk>/", shelflife.lot, name="lot"),
    path("lots/<int:pk>/test/", shelflife.lot_test, name="lot-test"),
    path("lots/<int:pk>/accept/", shelflife.lot_accept, name="lot-accept"),
    path("lots/<int:pk>/dispose/", shelflife.lot_dispose, name="lot-dispose"),
    path("acceptances/<int:pk>/withdraw/", shelflife.withdraw_acceptance, name="withdraw-acceptance"),
    path("items/<int:pk>/storage/", shelflife.item_storage, name="item-storage"),
    path("items/<int:pk>/extension/", shelflife.item_extension, name="item-extension"),
    path("storage-rules/<int:pk>/remove/", shelflife.remove_storage_rule, name="remove-storage-rule"),
    path("temperatures/", shelflife.temperatures, name="temperatures"),
    path("lots/<int:lot>/count/<int:place>/", stock.count, name="count"),
    path("lots/<int:pk>/state/", stock.lot_state, name="lot-state"),
    path("lots/<int:pk>/dates/", stock.lot_dates, name="lot-dates"),
    path("movements/<int:pk>/reverse/", ending.reverse_movement, name="reverse"),
    path("crates/", receiving.crates, name="crates"),
    path("crates/<int:pk>/", claims.crate, name="crate"),
    path("crates/<int:pk>/due/", receiving.due, name="due"),
    path("crates/<int:pk>/arrived/", receiving.crate_arrived, name="crate-arrived"),
    path("bags/<int:pk>/arrived/", receiving.bag_arrived, name="bag-arrived"),
    path("lines/<int:pk>/arrived/", receiving.arrived, name="arrived"),
    path("crates/<int:pk>/here/", ending.crate_here, name="crate-here"),
    path("crates/<int:pk>/count/", tallying.count_crate, name="count-crate"),
    path("crates/<int:pk>/count/loose/", tallying.count_loose, name="count-loose"),
    path("crates/<int:pk>/count/other/", tallying.count_other, name="count-other"),
    path("crates/<int:pk>/count/mystery/", tallying.count_mystery, name="count-mystery"),
    path("crates/<int:pk>/counts/", tallying.counts, name="counts"),
    path("crates/<int:pk>/put-away/", ending.put_away, name="put-away"),
    path("crates/<int:pk>/close/", ending.close_crate, name="close-crate"),
    path("crates/<int:pk>/reopen/", ending.reopen_crate, name="reopen-crate"),
    path("crates/<int:pk>/receipt/", ending.receipt, name="receipt"),
    path("crates/<int:pk>/receipt.csv", ending.receipt_csv, name="receipt-csv"),
    path("crates/<int:pk>/photos/", ending.crate_photos, name="crate-photos"),
    path("photos/<int:pk>/", ending.photo, name="photo"),
    path("photos/<int:pk>/remove/", ending.remove_photo, name="remove-photo"),
    path("bags/<int:pk>/count/", tallying.count_bag, name="count-bag"),
    path("bags/<int:pk>/finish/", tallying.finish_bag, name="finish-bag"),
    path("bags/<int:pk>/lay/", tallying.lay_bag, name="lay-bag"),
    path("lines/<int:pk>/tick/", tallying.tick_line, name="tick-line"),
    path("lines/<int:pk>/count/", tallying.count_line, name="count-line"),
    path("lines/<int:pk>/weigh/", tallying.weigh_line, name="weigh-line"),
    path("tallies/<int:pk>/", tallying.mystery, name="mystery"),
    path("tallies/<int:pk>/undo/", tallying.undo_tally, name="undo-tally"),
    path("scan/", scanning.scan, name="scan"),
    path("scan/photo/", scanning.photo, name="scan-photo"),
    path("scan/<uuid:uuid>/undo/", scanning.undo_scan, name="scan-undo"),
    path("scan/decoder.js", scanning.decoder, name="scan-decoder"),
    path("scans/", scans.scans, name="scans"),
    path("scans/conflicts/", scans.conflicts, name="scan-conflicts"),
    path("scans/<int:pk>/undo/", scans.undo, name="undo-scan"),
    path("scans/<int:pk>/apply/", scans.apply, name="apply-scan"),
    path("scans/<int:pk>/let-go/", scans.let_go, name="let-go-scan"),
    path("scan-worker.js", scanning.worker, name="scan-worker"),  # at the root: it sees the scan page and the signing-out
    path("senders/", claims.senders, name="senders"),
    path("senders/<int:pk>/", claims.sender, name="sender"),
    path("senders/<int:pk>/clocks/", claims.set_rule, name="set-claim-rule"),
    path("claim-clocks/<int:pk>/remove/", claims.remove_rule, name="remove-claim-rule"),
    path("crates/<int:pk>/details/", claims.crate_details, name="crate-details"),
    path("crates/<int:pk>/claims/", claims.crate_claims, name="crate-claims"),
    path("claims/", claims.claims, name="claims"),
    path("claims/<int:pk>/", claims.claim, name="claim"),
    path("claims/<int:pk>/letter.pdf", claims.letter_pdf, name="claim-letter"),
    path("claims/<int:pk>/send/", claims.send, name="send-claim"),
    path("claims/<int:pk>/answer/", claims.answer, name="answer-claim"),
    path("claims/<int:pk>/discard/", claims.discard, name="discard-claim"),
    path("labels/", labels.labels, name="labels"),
    path("labels/sheet.pdf", labels.labels_pdf, name="labels-pdf"),
    path("labels/sheets/", labels.sheets, name="label-sheets"),
    path("labels/sheets/<int:pk>/", labels.sheet, name="label-sheet"),
    path("labels/sheets/<int:pk>/remove/", labels.remove_sheet, name="remove-label-sheet"),
    re_path(r"^[tT]/(?P<token>[A-Za-z0-9]{1,32})/?$", labels.labelled, name="labelled"),  # a QR code says it in capitals
]
