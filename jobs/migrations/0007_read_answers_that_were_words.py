"""An answer that was one line of words becomes a row: accepted where the limit agreed covers what was asked."""

from django.db import migrations

LABEL = "customer's answer"  # as the history named the line of words


def read_words(apps, schema_editor):
    """What cannot be told from the words is asked anew: they are kept as the note of an answer not yet given."""
    Job = apps.get_model("jobs", "Job")
    Answer = apps.get_model("jobs", "EstimateAnswer")
    for job in Job.objects.exclude(estimate_answer="").order_by("pk").iterator():
        asked = job.estimate if job.revised_estimate is None else job.revised_estimate
        limit = job.agreed_limit
        covered = None not in (asked, limit) and limit >= asked
        by, at = _written(apps, job)
        Answer.objects.create(
            job=job,
            said="accepted" if covered else "none",
            asked=asked,
            amount=limit if covered else None,
            given_at=at,
            note=job.estimate_answer,
            by_id=by,
            at=at,
        )


def _written(apps, job):
    """Who wrote the words last, and when; for a card without a history, who opened it."""
    entries = apps.get_model("jobs", "AuditEntry").objects.filter(job=job).order_by("-pk")
    for entry in entries.iterator():
        if entry.by_id and LABEL in entry.detail.get("changes", {}):
            return entry.by_id, entry.at
    return job.opened_by_id, job.opened_at


def write_words(apps, schema_editor):
    """Back to one line: the note of the latest answer, or how it went."""
    Job = apps.get_model("jobs", "Job")
    rows = apps.get_model("jobs", "EstimateAnswer").objects.filter(taken_back_at=None)
    for row in rows.order_by("given_at", "pk").iterator():
        words = row.note or row.said.replace("_", " ")
        Job.objects.filter(pk=row.job_id).update(estimate_answer=words[:200])
        if row.amount is not None:
            Job.objects.filter(pk=row.job_id).update(agreed_limit=row.amount)


class Migration(migrations.Migration):
    dependencies = [("jobs", "0006_keep_answers_and_closings")]

    operations = [migrations.RunPython(read_words, write_words)]
