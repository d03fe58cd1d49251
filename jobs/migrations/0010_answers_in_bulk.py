"""An answer says whether it was given in one tap with the rest of the list."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("jobs", "0009_steps_for_some_triggers")]

    operations = [
        migrations.AddField(
            model_name="inspection",
            name="in_bulk",
            field=models.BooleanField(default=False),
        ),
    ]
