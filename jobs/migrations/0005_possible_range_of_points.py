"""An inspection point says what can be read there at all; the default ones that there are get their range."""

from django.db import migrations, models

# As jobs/inspection.py had it when this was written.
POSSIBLE = {
    "shaft-side-play": (0, 5),
    "shaft-end-float": (0, 5),
    "bush-wear": (0, 5),
    "cam-lobe-spread": (0, 180),
    "travel": (0, 45),
    "drive-backlash": (0, 90),
    "points-gap": (0, 2),
    "dwell": (0, 360),
    "air-gap": (0, 5),
    "pick-up-resistance": (0, 100_000),
    "coil-primary": (0, 1000),
    "coil-secondary": (0, 1000),
    "condenser": (0, 10),
    "rotor-resistance": (0, 10_000),
    "leads": (0, 1_000_000),
    "capsule-begins": (0, 101),
    "capsule-ends": (0, 101),
    "capsule-degrees": (-20, 40),
    "capsule-leak": (0, 101),
}


def give_range(apps, schema_editor):
    """A point whose limit a shop has set beyond it keeps that limit: what is good is possible."""
    points = apps.get_model("jobs", "InspectionPoint").objects.using(schema_editor.connection.alias)
    for point in points.filter(key__in=POSSIBLE):
        low, high = POSSIBLE[point.key]
        limits = [limit for limit in (point.low, point.high) if limit is not None]
        points.filter(pk=point.pk).update(possible_low=min([low, *limits]), possible_high=max([high, *limits]))


class Migration(migrations.Migration):
    dependencies = [("jobs", "0004_steps_say_abrasive_and_aside")]

    operations = [
        migrations.AddField(
            "inspectionpoint",
            "possible_low",
            models.FloatField(blank=True, null=True, verbose_name="possible from"),
        ),
        migrations.AddField(
            "inspectionpoint",
            "possible_high",
            models.FloatField(blank=True, null=True, verbose_name="possible to"),
        ),
        migrations.RunPython(give_range, migrations.RunPython.noop),
    ]
