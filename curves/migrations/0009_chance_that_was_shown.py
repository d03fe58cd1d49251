"""A run whose pair was taken from the proposals keeps the chance that was shown; of older ones nobody knows it."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("curves", "0008_age_and_ground_of_what_was_learned")]

    operations = [
        migrations.AddField(
            model_name="run",
            name="promised",
            field=models.JSONField(blank=True, null=True),
        ),
    ]
