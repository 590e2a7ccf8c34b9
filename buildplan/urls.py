"""Addresses of the pages: wiring only.

Codes may hold a slash, so they are paths; what is done to a step therefore stands before its code, not after it.
"""

from django.urls import path

from buildplan.ageing import views as ageing
from buildplan.figures import views as figures
from buildplan.hardware import views as hardware
from buildplan.loading import views as loading
from buildplan.plan import views as plan
from buildplan.records import supplies
from buildplan.records import views as records
from buildplan.reminders import views as reminders
from buildplan.sealing import views as sealing
from buildplan.shortfall import views as shortfall
from buildplan.wanted import views as wanted

urlpatterns = [
    path("", shortfall.home, name="home"),
    path("plan/", plan.plans, name="plans"),
    path("order-sheet/", shortfall.order_sheets, name="order-sheets"),
    path("settings/", hardware.settings, name="settings"),
    path("settings/losses/<int:pk>/remove/", hardware.remove_loss, name="remove-loss"),
    path("figures/", figures.figures, name="figures"),
    path("figures/<str:name>/", figures.figure, name="figure"),
    path("codes/", wanted.code, name="code"),
    path("shelf-life/", ageing.shelf_life, name="shelf-life"),
    path("shelf-life.csv", ageing.shelf_life_csv, name="shelf-life-csv"),
    path("reminders/", reminders.reminders, name="reminders"),
    path("reminders/address/", reminders.new_feed, name="new-feed"),
    path("reminders/address/end/", reminders.end_feed, name="end-feed"),
    path("reminders/mail/", reminders.digest, name="digest"),
    path("feed/<str:secret>.ics", reminders.feed, name="feed"),
    path("crates/load/", loading.load_crate, name="load-crate"),
    path("crates/<int:pk>/order/", wanted.crate_order, name="crate-order"),
    path("supplies/", supplies.supplies, name="supplies"),
    path("supplies/<int:pk>/", supplies.supply, name="supply"),
    path("projects/<path:project>/plan/", plan.plan, name="plan"),
    path("projects/<path:project>/order-sheet/", shortfall.order_sheet, name="order-sheet"),
    path("projects/<path:project>/order-sheet.csv", shortfall.order_sheet_csv, name="order-sheet-csv"),
    path("projects/<path:project>/pins/", shortfall.pins_page, name="pins"),
    path("projects/<path:project>/substitutions/<path:step>/", shortfall.substitutions, name="substitutions"),
    path("substitutions/<int:pk>/withdraw/", shortfall.withdraw, name="withdraw"),
    path("projects/<path:project>/add-row/<path:step>/", hardware.add_row, name="add-row"),
    path("rows/<int:pk>/", hardware.row, name="row"),
    path("rows/<int:pk>/remove/", hardware.remove_row, name="remove-row"),
    path("projects/<path:project>/add-seam/<path:step>/", sealing.add_seam, name="add-seam"),
    path("seams/<int:pk>/", sealing.seam, name="seam"),
    path("seams/<int:pk>/remove/", sealing.remove_seam, name="remove-seam"),
    path("projects/<path:project>/ordered/<int:item>/", shortfall.ordered, name="ordered"),
    path("projects/<path:project>/planned/<path:step>/", plan.planned, name="planned"),
    path("projects/<path:project>/take-back/<path:step>/", records.take_back, name="take-back"),
    path("projects/<path:project>/sheet/<path:step>/", records.step_sheet, name="step-sheet"),
    path("projects/<path:project>/steps/<path:step>/", records.step, name="step"),
]
