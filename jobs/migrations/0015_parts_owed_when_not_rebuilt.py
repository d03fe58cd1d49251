"""A unit that goes back unrepaired may owe for parts that stay in it; earlier closings owe nothing for any."""

import django.core.validators
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("jobs", "0014_terms_of_fitted_springs")]

    operations = [
        migrations.AddField(
            model_name="closing",
            name="parts",
            field=models.DecimalField(
                decimal_places=2,
                default=0,
                max_digits=9,
                validators=[
                    django.core.validators.MinValueValidator(0),
                    django.core.validators.MaxValueValidator(999999),
                ],
                verbose_name="parts that stay or go along",
            ),
        ),
        migrations.AddField(
            model_name="closing", name="part_lines", field=models.JSONField(default=list)
        ),
    ]
