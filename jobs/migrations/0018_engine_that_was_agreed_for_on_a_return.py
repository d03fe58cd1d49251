"""The engine that target and timing were agreed for, where the unit came back and its target came along."""

from django.db import migrations

TOOK_TARGET = "took the target over"


def fill(apps, schema_editor):
    """Of cards whose target is still the earlier card's: as that card says."""
    Job, Entry = apps.get_model("jobs", "Job"), apps.get_model("jobs", "AuditEntry")
    back = Job.objects.filter(previous__isnull=False, agreed_for="", build__target__version=1)
    for job in back.order_by("number").select_related("previous"):
        earlier = Job.objects.get(pk=job.previous_id).agreed_for  # that one may have been filled just now
        if earlier and Entry.objects.filter(job=job, verb=TOOK_TARGET).exists():
            Job.objects.filter(pk=job.pk).update(agreed_for=earlier)


class Migration(migrations.Migration):
    dependencies = [("jobs", "0017_temperature_of_windings_and_leak_down")]

    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]
