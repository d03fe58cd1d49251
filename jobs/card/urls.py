"""The addresses of jobs.card: noun, identifier, noun; a route is named as its view."""

from django.urls import path

from jobs.card import answers, board, closing, inspection, lines, moves, papers, photos, steps, views

urlpatterns = [
    path("", board.board, name="board"),
    path("jobs/<int:number>/", views.card, name="card"),
    path("jobs/<int:number>/stages/<slug:stage>/", views.stage, name="stage"),
    path("jobs/<int:number>/sections/<slug:section>/", views.section, name="section"),
    path("jobs/<int:number>/edit/<slug:section>/", views.edit_section, name="edit_section"),
    path("jobs/<int:number>/history/", views.history, name="history"),
    path("jobs/<int:number>/move/", moves.move, name="move"),
    path("jobs/<int:number>/hand-back/", moves.hand_back, name="hand_back"),
    path("jobs/<int:number>/close/", closing.close_card, name="close_card"),
    path("jobs/<int:number>/answers/", answers.answers, name="answers"),
    path("jobs/<int:number>/answers/<int:pk>/back/", answers.take_back_answer, name="take_back_answer"),
    path("jobs/<int:number>/road-report/", moves.road_report, name="road_report"),
    path("jobs/<int:number>/allocate/", moves.allocate, name="allocate"),
    path("jobs/<int:number>/inspection/", inspection.answer_points, name="answer_points"),
    path("jobs/<int:number>/inspection/rest/", inspection.answer_rest, name="answer_rest"),
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
    path("jobs/<int:number>/photos/<int:pk>/remove/", photos.remove, name="remove_photo"),
    path("jobs/<int:number>/photos/<int:pk>/<slug:size>/", photos.photo, name="photo"),
    path("inspection/", inspection.points, name="points"),
    path("inspection/<int:pk>/", inspection.point, name="point"),
    path("jobs/<int:number>/tray-tag/", papers.tray_tag, name="tray_tag"),
    path("jobs/<int:number>/sheets/", papers.sheets_of_job, name="sheets"),
    path("jobs/<int:number>/sheets/sign/", papers.sign_sheet, name="sign_sheet"),
    path("jobs/<int:number>/sheets/<int:pk>.pdf", papers.sheet_pdf, name="sheet_pdf"),
    path("jobs/<int:number>/sheets/<int:pk>/retry/", papers.retry_sheet, name="retry_sheet"),
    path("jobs/<int:number>/sheets/<int:pk>/void/", papers.void_sheet, name="void_sheet"),
    path("check/<str:token>/", papers.check, name="check"),
]
