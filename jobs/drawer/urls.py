"""The addresses of jobs.drawer: noun, identifier, noun; a route is named as its view."""

from django.urls import path

from jobs.drawer import head_types, views

urlpatterns = [
    path("springs/", views.drawer, name="drawer"),
    path("springs/new/", views.spring_new, name="spring_new"),
    path("springs/<int:pk>/", views.spring, name="spring"),
    path("springs/<int:pk>/loads/", views.load_test, name="load_test"),
    path("springs/<int:pk>/stock/", views.spring_stock, name="spring_stock"),
    path("springs/<int:pk>/counts/", views.spring_counts, name="spring_counts"),
    path("springs/<int:pk>/corrections/<int:correction>/", views.correction, name="correction"),
    path("head-types/", head_types.head_types, name="head_types"),
    path("head-types/<int:pk>/", head_types.head_type, name="head_type"),
    path("head-types/<int:pk>/learn/", head_types.learn, name="learn_head_type"),
]
