"""Answers that were words become rows: nothing is lost, and nothing is claimed that they do not say."""

from datetime import UTC, datetime

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from jobs.models import EstimateAnswer, Job
from jobs.rules import guards
from jobs.rules.agreement import ANSWER, agreement_of
from tests import build

pytestmark = pytest.mark.django_db(transaction=True)
WORDS = [("jobs", "0001_initial")]


@pytest.fixture
def migrate_to():
    """``migrate_to(targets)``: the models as they are there; afterwards everything is as it should be."""

    def move(targets):
        executor = MigrationExecutor(connection)
        executor.migrate(targets)
        return executor.loader.project_state(targets).apps

    yield move
    newest = MigrationExecutor(connection)
    newest.migrate(newest.loader.graph.leaf_nodes())


def test_words_become_answers_and_go_back_to_words(migrate_to):
    agreed = build.job(stage="teardown", estimate=200, agreed_limit=380, revised_estimate=380)
    unclear = build.job(stage="teardown", estimate=200, agreed_limit=250, revised_estimate=380)
    silent = build.job(stage="teardown", estimate=200, agreed_limit=250)
    written = datetime(2026, 5, 3, 9, 30, tzinfo=UTC)
    counter = build.person("counter")

    old = migrate_to(WORDS)
    rows = old.get_model("jobs", "Job").objects
    rows.filter(pk=agreed.pk).update(estimate_answer="Go ahead, by telephone.")
    rows.filter(pk=unclear.pk).update(estimate_answer="Leave the cap.")
    old.get_model("jobs", "AuditEntry").objects.create(
        job_id=agreed.pk,
        verb="wrote the customer's answer",
        detail={"changes": {"customer's answer": ["", "Go ahead, by telephone."]}},
        by_id=counter.pk,
        at=written,
        hash="x",
    )

    migrate_to(MigrationExecutor(connection).loader.graph.leaf_nodes())
    answer = EstimateAnswer.objects.get(job=agreed)
    assert (answer.said, answer.asked, answer.amount) == ("accepted", 380, 380)
    assert (answer.note, answer.by, answer.given_at) == ("Go ahead, by telephone.", counter, written)
    assert (answer.said_by, answer.how) == ("", "")
    kept = EstimateAnswer.objects.get(job=unclear)
    assert (kept.said, kept.note, kept.by) == ("none", "Leave the cap.", unclear.opened_by)
    assert ANSWER in guards.missing(Job.objects.get(pk=unclear.pk))
    assert ANSWER not in guards.missing(Job.objects.get(pk=agreed.pk))
    assert answer.customer == agreed.customer
    assert agreement_of(Job.objects.get(pk=silent.pk)).limit == 250
    assert not EstimateAnswer.objects.filter(job=silent).exists()

    again = migrate_to(WORDS).get_model("jobs", "Job").objects
    assert again.get(pk=agreed.pk).estimate_answer == "Go ahead, by telephone."
    assert again.get(pk=silent.pk).estimate_answer == ""
