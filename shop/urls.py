"""Every address: the shop's own, the card's and the drawer's."""

from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import LogoutView
from django.urls import include, path

from shop.views import account, error_pages, people

urlpatterns = [
    path("login/", account.Login.as_view(), name="login"),
    path("logout/", login_not_required(LogoutView.as_view()), name="logout"),
    path("password/", account.Password.as_view(), name="password"),
    path("theme/", account.theme, name="theme"),
    path("people/", people.people, name="people"),
    path("people/new/", people.new_person, name="new_person"),
    path("people/<int:pk>/", people.person, name="person"),
    path("people/<int:pk>/active/", people.person_active, name="person_active"),
    path("people/<int:pk>/password/", people.person_password, name="person_password"),
    path("shop/", people.shop_profile, name="shop_profile"),
    path("", include("jobs.urls")),
]

handler400 = error_pages.bad_request
handler403 = error_pages.forbidden
handler404 = error_pages.not_found
handler500 = error_pages.server_error
