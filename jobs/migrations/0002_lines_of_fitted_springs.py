"""A spring that was fitted for the final run has a line among the parts, which the drawer's ledger keeps."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("curves", "0005_first_count_of_the_drawer"),
        ("jobs", "0001_initial"),
    ]

    operations = [
        migrations.AddField(
            model_name="partline",
            name="spring",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="curves.spring",
            ),
        ),
        migrations.AddConstraint(
            model_name="partline",
            constraint=models.UniqueConstraint(
                condition=models.Q(spring__isnull=False),
                fields=["job", "spring"],
                name="one_line_per_fitted_spring",
            ),
        ),
    ]
