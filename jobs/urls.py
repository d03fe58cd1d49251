"""The card's addresses: noun, identifier, noun; a route is named as its view."""

from django.urls import path

from jobs.views import curve

urlpatterns = [
    path("jobs/<int:number>/runs/new/", curve.run_new, name="run_new"),
    path("jobs/<int:number>/runs/draw/", curve.run_draw, name="run_draw"),
    path("jobs/<int:number>/runs/<int:run>/", curve.run, name="run"),
    path("jobs/<int:number>/runs/<int:run>/remove/", curve.run_remove, name="run_remove"),
    path("jobs/<int:number>/target/", curve.target, name="target"),
    path("jobs/<int:number>/head/", curve.head, name="head"),
    path("jobs/<int:number>/curve.csv", curve.curve_csv, name="curve_csv"),
]
