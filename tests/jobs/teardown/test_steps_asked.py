"""A step for a module is asked of a unit that has one, on the card and by its guard."""

import pytest
from django.urls import reverse

from jobs.models import Step
from jobs.queries import card_for
from jobs.rules.points import new_steps
from tests import build

pytestmark = pytest.mark.django_db
MODULE = "Heat-sink compound under the module"


def card_with(trigger):
    job = build.job(stage="bench_curve", unit=build.unit(trigger=trigger))
    Step.objects.bulk_create(new_steps(job))
    return job


@pytest.mark.parametrize(("trigger", "asked"), [("points", 0), ("hall", 1), ("magnetic", 1), ("", 1)])
def test_step_for_a_module_is_asked_where_there_may_be_one(client_as, trigger, asked):
    job = card_with(trigger)
    text = client_as("technician").get(reverse("card", args=[job.number])).content.decode()
    assert text.count(f"<span>{MODULE}") == asked
    assert card_for(build.person(), job.number).assembly_open == 8 + asked


def test_step_that_was_done_stays_when_the_trigger_is_written_anew(client_as):
    job = card_with("hall")
    job.steps.filter(text=MODULE).update(at=job.opened_at, by=build.person())
    job.unit.trigger = "points"
    job.unit.save()
    text = client_as("technician").get(reverse("card", args=[job.number])).content.decode()
    assert f"<span>{MODULE}" in text
