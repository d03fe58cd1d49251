"""Every address: the shop's own, the card's and the drawer's."""

from django.contrib.auth.views import LogoutView
from django.urls import include, path

from shop.views import door

urlpatterns = [
    path("login/", door.Login.as_view(), name="login"),
    path("logout/", LogoutView.as_view(), name="logout"),
    path("password/", door.Password.as_view(), name="password"),
    path("theme/", door.theme, name="theme"),
    path("", include("jobs.urls")),
    path("", include("curves.urls")),
]
