"""The ground the other tests stand on: rows by name, roles, and a schema that fits the models."""

import pytest
from django.conf import settings
from django.core.management import call_command

from curves.models import Run
from tests import build

pytestmark = pytest.mark.django_db


def test_rows_by_name_are_valid():
    job = build.job(stage="spring_trials")
    run = build.run(job.build, [(400, 0.0), (800, 5.0), (800, 5.5, True)], primary=build.spring())
    target = build.target(job.build)
    for row in (job, job.unit, job.engine, job.customer, job.build, run, run.primary, target):
        row.full_clean()
    for row in [*run.readings.all(), *target.points.all()]:
        row.full_clean()
    assert [r.falling for r in run.readings.all()] == [False, False, True]
    assert build.job().number == job.number + 1
    assert build.run(job.build, kind=Run.Kind.FINAL).number == 2


@pytest.mark.parametrize("role", ["owner", "technician", "counter"])
def test_client_is_logged_in_as_role(client_as, role):
    client = client_as(role)
    assert client.person.role == role
    assert client.session["_auth_user_id"] == str(client.person.pk)


def test_no_migration_is_missing():
    call_command("makemigrations", check=True, dry_run=True, verbosity=0)


def test_tests_keep_their_files_to_themselves():
    assert settings.DATA_DIR.name.startswith("bobweight-test-")
