"""The addresses of jobs.intake: noun, identifier, noun; a route is named as its view."""

from django.urls import path

from jobs.intake import customers, views

urlpatterns = [
    path("jobs/new/", views.new_job, name="new_job"),
    path("jobs/new/customers/", views.customer_names, name="customer_names"),
    path("jobs/new/unit/", views.starts, {"of": "unit"}, name="unit_starts"),
    path("jobs/new/engine/", views.starts, {"of": "engine"}, name="engine_starts"),
    path("customers/", customers.customers, name="customers"),
    path("customers/new/", customers.new_customer, name="new_customer"),
    path("customers/<int:pk>/", customers.customer, name="customer"),
    path("customers/<int:pk>/edit/", customers.edit_customer, name="edit_customer"),
]
