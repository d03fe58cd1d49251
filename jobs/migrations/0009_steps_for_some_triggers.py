"""A step may be for some triggers only; open cards are no longer asked for a module that their unit hasn't got.

What was done stays as it was signed, and so do the cards that were handed back.
"""

from django.db import migrations, models

MODULE_STEP = "Heat-sink compound under the module"


def only_with_a_module(apps, schema_editor):
    steps = apps.get_model("jobs", "Step").objects.using(schema_editor.connection.alias)
    steps.filter(text=MODULE_STEP, at=None, job__closed_at=None).update(triggers="magnetic,hall,optical")


class Migration(migrations.Migration):
    dependencies = [("jobs", "0008_drop_answers_as_words")]

    operations = [
        migrations.AddField(
            model_name="step",
            name="triggers",
            field=models.CharField(blank=True, default="", max_length=60),
        ),
        migrations.RunPython(only_with_a_module, migrations.RunPython.noop),
    ]
