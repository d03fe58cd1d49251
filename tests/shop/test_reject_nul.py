"""A NUL is refused at the door: PostgreSQL would answer it with a failure of its own."""

import json
from urllib.parse import urlencode

import pytest

from shop.models import Customer, new_key
from tests import build

pytestmark = pytest.mark.django_db


def assert_refused(answer):
    assert answer.status_code == 400
    assert "data-cause" in answer.text
    assert "Content-Security-Policy" in answer.headers


@pytest.mark.parametrize("address", ["/check/%00/", "/no%00where/", "/login/?next=%00", "/login/?%00=1"])
def test_nobody_needs_to_be_logged_in_to_be_refused(client, address):
    assert_refused(client.get(address))


@pytest.mark.parametrize(
    "address", ["/jobs/new/customers/?customer=%00", "/customers/?q=a%00b", "/search/?words=%00"]
)
def test_what_is_asked_for(client_as, address):
    assert_refused(client_as("counter").get(address))


@pytest.mark.parametrize("sent", [{"once": "\0"}, {"note": "a\0b"}, {"no\0te": "a"}])
@pytest.mark.parametrize("plain", [False, True])
def test_what_is_sent_in_a_form(client_as, sent, plain):
    values, way = {"name": "Marta Quill", "once": new_key()} | sent, {}
    if plain:
        values, way = urlencode(values), {"content_type": "application/x-www-form-urlencoded"}
    assert_refused(client_as("counter").post("/customers/new/", values, **way))
    assert not Customer.objects.exists()


def test_the_name_of_a_session(client, owner):
    client.cookies["sessionid"] = "a-session-\0"
    assert_refused(client.get("/"))


def test_a_reading_that_comes_as_json_is_still_the_views_own_to_read(client_as):
    client = client_as("technician")
    job = build.job(stage="spring_trials")
    build.run(job.build, [])
    sent = {"person": client.person.pk, "kind": "reading\0", "values": {}, "version": None, "gone": False}
    address = f"/jobs/{job.number}/runs/1/readings/0b5e1f0e-3f6b-4c57-9d0a-0a1b2c3d4e5f/"
    answer = client.post(address, json.dumps(sent), content_type="application/json")
    assert answer.status_code == 422


def test_a_form_without_one_goes_on(client_as):
    sent = {"name": "Marta Quill", "note": "café\n\ttwo", "once": new_key()}
    assert client_as("counter").post("/customers/new/", sent).status_code == 302
