"""Points that there are learn how they are measured; what was answered before stays as it was."""

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from jobs.models import InspectionPoint
from jobs.rules.measured import Measured
from tests import build

pytestmark = pytest.mark.django_db(transaction=True)
BEFORE = [("jobs", "0016_engine_that_was_agreed_for")]


@pytest.fixture
def before():
    """The models as they were; afterwards everything is as it should be."""
    executor = MigrationExecutor(connection)
    executor.migrate(BEFORE)
    yield executor.loader.project_state(BEFORE).apps
    after()


def after():
    newest = MigrationExecutor(connection)
    newest.migrate(newest.loader.graph.leaf_nodes())


def test_default_points_learn_it_but_not_one_in_a_unit_of_the_shops_own(before, person):
    job = build.job(stage="teardown")
    points = before.get_model("jobs", "InspectionPoint").objects
    leak = points.get(key="capsule-leak")
    points.filter(key="coil-secondary").update(unit="turns")
    answers = before.get_model("jobs", "Inspection").objects
    answers.create(job_id=job.pk, point_id=leak.pk, value=2.5, verdict="good", by_id=person.pk)

    after()
    how = dict(InspectionPoint.objects.exclude(measured_as="value").values_list("key", "measured_as"))
    assert how == {"pick-up-resistance": "winding", "coil-primary": "winding", "capsule-leak": "leak"}
    answer = job.inspections.get()
    assert (Measured.of(answer), answer.verdict) == (Measured(2.5), "good")
