"""Loads of a spring test are kept as typed, with their unit; those that stand were typed in newtons."""

import django.core.validators
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("curves", "0001_initial")]

    operations = [
        migrations.RenameField(model_name="loadtest", old_name="load_n", new_name="load"),
        migrations.AlterField(
            model_name="loadtest",
            name="load",
            field=models.FloatField(
                validators=[
                    django.core.validators.MinValueValidator(0),
                    django.core.validators.MaxValueValidator(51_000),
                ]
            ),
        ),
        migrations.AddField(
            model_name="loadtest",
            name="unit",
            field=models.CharField(
                choices=[
                    ("N", "newtons (N)"),
                    ("gf", "grams-force (gf)"),
                    ("kgf", "kilograms-force (kgf)"),
                    ("lbf", "pounds-force (lbf)"),
                ],
                default="N",
                max_length=3,
                verbose_name="load in",
            ),
        ),
    ]
