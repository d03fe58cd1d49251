"""Answers and limits that were given before are taken to be of who owns the unit now."""

from django.db import migrations, models


def fill(apps, schema_editor):
    """Of the owner as the card says now: of an earlier one, only the name stands in the history."""
    Job, Answer = apps.get_model("jobs", "Job"), apps.get_model("jobs", "EstimateAnswer")
    owner = Job.objects.filter(pk=models.OuterRef("job")).values("customer")
    Answer.objects.update(customer=models.Subquery(owner))
    Job.objects.filter(agreed_limit__isnull=False).update(limit_agreed_with=models.F("customer"))


class Migration(migrations.Migration):
    dependencies = [("jobs", "0012_whose_answer_and_what_it_revised")]

    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]
