"""Addresses of the API: wiring only. `buildplan.api` puts them under /api/v1/."""

from typing import Any

from django.urls import URLPattern, path

from inventory.catalogue import api as catalogue
from inventory.claims import api as claims
from inventory.claims import crate_api as crates
from inventory.labels import api as labels
from inventory.pool import api as pool
from inventory.pool import passing_api as passing
from inventory.pool.leaving_api import LeaveView
from inventory.receiving import api as receiving
from inventory.scanning import api as scanning
from inventory.scanning import decoding_api as decoding
from inventory.shelflife import api as shelflife
from inventory.stock import api as stock
from inventory.tallying import api as tallying
from inventory.tallying.reverse_api import ReverseView
from inventory.workshop import api as workshop
from inventory.workshop import members_api as members
from inventory.workshop.settings_api import SettingsView

LIST: dict[str, Any] = {"get": "list"}
ROW: dict[str, Any] = {"get": "retrieve"}
MAKE: dict[str, Any] = {**LIST, "post": "create"}
EDIT: dict[str, Any] = {**ROW, "patch": "partial_update"}
DELETE: dict[str, Any] = {"delete": "destroy"}

urlpatterns: list[URLPattern] = [
    path("items", catalogue.ItemViews.as_view(MAKE), name="api-items"),
    path("items/<int:pk>", catalogue.ItemViews.as_view({**EDIT, **DELETE}), name="api-item"),
    path("identifiers", catalogue.IdentifierViews.as_view(MAKE), name="api-identifiers"),
    path("identifiers/<int:pk>", catalogue.IdentifierViews.as_view({**ROW, **DELETE}), name="api-identifier"),
    path("places", stock.PlaceViews.as_view(MAKE), name="api-places"),
    path("places/<int:pk>", stock.PlaceViews.as_view({**EDIT, **DELETE}), name="api-place"),
    path("lots", stock.LotViews.as_view(MAKE), name="api-lots"),
    path("lots/<int:pk>", stock.LotViews.as_view({**EDIT, **DELETE}), name="api-lot"),
    path("lots/<int:pk>/opened", stock.LotViews.as_view({"get": "openings", "post": "correct_opened"}), name="api-lot-opened"),
    path("holdings", stock.HoldingViews.as_view(LIST), name="api-holdings"),
    path("movements", stock.MovementViews.as_view(MAKE), name="api-movements"),
    path("movements/<int:pk>", stock.MovementViews.as_view(ROW), name="api-movement"),
    path("movements/<int:pk>/reverse", ReverseView.as_view(), name="api-reverse"),
    path("crates", crates.CrateViews.as_view(MAKE), name="api-crates"),
    path("crates/<int:pk>", crates.CrateViews.as_view({**EDIT, **DELETE}), name="api-crate"),
    path("bags", receiving.BagViews.as_view(MAKE), name="api-bags"),
    path("bags/<int:pk>", receiving.BagViews.as_view({**ROW, **DELETE}), name="api-bag"),
    path("lines", receiving.LineViews.as_view(MAKE), name="api-lines"),
    path("lines/<int:pk>", receiving.LineViews.as_view({**EDIT, **DELETE}), name="api-line"),
    path("senders", claims.SenderViews.as_view(MAKE), name="api-senders"),
    path("senders/<int:pk>", claims.SenderViews.as_view({**EDIT, **DELETE}), name="api-sender"),
    path("claim-rules", claims.RuleViews.as_view(MAKE), name="api-claim-rules"),
    path("claim-rules/<int:pk>", claims.RuleViews.as_view({**EDIT, **DELETE}), name="api-claim-rule"),
    path("claim-clocks", claims.ClocksView.as_view(), name="api-claim-clocks"),
    path("crates/<int:pk>/claimable", claims.ClaimableView.as_view(), name="api-claimable"),
    path("claims", claims.ClaimViews.as_view(MAKE), name="api-claims"),
    path("claims/<int:pk>", claims.ClaimViews.as_view({**EDIT, **DELETE}), name="api-claim"),
    path("claims/<int:pk>/letter", claims.LetterView.as_view(), name="api-claim-letter"),
    path("claims/<int:pk>/send", claims.ClaimViews.as_view({"post": "send"}), name="api-claim-send"),
    path("claims/<int:pk>/answer", claims.ClaimViews.as_view({"post": "answer"}), name="api-claim-answer"),
    path("benches", workshop.BenchViews.as_view(LIST), name="api-benches"),
    path("benches/<int:pk>", workshop.BenchViews.as_view(ROW), name="api-bench"),
    path("benches/<int:pk>/holders", members.HoldersView.as_view(), name="api-bench-holders"),
    path("members", members.MemberViews.as_view(MAKE), name="api-members"),
    path("members/<int:pk>", members.MemberViews.as_view(EDIT), name="api-member"),
    path("members/<int:pk>/leave", LeaveView.as_view(), name="api-member-leave"),
    path("invitations", members.InvitationViews.as_view(MAKE), name="api-invitations"),
    path("invitations/<int:pk>", members.InvitationViews.as_view({**ROW, **DELETE}), name="api-invitation"),
    path("settings", SettingsView.as_view(), name="api-settings"),
    path("me", workshop.MeView.as_view(), name="api-me"),
    path("devices", workshop.DevicesView.as_view(), name="api-devices"),
    path("devices/<int:pk>", workshop.DeviceView.as_view(), name="api-device"),
    *tallying.urlpatterns,
    *labels.urlpatterns,
    *decoding.urlpatterns,
    *shelflife.urlpatterns,
    *pool.urlpatterns,
    *passing.urlpatterns,
    path("scans", scanning.ScansView.as_view(), name="api-scans"),
    path("scans/<uuid:uuid>", scanning.ScanView.as_view(), name="api-scan"),
    path("scans/<uuid:uuid>/undo", scanning.UndoView.as_view(), name="api-scan-undo"),
    path("scans/<uuid:uuid>/settle", scanning.SettleView.as_view(), name="api-scan-settle"),
]
