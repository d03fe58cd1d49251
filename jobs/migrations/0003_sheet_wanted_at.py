"""When somebody last asked for a paper: what is wanted now is built first."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('jobs', '0002_lines_of_fitted_springs'),
    ]

    operations = [
        migrations.AddField(
            model_name='sheet',
            name='wanted_at',
            field=models.DateTimeField(blank=True, null=True),
        ),
    ]
