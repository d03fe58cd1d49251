"""Every address of the shop's own pages, by role and method: who is let in, who is refused, and how."""

import pytest
from django.test import Client
from django.urls import get_resolver, reverse

from jobs.intake import customers
from jobs.intake import urls as intake
from shop.models import Customer, Person
from tests import build

pytestmark = pytest.mark.django_db

ALL = {"owner", "technician", "counter"}
OWNER = {"owner"}

# Route, arguments by name, method, what is sent, who may, and what they are answered.
# A write sent empty is answered 422, or 409 without a version: the right is asked before the form is read.
TABLE = [
    ("customers", (), "get", {}, ALL, 200),
    ("customers", (), "post", {}, set(), 405),
    ("new_customer", (), "get", {}, ALL, 200),
    ("new_customer", (), "post", {}, ALL, 422),
    ("customer", ("customer",), "get", {}, ALL, 200),
    ("customer", ("customer",), "post", {}, set(), 405),
    ("edit_customer", ("customer",), "get", {}, ALL, 200),
    ("edit_customer", ("customer",), "post", {"version": 1}, ALL, 422),
    ("people", (), "get", {}, OWNER, 200),
    ("people", (), "post", {}, set(), 405),
    ("new_person", (), "get", {}, OWNER, 200),
    ("new_person", (), "post", {"role": "counter"}, OWNER, 422),
    ("person", ("person",), "get", {}, OWNER, 200),
    ("person", ("person",), "post", {"version": 1}, OWNER, 422),
    ("person_active", ("person",), "get", {}, set(), 405),
    ("person_active", ("person",), "post", {"active": "0"}, OWNER, 409),
    ("person_password", ("person",), "get", {}, OWNER, 200),
    ("person_password", ("person",), "post", {"new_password1": "x"}, OWNER, 422),
    ("shop_profile", (), "get", {}, OWNER, 200),
    ("shop_profile", (), "post", {"version": 1}, OWNER, 422),
    ("password", (), "get", {}, ALL, 200),
    ("password", (), "post", {"old_password": "x"}, ALL, 422),
    ("logout", (), "get", {}, set(), 405),
    ("logout", (), "post", {}, ALL, 302),
    ("theme", (), "get", {}, set(), 405),
    ("theme", (), "post", {}, ALL, 302),
    ("login", (), "get", {}, ALL, 302),
    ("login", (), "post", {}, ALL, 302),
]
OPEN = {"login", "logout", "theme"}  # without logging in
NAMES = [f"{method} {route}" for route, _, method, *_ in TABLE]


@pytest.fixture
def rows(db):
    """The rows that addresses name: none of them is one of the people who ask."""
    return {
        "customer": build.customer().pk,
        "person": build.person("counter", username="someone", full_name="Some One").pk,
    }


def address(route, args, rows):
    return reverse(route, args=[rows[name] for name in args])


@pytest.mark.parametrize(("route", "args", "method", "sent", "who", "status"), TABLE, ids=NAMES)
@pytest.mark.parametrize("role", sorted(ALL))
def test_a_role_is_let_in_or_refused(client_as, rows, role, route, args, method, sent, who, status):
    client = client_as(role)
    before = list(Person.objects.values()), list(Customer.objects.values())
    answer = getattr(client, method)(address(route, args, rows), sent)
    wrong_method = status == 405
    assert answer.status_code == (status if role in who or wrong_method else 403)
    if route not in ("logout", "login"):
        assert (list(Person.objects.values()), list(Customer.objects.values())) == before


@pytest.mark.parametrize(("route", "args", "method", "sent", "who", "status"), TABLE, ids=NAMES)
def test_a_stranger_is_led_to_the_login(client, rows, route, args, method, sent, who, status):
    where = address(route, args, rows)
    answer = getattr(client, method)(where, sent)
    if route in OPEN:
        assert "/login/?next" not in answer.headers.get("Location", "")
    else:
        assert answer.status_code == 302
        assert answer.headers["Location"] == f"{reverse('login')}?next={where}"


def test_the_table_misses_no_route_of_the_shop_and_its_customers():
    routes = {pattern.name for pattern in get_resolver().url_patterns if getattr(pattern, "name", None)}
    counter = {one.name for one in intake.urlpatterns if one.callback.__module__ == customers.__name__}
    assert counter
    assert routes | counter == {route for route, *_ in TABLE}


def test_every_write_asks_for_the_forms_token(rows, owner):
    client = Client(enforce_csrf_checks=True)
    client.force_login(owner)
    for route, args, method, sent, _, status in TABLE:
        if method == "post" and status != 405:
            answer = client.post(address(route, args, rows), sent)
            assert answer.status_code == 403, route
            assert "This form is out of date" in answer.text


def test_a_page_fits_the_policy(client_as, rows):
    """No inline script, style or handler: the policy would block it and the page would half work."""
    client = client_as("owner")
    for route, args, method, _, _, status in TABLE:
        if method == "get" and status == 200:
            answer = client.get(address(route, args, rows))
            assert "'unsafe" not in answer.headers["Content-Security-Policy"]
            for forbidden in ("<style", " style=", " onclick=", " onsubmit=", "javascript:"):
                assert forbidden not in answer.text, (route, forbidden)
            assert answer.text.count("<script ") == answer.text.count("<script src=") + answer.text.count(
                '<script type="module" src='
            )


@pytest.mark.parametrize("where", ["/customers/{}/", "/customers/{}/edit/", "/people/{}/"])
def test_a_number_that_names_nobody_is_not_found(client_as, where):
    client = client_as("owner")
    for pk in (0, 999, 10**30):
        assert client.get(where.format(pk)).status_code == 404
