"""Every address: the shop's own, the card's and the drawer's."""

from django.urls import include, path

urlpatterns = [
    path("", include("jobs.urls")),
    path("", include("curves.urls")),
]
