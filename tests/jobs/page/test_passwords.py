"""A password that somebody types is kept nowhere: not right, not wrong, not by what counts the wrong ones."""

import importlib
import pkgutil

import pytest
from axes.models import AccessAttempt
from django import forms
from django.conf import settings
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.urls import reverse
from django.utils import timezone

import curves
import jobs
import shop
from jobs.models import Job, Sheet
from jobs.rules.recorded import recorded_sha256
from tests import build
from tests.forms import Page
from tests.jobs.papers.paperwork import finished_job, signed_sheet

WRONG = "wrong-typed-{}-93"
NEW = "anvil-and-tongs-9"


def every_form(kind=forms.BaseForm):
    """The form classes of the product: all of its modules are read first."""
    for package in (shop, curves, jobs):
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            if "form" in module.name and "migrations" not in module.name:
                importlib.import_module(module.name)
    below = {kind}
    while more := {sub for one in below for sub in one.__subclasses__()} - below:
        below |= more
    return [one for one in below if one.__module__.split(".")[0] in ("shop", "curves", "jobs")]


def names_of_passwords():
    return {
        f"{form.prefix}-{name}" if form.prefix else name
        for form in every_form()
        for name, field in form.base_fields.items()
        if isinstance(field.widget, forms.PasswordInput)
    }


def kept():
    """Every value of every table, as text."""
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")
            for row in cursor.fetchall():
                yield from ((table, str(value)) for value in row)


def test_every_form_that_asks_for_a_password_has_its_name_masked():
    found = names_of_passwords()
    assert {"password", "sign-password", "old_password", "password1"} <= found
    assert found <= set(settings.AXES_SENSITIVE_PARAMETERS)


@pytest.mark.django_db
def test_no_page_asks_for_a_password_under_a_name_of_its_own(client_as, client, technician):
    card = finished_job()
    shelf = _shelf()
    owner = client_as("owner")
    pages = [client.get(reverse("login"))]
    addresses = [
        reverse("password"),
        reverse("new_person"),
        reverse("person_password", args=[technician.pk]),
        reverse("sheets", args=[card.number]),
        reverse("allocate", args=[shelf.number]),
    ]
    pages += [owner.get(address) for address in addresses]
    for answer in pages:
        controls = [one for form in Page(answer.text).forms for one in form.controls.values()]
        asked = {one.name for one in controls if one.attrs.get("type") == "password"}
        assert asked, answer.request["PATH_INFO"]
        assert asked <= names_of_passwords()


@pytest.mark.django_db
def test_no_table_keeps_what_was_typed(client, client_as, technician):
    tries, typed = [], set()

    def send(client, address, status, data, *secrets):
        typed.update(secrets)
        answer = client.post(address, data)
        assert answer.status_code == status, (address, answer.text[:2000])
        found = [table for table, value in kept() if any(secret in value for secret in typed)]
        assert not found, (address, data, found)
        tries.append(address)

    def wrong():
        return WRONG.format(len(typed))

    login = reverse("login")
    bad = wrong()
    send(client, login, 422, {"username": "technician", "password": bad}, bad)
    send(client, login, 302, {"username": "technician", "password": build.PASSWORD}, build.PASSWORD)

    job = finished_job()
    sign = {"sign-kind": "curve_sheet", "sign-paper": "A4", "sign-seen": recorded_sha256(job)}
    bad, address = wrong(), reverse("sign_sheet", args=[job.number])
    send(client, address, 422, sign | {"sign-password": bad}, bad)
    assert AccessAttempt.objects.exists()  # else nothing was looked at
    send(client, address, 302, sign | {"sign-password": build.PASSWORD})
    sheet = Sheet.objects.get(job=job)
    bad = wrong()
    void = {"reason": "wrong unit", "password": bad, "sign-password": bad}
    send(client, reverse("void_sheet", args=[job.number, sheet.pk]), 302, void, bad)

    shelf, bad = _shelf(), wrong()
    address = reverse("allocate", args=[shelf.number])
    give = {"customer": "Ivo Brandt", "phone": "0555 0102", "on": str(timezone.localdate())}
    send(client, address, 422, give | {"password": bad}, bad)
    send(client, address, 302, give | {"password": build.PASSWORD, "handed_to": "Ivo"})

    bad, address = wrong(), reverse("password")
    twice = {"new_password1": NEW, "new_password2": NEW}
    send(client, address, 422, {"old_password": bad} | twice, bad, NEW)
    send(client, address, 422, {"old_password": build.PASSWORD} | twice | {"new_password2": bad})
    send(client, address, 302, {"old_password": build.PASSWORD} | twice)

    owner, given = client_as("owner"), "vice-and-mandrel-4"
    address = reverse("person_password", args=[technician.pk])
    send(owner, address, 422, {"new_password1": given, "new_password2": bad}, given)
    send(owner, address, 302, {"new_password1": given, "new_password2": given})
    new = {"full_name": "Ilse Brandt", "username": "ilse", "role": "counter", "password1": "tap-and-die-88"}
    send(owner, reverse("new_person"), 422, new | {"password2": bad}, "tap-and-die-88")
    send(owner, reverse("new_person"), 302, new | {"password2": "tap-and-die-88"})
    assert len(tries) == 14

    client.logout()
    for _ in range(settings.AXES_FAILURE_LIMIT):
        client.post(login, {"username": "technician", "password": bad})
    send(client, login, 429, {"username": "technician", "password": bad})
    send(client, login, 429, {"username": "technician", "password": given})  # the right one, while locked out


@pytest.mark.django_db(transaction=True)
def test_what_was_kept_before_is_blanked_by_the_upgrade():
    executor = MigrationExecutor(connection)
    executor.migrate([("shop", "0002_unit_of_the_spring_tester")])
    old = executor.loader.project_state([("axes", "0010_accessattemptexpiration")]).apps
    old.get_model("axes", "AccessAttempt").objects.create(
        username="technician",
        ip_address="127.0.0.1",
        get_data="sign-password=typed",
        post_data="sign-password=typed",
        failures_since_start=3,
    )
    newest = MigrationExecutor(connection)
    newest.migrate(newest.loader.graph.leaf_nodes())
    row = AccessAttempt.objects.get()
    assert (row.get_data, row.post_data, row.failures_since_start) == ("", "", 3)


def _shelf():
    """A finished unit without a customer, whose signed sheet names nobody."""
    job = finished_job(customer=None)
    signed_sheet(job, built=False)
    Job.objects.filter(pk=job.pk).update(closed_at=timezone.now())
    return Job.objects.get(pk=job.pk)
