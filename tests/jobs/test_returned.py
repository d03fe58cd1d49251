"""A unit that came back starts from its target and its warranty; its readings are made anew."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.actions import opening
from jobs.models import Job
from tests import build
from tests.jobs.paperwork import finished_job

pytestmark = pytest.mark.django_db


def handed_back(**fields):
    job = finished_job()
    Job.objects.filter(pk=job.pk).update(closed_at=timezone.now(), **fields)
    return Job.objects.get(pk=job.pk)


def test_target_comes_along_and_the_readings_do_not(counter):
    before = handed_back()
    new = opening.reopen(before, by=counter)
    points = ("crank_rpm", "crank_deg", "tolerance_crank_deg")
    stood = list(before.build.target.points.values_list(*points))
    assert stood
    assert list(new.build.target.points.values_list(*points)) == stood
    assert new.build.target.initial_crank_deg == before.build.target.initial_crank_deg
    assert new.build.target.pk != before.build.target.pk
    assert not new.build.runs.exists()
    assert not new.inspections.exists()
    assert new.history.get(verb="took the target over").detail["from_card"] == before.number


def test_card_without_a_target_comes_back_without_one(counter):
    job = build.job(stage="hand_back", closed_at=timezone.now())
    new = opening.reopen(job, by=counter)
    assert not hasattr(Job.objects.get(pk=new.pk).build, "target")


@pytest.mark.parametrize(("days", "said"), [(0, "in warranty until"), (-1, "warranty ended")])
def test_head_of_a_card_says_whether_its_warranty_holds(client_as, counter, days, said):
    until = timezone.localdate() + timedelta(days=days)
    before = handed_back(warranty_until=until)
    client = client_as("counter")
    line = f"{said} {until:%-d %b %Y}"
    assert line in client.get(reverse("card", args=[before.number])).content.decode()
    new = opening.reopen(before, by=counter)
    page = client.get(reverse("card", args=[new.number])).content.decode()
    assert f"{line}, from job {before.number}" in page


def test_unit_that_came_back_in_time_stays_in_warranty(client_as, counter):
    before = handed_back(warranty_until=timezone.localdate() - timedelta(days=5))
    new = opening.reopen(before, by=counter)
    Job.objects.filter(pk=new.pk).update(opened_at=timezone.now() - timedelta(days=6))
    page = client_as("counter").get(reverse("card", args=[new.number])).content.decode()
    assert "in warranty until" in page
