"""Every address of the card's floor, room by room."""

from django.urls import include, path

ROOMS = ("card", "curvework", "drawer", "intake", "practice", "search")

urlpatterns = [path("", include(f"jobs.{room}.urls")) for room in ROOMS]
