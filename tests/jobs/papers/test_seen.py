"""A person's own write is known to the form to sign beside it; what anyone else changed is not."""

import re

import pytest
from django.db.models.signals import post_save
from django.urls import reverse

from jobs.models import AuditEntry, Sheet
from jobs.record import audit
from jobs.rules.recorded import recorded_sha256
from tests import build
from tests.jobs.papers.paperwork import finished_job

pytestmark = pytest.mark.django_db


@pytest.fixture
def job():
    return finished_job()


def write(client, job, seen, text="A loose clamp."):
    """A finding written on the card, as its page with the form to sign sends it."""
    headers = {"HX-Request": "true"} | ({"Card-Seen": seen} if seen else {})
    return client.post(reverse("add_finding", args=[job.number]), {"text": text}, headers=headers)


def sign(client, job, seen):
    values = {"sign-kind": Sheet.Kind.JOB_SHEET, "sign-paper": "A4", "sign-password": build.PASSWORD}
    address = reverse("sign_sheet", args=[job.number])
    return client.post(address, values | {"sign-seen": seen}, headers={"HX-Request": "true"})


def changed_by_another(job, text="Points pitted."):
    other = build.person("technician")
    job.findings.create(text=text, stage="teardown", by=other)
    audit.record("added a finding", job=job, by=other)


def test_own_write_is_followed_and_what_it_made_can_be_signed(client_as, job):
    client, seen = client_as("owner"), recorded_sha256(job)
    before, after = write(client, job, seen)["Card-Seen"].split()
    assert before == seen
    assert sign(client, job, before).status_code == 409
    assert sign(client, job, after).status_code == 200
    assert job.sheets.get().content["recorded_sha256"] == after


def test_change_by_another_before_an_own_write_is_never_stepped_over(client_as, job):
    """The step begins at what the other left, which this page has not seen."""
    client, seen = client_as("owner"), recorded_sha256(job)
    changed_by_another(job)
    before, _ = write(client, job, seen)["Card-Seen"].split()
    assert before != seen
    assert sign(client, job, seen).status_code == 409
    assert not job.sheets.exists()


def test_change_by_another_during_an_own_write_makes_no_step(client_as, job):
    client, seen = client_as("owner"), recorded_sha256(job)

    def other(instance, **_):
        post_save.disconnect(other, AuditEntry)
        changed_by_another(job)

    post_save.connect(other, AuditEntry, weak=False)
    answer = write(client, job, seen)
    assert answer.status_code == 200
    assert job.findings.filter(text="Points pitted.").exists()
    assert "Card-Seen" not in answer


def test_refused_write_and_a_page_without_the_form_get_no_step(client_as, job):
    client, seen = client_as("owner"), recorded_sha256(job)
    refused = write(client, job, seen, text="")
    assert refused.status_code == 422
    assert "Card-Seen" not in refused
    assert "Card-Seen" not in write(client, job, None)


@pytest.mark.parametrize("kind", ["tray_tag", "nonsense"])
def test_draft_made_after_a_change_by_another_leaves_the_form_at_what_was_seen(client_as, job, kind):
    client, seen = client_as("owner"), recorded_sha256(job)
    changed_by_another(job)
    headers = {"HX-Request": "true", "Card-Seen": seen}
    answer = client.post(
        reverse("sheets", args=[job.number]), {"draft-kind": kind, "draft-paper": "A4"}, headers=headers
    )
    [kept] = re.findall(r'name="sign-seen" value="(\w+)"', answer.content.decode())
    assert kept == seen
    assert sign(client, job, kept).status_code == 409


def test_own_write_of_one_card_says_nothing_of_another(client_as, job):
    other = build.job(stage="hand_back")
    answer = write(client_as("owner"), other, recorded_sha256(job))
    assert recorded_sha256(job) not in answer["Card-Seen"]
