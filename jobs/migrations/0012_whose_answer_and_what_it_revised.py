"""An answer and a limit are of who owned the unit when they were given; an answer keeps what it revised."""

import django.core.validators
import django.db.models.deletion
from django.db import migrations, models

BETWEEN = [django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(999999)]


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0011_date_of_allocation"),
        ("shop", "0002_unit_of_the_spring_tester"),
    ]

    operations = [
        migrations.AddField(
            model_name="estimateanswer",
            name="customer",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="shop.customer",
            ),
        ),
        migrations.AddField(
            model_name="estimateanswer",
            name="revises",
            field=models.BooleanField(default=False, verbose_name="revised the estimate"),
        ),
        migrations.AddField(
            model_name="estimateanswer",
            name="former_estimate",
            field=models.DecimalField(
                blank=True, decimal_places=2, max_digits=9, null=True, validators=BETWEEN
            ),
        ),
        migrations.AddField(
            model_name="estimateanswer",
            name="former_since",
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="job",
            name="limit_agreed_with",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="shop.customer",
            ),
        ),
    ]
