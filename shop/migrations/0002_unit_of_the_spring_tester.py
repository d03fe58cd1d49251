"""The shop remembers the unit in which its spring tester reads."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shop", "0001_initial")]

    operations = [
        migrations.AddField(
            model_name="shop",
            name="tester_unit",
            field=models.CharField(
                choices=[
                    ("N", "newtons (N)"),
                    ("gf", "grams-force (gf)"),
                    ("kgf", "kilograms-force (kgf)"),
                    ("lbf", "pounds-force (lbf)"),
                ],
                default="N",
                max_length=3,
                verbose_name="the spring tester reads in",
            ),
        ),
    ]
