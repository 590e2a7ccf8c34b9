"""Addresses of the API: wiring only."""

from django.urls import path

from buildplan.ageing.api import ExpiriesView, ShelfLifeView
from buildplan.closeup import api as closeup
from buildplan.club import acting_api as club_acting
from buildplan.club import api as club
from buildplan.club import surplus_api as surplus
from buildplan.cutting import api as cutting
from buildplan.cutting import stating_api as blanks
from buildplan.cutting import working_api as working
from buildplan.figures import api as figures
from buildplan.finding.api import FindView
from buildplan.fitting import api as fitting
from buildplan.fitting import hands_api as hands
from buildplan.loading import jobs_api as loads
from buildplan.loading.api import PackingListsView
from buildplan.logbook import api as logbook
from buildplan.records.api import StepView
from buildplan.reminders.api import RemindersView
from buildplan.sealday import api as sealday
from buildplan.shortfall.api import PinsView, ShortfallView
from buildplan.shortfall.weeks_api import StockByWeekView
from buildplan.tonight.api import TonightView
from buildplan.trace import api as trace
from buildplan.wanted.api import CodeView, OrderView
from inventory import api as inventory

urlpatterns = [
    path("projects/<path:code>/shortfall", ShortfallView.as_view(), name="api-shortfall"),
    path("projects/<path:code>/step", StepView.as_view(), name="api-step"),
    path("projects/<path:code>/pins", PinsView.as_view(), name="api-pins"),
    path("projects/<path:code>/stock-by-week", StockByWeekView.as_view(), name="api-stock-by-week"),
    path("codes/<path:text>", CodeView.as_view(), name="api-code"),
    path("crates/<int:pk>/order", OrderView.as_view(), name="api-crate-order"),
    path("find", FindView.as_view(), name="api-find"),
    path("tonight", TonightView.as_view(), name="api-tonight"),
    path("reminders", RemindersView.as_view(), name="api-reminders"),
    path("expiries", ExpiriesView.as_view(), name="api-expiries"),
    path("shelf-life", ShelfLifeView.as_view(), name="api-shelf-life"),
    path("packing-lists", PackingListsView.as_view(), name="api-packing-lists"),
    *club.urlpatterns,
    *surplus.urlpatterns,
    *club_acting.urlpatterns,
    *logbook.urlpatterns,
    *cutting.urlpatterns,
    *blanks.urlpatterns,
    *working.urlpatterns,
    *sealday.urlpatterns,
    *trace.urlpatterns,
    *fitting.urlpatterns,
    *hands.urlpatterns,
    *loads.urlpatterns,
    *closeup.urlpatterns,
    *figures.urlpatterns,
    *inventory.urlpatterns,
]
