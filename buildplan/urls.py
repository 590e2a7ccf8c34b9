"""Addresses of the pages: wiring only.

Codes may hold a slash, so they are paths; what is done to a step therefore stands before its code, not after it.
"""

from django.urls import path

from buildplan.ageing import views as ageing
from buildplan.club import views as club
from buildplan.club.surplus_views import surplus_page
from buildplan.figures import views as figures
from buildplan.finding import views as finding
from buildplan.hardware import views as hardware
from buildplan.loading import views as loading
from buildplan.plan import views as plan
from buildplan.records import supplies
from buildplan.records import views as records
from buildplan.reminders import views as reminders
from buildplan.sealday import mixing
from buildplan.sealday import views as sealday
from buildplan.sealing import views as sealing
from buildplan.shortfall import views as shortfall
from buildplan.tonight import views as tonight
from buildplan.wanted import views as wanted

urlpatterns = [
    path("", tonight.tonight, name="home"),
    path("tonight/", tonight.tonight, name="tonight"),
    path("tonight/pick/", tonight.pick_list, name="pick-list"),
    path("projects/", shortfall.projects, name="projects"),
    path("plan/", plan.plans, name="plans"),
    path("order-sheet/", shortfall.order_sheets, name="order-sheets"),
    path("settings/", hardware.settings, name="settings"),
    path("settings/losses/<int:pk>/remove/", hardware.remove_loss, name="remove-loss"),
    path("find/", finding.find, name="find"),
    path("words/", finding.glossary, name="words"),
    path("figures/", figures.figures, name="figures"),
    path("figures/<str:name>/", figures.figure, name="figure"),
    path("club/", club.club, name="club"),
    path("club/day/", club.day, name="club-day"),
    path("club/surplus/", surplus_page, name="surplus"),
    path("club/statements/", club.statement, name="statement"),
    path("club/statements.csv", club.statement_as_csv, name="statement-csv"),
    path("club/statements.pdf", club.statement_as_pdf, name="statement-pdf"),
    path("club/unit-costs/", club.unit_costs, name="unit-costs"),
    path("club/unit-costs/<int:pk>/remove/", club.remove_unit_cost, name="remove-unit-cost"),
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
    path("seal-days/", sealday.seal_days, name="seal-days"),
    path("seal-days/new/<int:bench>/", sealday.plan_day, name="plan-seal-day"),
    path("seal-days/<int:pk>/", sealday.seal_day, name="seal-day"),
    path("seal-days/<int:pk>/change/", sealday.change, name="seal-day-change"),
    path("seal-days/<int:pk>/people/", sealday.people, name="seal-day-people"),
    path("seal-days/<int:pk>/steps/", sealday.steps, name="seal-day-steps"),
    path("seal-days/<int:pk>/products/", sealday.products, name="seal-day-products"),
    path("seal-days/<int:pk>/hold/", sealday.hold, name="seal-day-hold"),
    path("seal-days/<int:pk>/checks/", sealday.add_check, name="seal-day-checks"),
    path("seal-days/<int:pk>/tick/", sealday.tick, name="seal-day-tick"),
    path("seal-days/checks/<int:pk>/remove/", sealday.remove_check, name="remove-seal-day-check"),
    path("seal-days/<int:pk>/move/", sealday.move, name="seal-day-move"),
    path("seal-days/<int:pk>/card/", mixing.card, name="seal-day-card"),
    path("seal-days/<int:pk>/mix/<int:number>/", mixing.mix_card, name="mix-card"),
    path("seal-days/<int:pk>/close/", sealday.close, name="seal-day-close"),
    path("seal-days/<int:pk>/call-off/", sealday.call_off, name="seal-day-call-off"),
    path("mixes/<int:pk>/end/", mixing.end_mix, name="end-mix"),
    path("mixes/<int:pk>/take-back/", mixing.take_back_mix, name="take-back-mix"),
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
