"""A winding is measured with its temperature, a capsule's leak as it is read; the default points say which is which."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import migrations, models

# As jobs/rules/points.py has them: a point that a shop gave another unit stays one value.
MEASURED_AS = {
    "pick-up-resistance": ("winding", ["ohm", "kilohm"]),
    "coil-primary": ("winding", ["ohm", "kilohm"]),
    "coil-secondary": ("winding", ["ohm", "kilohm"]),
    "capsule-leak": ("leak", ["kPa"]),
}


def say_how(apps, schema_editor):
    points = apps.get_model("jobs", "InspectionPoint").objects.using(schema_editor.connection.alias)
    for key, (how, units) in MEASURED_AS.items():
        points.filter(key=key, unit__in=units).update(measured_as=how)


def read(name, low, high):
    return models.FloatField(
        name, blank=True, null=True, validators=[MinValueValidator(low), MaxValueValidator(high)]
    )


class Migration(migrations.Migration):
    dependencies = [("jobs", "0016_engine_that_was_agreed_for")]

    operations = [
        migrations.AddField(
            "inspectionpoint",
            "measured_as",
            models.CharField(
                choices=[
                    ("value", "One value"),
                    ("winding", "Copper winding, with its temperature"),
                    ("leak", "Vacuum that a capsule holds"),
                ],
                default="value",
                max_length=8,
            ),
        ),
        migrations.AddField("inspection", "part_temp_c", read("part's temperature (°C)", -40, 130)),
        migrations.AddField("inspection", "start_kpa", read("vacuum at the start (kPa)", 0, 101)),
        migrations.AddField("inspection", "held_s", read("held for (s)", 5, 3600)),
        migrations.AddField("inspection", "left_kpa", read("vacuum left (kPa)", 0, 101)),
        migrations.RunPython(say_how, migrations.RunPython.noop),
    ]
