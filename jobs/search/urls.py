"""The addresses of jobs.search: noun, identifier, noun; a route is named as its view."""

from django.urls import path

from jobs.search import views

urlpatterns = [
    path("search/", views.search, name="search"),
]
