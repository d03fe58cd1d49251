"""The drawer's addresses."""

from django.urls import path

from curves import views

urlpatterns = [
    path("springs/", views.drawer, name="drawer"),
    path("springs/new/", views.spring_new, name="spring_new"),
    path("springs/<int:pk>/", views.spring, name="spring"),
]
