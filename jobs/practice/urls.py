"""The addresses of jobs.practice: noun, identifier, noun; a route is named as its view."""

from django.urls import path

from jobs.practice import views

urlpatterns = [
    path("practice/", views.practice, name="practice"),
    path("jobs/<int:number>/practice/", views.practice_job, name="practice_job"),
    path("jobs/<int:number>/practice/measure/", views.practice_measure, name="practice_measure"),
    path("jobs/<int:number>/practice/stop/", views.practice_stop, name="practice_stop"),
    path("jobs/<int:number>/practice/springs/<int:pk>/", views.practice_weigh, name="practice_weigh"),
    path("jobs/<int:number>/practice/end/", views.practice_end, name="practice_end"),
    path("jobs/<int:number>/runs/<int:run>/needle/", views.practice_needle, name="practice_needle"),
]
