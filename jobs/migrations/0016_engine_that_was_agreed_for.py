"""The engine that target and timing were agreed for, where the unit went from the shelf onto another."""

import json

from django.db import migrations, models

VERB = "allocated the unit"
UNKNOWN = "an engine that nobody wrote down"


def fill(apps, schema_editor):
    """Of units given away before: as the last sheet signed before that names the earlier engine."""
    Job, Entry = apps.get_model("jobs", "Job"), apps.get_model("jobs", "AuditEntry")
    for job in Job.objects.exclude(allocated_on=None).select_related("engine"):
        given = Entry.objects.filter(job=job, verb=VERB).order_by("-pk").first()
        if given is None or not given.detail.get("engine"):
            continue  # it kept the engine it was rebuilt for
        if job.setting_note or apps.get_model("curves", "Target").objects.filter(build=job.build_id).exists():
            job.agreed_for = _earlier(apps, job, given)[:300]
            job.save(update_fields=["agreed_for"])


def _earlier(apps, job, given):
    signed = apps.get_model("jobs", "Sheet").objects.filter(job=job, signed_at__lt=given.at)
    sheet = signed.order_by("-signed_at").first()
    said = json.loads(sheet.data)["recorded"] if sheet else {}
    name, vehicle = said.get("engine_name", ""), said.get("vehicle", "")
    return f"{vehicle}: {name}" if name and vehicle else name or UNKNOWN


class Migration(migrations.Migration):
    dependencies = [("jobs", "0015_parts_owed_when_not_rebuilt")]

    operations = [
        migrations.AddField(
            model_name="job",
            name="agreed_for",
            field=models.CharField(
                blank=True,
                default="",
                max_length=300,
                verbose_name="engine that target and timing were agreed for",
            ),
            preserve_default=False,
        ),
        migrations.RunPython(fill, migrations.RunPython.noop),
    ]
