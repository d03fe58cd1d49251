"""The price and reason on the line of a fitted spring outlive the line: another spring is tried, and it is back."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("curves", "0006_teach_nothing_of_what_was_not_rebuilt"),
        ("jobs", "0013_answers_are_of_the_present_owner"),
    ]

    operations = [
        migrations.CreateModel(
            name="SpringTerms",
            fields=[
                (
                    "id",
                    models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID"),
                ),
                ("why", models.CharField(blank=True, max_length=200)),
                ("price", models.DecimalField(blank=True, decimal_places=2, max_digits=9, null=True)),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="+", to="jobs.job"
                    ),
                ),
                (
                    "spring",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="curves.spring"
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
                "constraints": [
                    models.UniqueConstraint(fields=("job", "spring"), name="one_set_of_terms_per_spring")
                ],
            },
        ),
    ]
