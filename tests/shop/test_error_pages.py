"""When a page can't be given: the cause, the way out, and nothing of the inside."""

import errno

import pytest
from django.conf import settings
from django.db import OperationalError
from django.test import Client
from django.utils import timezone

from shop.models import Shop
from tests import build
from tests.reading import markup

pytestmark = pytest.mark.django_db


def fail(error):
    def raising(*args, **options):
        raise error

    return raising


def test_an_address_that_leads_nowhere(client_as):
    answer = client_as("counter").get("/no/such/page/")
    assert answer.status_code == 404
    assert "No page has this address." in answer.text
    assert 'href="/"' in answer.text


def test_a_role_that_may_not(client_as):
    answer = client_as("counter").get("/people/")
    assert answer.status_code == 403
    assert "Counter may not do this." in answer.text
    assert "Ask the owner" in answer.text


def test_a_closed_card_is_no_matter_of_the_role(client_as):
    job = build.job(stage="hand_back", closed_at=timezone.now())
    answer = client_as("owner").get(f"/jobs/{job.number}/head/")
    assert answer.status_code == 403
    assert "Not as it stands now" in answer.text
    assert f"{job} was closed" in answer.text
    assert "Not for this role" not in answer.text
    assert "log in as" not in answer.text


def test_a_form_from_before_the_last_login(owner):
    client = Client(enforce_csrf_checks=True)
    client.force_login(owner)
    answer = client.post("/customers/new/", {"name": "Marta"})
    assert answer.status_code == 403
    assert "copy what you typed" in answer.text


def test_too_much_at_once(client_as):
    answer = client_as("counter").post(
        "/customers/new/", {"note": "x" * (settings.DATA_UPLOAD_MAX_MEMORY_SIZE + 1)}
    )
    # Multipart fields count towards the limit on memory; the answer names it.
    assert answer.status_code == 413
    assert "larger than this server takes" in answer.text


def test_too_many_fields(client_as):
    answer = client_as("counter").post("/customers/new/", {f"field{n}": "x" for n in range(1001)})
    assert answer.status_code in (400, 413)
    assert "data-cause" in answer.text


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (RuntimeError("secret detail"), "did not expect"),
        (
            OperationalError("database or disk is full"),
            "disk is full: nothing was saved. Reading still works.",
        ),
        (OSError(errno.ENOSPC, "No space left on device"), "disk is full"),
    ],
)
def test_a_failure_inside_says_whether_anything_was_saved(client_as, monkeypatch, caplog, error, words):
    client = client_as("counter")
    client.raise_request_exception = False
    monkeypatch.setattr("shop.actions.add_customer", fail(error))
    answer = client.post("/customers/new/", {"name": "Marta Quill"})
    assert answer.status_code == 500
    assert words in answer.text
    assert "what you typed is still in the form" in answer.text
    assert "secret detail" not in answer.text
    assert "Traceback" not in answer.text
    assert str(error) in caplog.text


def test_the_failure_page_needs_no_database(client, monkeypatch, caplog):
    client.raise_request_exception = False
    monkeypatch.setattr(Shop, "current", fail(OperationalError("no such table")))
    answer = client.get("/login/")
    assert answer.status_code == 500
    assert "This went wrong here" in answer.text


def test_every_page_says_whose_shop_it_is_and_where_one_may_go(client_as):
    build.customer()
    shop = Shop.current()
    shop.name = "Kettle Lane <Ignition>"
    shop.save(update_fields=["name"])
    owner, counter = (client_as(role).get("/customers/") for role in ("owner", "counter"))
    for page in (owner, counter):
        assert "Kettle Lane &lt;Ignition&gt;" in page.text
        assert '<a href="/customers/" aria-current="page">Customers</a>' in markup(page)
    assert "Shop &amp; people" in owner.text
    assert "Shop &amp; people" not in counter.text
