"""Addresses of the pages: wiring only.

Codes may hold a slash, so they are paths; what is done to a step therefore stands before its code, not after it.
"""

from django.urls import path

from buildplan.ageing import views as ageing
from buildplan.club import views as club
from buildplan.club.surplus_views import surplus_page
from buildplan.cutting import piece_views as pieces
from buildplan.cutting import views as cutting
from buildplan.figures import views as figures
from buildplan.finding import views as finding
from buildplan.fitting import assembly_views as fitted
from buildplan.fitting import views as fitting
from buildplan.hardware import views as hardware
from buildplan.loading import first_views, load_views
from buildplan.loading import views as loading
from buildplan.logbook import views as logbook
from buildplan.plan import views as plan
from buildplan.records import supplies
from buildplan.records import views as records
from buildplan.reminders import views as reminders
from buildplan.sealday import mixing
from buildplan.sealday import views as sealday
from buildplan.sealing import views as sealing
from buildplan.shortfall import views as shortfall
from buildplan.shortfall import weeks_views as weeks
from buildplan.tonight import views as tonight
from buildplan.wanted import views as wanted

urlpatterns = [
    path("", tonight.tonight, name="home"),
    path("tonight/", tonight.tonight, name="tonight"),
    path("tonight/pick/", tonight.pick_list, name="pick-list"),
    path("tonight/pick/tick/", tonight.pick_tick, name="pick-tick"),
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
    path("codes/<int:pk>/forget/", wanted.forget_code, name="forget-code"),
    path("shelf-life/", ageing.shelf_life, name="shelf-life"),
    path("shelf-life.csv", ageing.shelf_life_csv, name="shelf-life-csv"),
    path("reminders/", reminders.reminders, name="reminders"),
    path("reminders/address/", reminders.new_feed, name="new-feed"),
    path("reminders/address/end/", reminders.end_feed, name="end-feed"),
    path("reminders/mail/", reminders.digest, name="digest"),
    path("feed/<str:secret>.ics", reminders.feed, name="feed"),
    path("crates/load/", loading.load_crate, name="load-crate"),
    path("load/", load_views.load, name="load"),
    path("load/columns.csv", load_views.columns, name="load-columns"),
    path("load/<int:pk>/", load_views.load_job, name="load-job"),
    path("start/", first_views.start, name="start"),
    path("start/example/", first_views.load_example, name="start-example"),
    path("start/hide/", first_views.hide, name="start-hide"),
    path("set-up/", first_views.set_up_page, name="set-up"),
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
    path("log/", logbook.log, name="log"),
    path("log/hours/", logbook.hours, name="log-hours"),
    path("log.csv", logbook.log_csv, name="log-csv"),
    path("log.pdf", logbook.log_pdf, name="log-pdf"),
    path("log/<int:pk>/", logbook.entry, name="log-entry"),
    path("log/<int:pk>/edit/", logbook.edit_log, name="edit-log"),
    path("log/<int:pk>/strike/", logbook.strike_log, name="strike-log"),
    path("log/<int:pk>/photos/", logbook.log_photos, name="log-photos"),
    path("log/<int:pk>/sign/", logbook.sign_log, name="sign-log"),
    path("log/signatures/<int:pk>/withdraw/", logbook.withdraw_signature, name="withdraw-signature"),
    path("mixes/<int:pk>/end/", mixing.end_mix, name="end-mix"),
    path("mixes/<int:pk>/take-back/", mixing.take_back_mix, name="take-back-mix"),
    path("cutting/", cutting.cutting, name="cutting"),
    path("cutting/rules/", cutting.rules, name="cutting-rules"),
    path("cutting/blanks/new/", cutting.add_blank, name="add-blank"),
    path("cutting/blanks/<int:pk>/", cutting.blank, name="blank"),
    path("cutting/blanks/<int:pk>/change/", cutting.change_blank, name="change-blank"),
    path("cutting/blanks/<int:pk>/remove/", cutting.remove_blank, name="remove-blank"),
    path("cutting/blanks/<int:pk>/plan/", cutting.plan_cut, name="plan-cut"),
    path("cutting/cuts/<int:pk>/", cutting.cut, name="cut"),
    path("cutting/cuts/<int:pk>/saw/", cutting.saw_cut, name="saw-cut"),
    path("cutting/cuts/<int:pk>/undo/", cutting.undo_cut, name="undo-cut"),
    path("cutting/cuts/pieces/<int:pk>/spoil/", cutting.spoil_pieces, name="spoil-pieces"),
    path("cutting/lots/<int:pk>/measure/", cutting.measure_lot, name="measure-lot"),
    path("pieces/<int:pk>/", pieces.piece, name="piece"),
    path("pieces/<int:pk>/remove/", pieces.remove_piece, name="remove-piece"),
    path("pieces/<int:pk>/operations/", pieces.add_operation, name="add-operation"),
    path("operations/<int:pk>/remove/", pieces.remove_operation, name="remove-operation"),
    path("operations/<int:pk>/done/", pieces.operation_done, name="operation-done"),
    path("operations/done/<int:pk>/take-back/", pieces.take_back_operation, name="take-back-operation"),
    path("projects/<path:project>/add-piece/<path:step>/", pieces.add_piece, name="add-piece"),
    path("conflicts/", fitting.conflicts, name="conflicts"),
    path("conflicts/new/<path:project>/", fitting.new_conflict, name="new-conflict"),
    path("conflicts/<int:pk>/", fitting.conflict, name="conflict"),
    path("conflicts/<int:pk>/change/", fitting.change_conflict, name="change-conflict"),
    path("conflicts/<int:pk>/answer/", fitting.answer_conflict, name="answer-conflict"),
    path("conflicts/<int:pk>/settle/", fitting.settle_conflict, name="settle-conflict"),
    path("conflicts/<int:pk>/reopen/", fitting.reopen_conflict, name="reopen-conflict"),
    path("hands/", fitting.hands, name="hands"),
    path("hands/state/", fitting.state_hand, name="state-hand"),
    path("hands/pair/", fitting.pair_items, name="pair-items"),
    path("hands/pair/<int:pk>/undo/", fitting.undo_pair, name="undo-pair"),
    path("hands/false-mirror/", fitting.false_mirror, name="false-mirror"),
    path("hands/false-mirror/<int:pk>/remove/", fitting.remove_false_mirror, name="remove-false-mirror"),
    path("assemblies/", fitted.assemblies, name="assemblies"),
    path("assemblies/new/<path:project>/", fitted.new_assembly, name="new-assembly"),
    path("assemblies/<int:pk>/", fitted.assembly, name="assembly"),
    path("assemblies/<int:pk>/change/", fitted.change_assembly, name="change-assembly"),
    path("assemblies/<int:pk>/positions/", fitted.add_positions, name="add-positions"),
    path("assemblies/<int:pk>/done/", fitted.note_deed, name="note-deed"),
    path("assemblies/<int:pk>/list/", fitted.mark_list, name="mark-list"),
    path("assemblies/<int:pk>/marks.csv", fitted.marks_csv, name="marks-csv"),
    path("positions/<int:pk>/", fitted.position, name="position"),
    path("positions/<int:pk>/remove/", fitted.remove_position, name="remove-position"),
    path("marks/<int:pk>/replace/", fitted.replace_mark, name="replace-mark"),
    path("marks/<int:pk>/away/", fitted.take_mark_away, name="take-mark-away"),
    path("marks/<int:pk>/take-for/", fitted.take_mark_for, name="take-mark-for"),
    path("supplies/", supplies.supplies, name="supplies"),
    path("supplies/<int:pk>/", supplies.supply, name="supply"),
    path("projects/<path:project>/plan/", plan.plan, name="plan"),
    path("projects/<path:project>/order-sheet/", shortfall.order_sheet, name="order-sheet"),
    path("projects/<path:project>/order-sheet.csv", shortfall.order_sheet_csv, name="order-sheet-csv"),
    path("projects/<path:project>/pins/", shortfall.pins_page, name="pins"),
    path("projects/<path:project>/stock/<int:item>/", weeks.stock_by_week, name="stock-by-week"),
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
    path("projects/<path:project>/write-log/", logbook.write_project_log, name="write-project-log"),
    path("projects/<path:project>/log/<path:step>/", logbook.write_log, name="write-log"),
    path("projects/<path:project>/photos/<path:step>/", logbook.step_photos, name="step-photos"),
    path("projects/<path:project>/sign/<path:step>/", logbook.sign_step, name="sign-step"),
    path("projects/<path:project>/take-back/<path:step>/", records.take_back, name="take-back"),
    path("projects/<path:project>/sheet/<path:step>/", records.step_sheet, name="step-sheet"),
    path("projects/<path:project>/steps/<path:step>/", records.step, name="step"),
]
