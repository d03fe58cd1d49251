"""The card's addresses: noun, identifier, noun; a route is named as its view."""

from django.urls import path

from jobs.views import paper

urlpatterns = [
    path("jobs/<int:number>/sheets/", paper.sheets_of_job, name="sheets"),
    path("jobs/<int:number>/sheets/sign/", paper.sign_sheet, name="sign_sheet"),
    path("jobs/<int:number>/sheets/<int:pk>.pdf", paper.sheet_pdf, name="sheet_pdf"),
    path("jobs/<int:number>/sheets/<int:pk>/retry/", paper.retry_sheet, name="retry_sheet"),
    path("jobs/<int:number>/sheets/<int:pk>/void/", paper.void_sheet, name="void_sheet"),
    path("check/<str:token>/", paper.check, name="check"),
]
