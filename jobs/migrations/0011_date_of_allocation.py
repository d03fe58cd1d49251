"""When a unit from the shop's shelf went to its owner."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("jobs", "0010_answers_in_bulk")]

    operations = [
        migrations.AddField(model_name="job", name="allocated_on", field=models.DateField(blank=True, null=True))
    ]
