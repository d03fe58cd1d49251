"""The card's addresses: noun, identifier, noun; a route is named as its view."""

from django.urls import path

from jobs.views import board, card, curve, inspection, intake, lines, moves, photos, steps

urlpatterns = [
    path("", board.board, name="board"),
    path("jobs/new/", intake.new_job, name="new_job"),
    path("jobs/new/customers/", intake.customer_names, name="customer_names"),
    path("jobs/<int:number>/", card.card, name="card"),
    path("jobs/<int:number>/stages/<slug:stage>/", card.stage, name="stage"),
    path("jobs/<int:number>/sections/<slug:section>/", card.section, name="section"),
    path("jobs/<int:number>/edit/<slug:section>/", card.edit_section, name="edit_section"),
    path("jobs/<int:number>/history/", card.history, name="history"),
    path("jobs/<int:number>/move/", moves.move, name="move"),
    path("jobs/<int:number>/hand-back/", moves.hand_back, name="hand_back"),
    path("jobs/<int:number>/road-report/", moves.road_report, name="road_report"),
    path("jobs/<int:number>/allocate/", moves.allocate, name="allocate"),
    path("jobs/<int:number>/inspection/", inspection.answer_points, name="answer_points"),
    path("jobs/<int:number>/inspection/<int:pk>/", inspection.answer_one, name="answer_one"),
    path("jobs/<int:number>/findings/", lines.add_finding, name="add_finding"),
    path("jobs/<int:number>/findings/<int:pk>/remove/", lines.remove_finding, name="remove_finding"),
    path("jobs/<int:number>/parts/", lines.add_part, name="add_part"),
    path("jobs/<int:number>/parts/<int:pk>/", lines.edit_part, name="edit_part"),
    path("jobs/<int:number>/parts/<int:pk>/remove/", lines.remove_part, name="remove_part"),
    path("jobs/<int:number>/steps/<slug:list_name>/", steps.add_step, name="add_step"),
    path("jobs/<int:number>/steps/<int:pk>/<slug:tick>/", steps.tick_step, name="tick_step"),
    path("jobs/<int:number>/abrasive/<slug:said>/", steps.abrasive, name="abrasive"),
    path("jobs/<int:number>/photos/", photos.add_photos, name="add_photos"),
    path("jobs/<int:number>/photos/<int:pk>/<slug:size>/", photos.photo, name="photo"),
    path("jobs/<int:number>/photos/<int:pk>/remove/", photos.remove, name="remove_photo"),
    path("inspection/", inspection.points, name="points"),
    path("inspection/<int:pk>/", inspection.point, name="point"),
    path("jobs/<int:number>/runs/new/", curve.run_new, name="run_new"),
    path("jobs/<int:number>/runs/draw/", curve.run_draw, name="run_draw"),
    path("jobs/<int:number>/runs/<int:run>/", curve.run, name="run"),
    path("jobs/<int:number>/runs/<int:run>/remove/", curve.run_remove, name="run_remove"),
    path("jobs/<int:number>/target/", curve.target, name="target"),
    path("jobs/<int:number>/head/", curve.head, name="head"),
    path("jobs/<int:number>/curve.csv", curve.curve_csv, name="curve_csv"),
]
