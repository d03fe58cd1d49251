"""What was learned of a spring is as new as the runs that taught it, and keeps which builds it rests on."""

from django.db import migrations, models


def take_the_older_ones_for_the_ground(apps, schema_editor):
    """Nobody kept what a correction was learned on top of: take all that were there by then."""
    corrections = apps.get_model("curves", "SpringCorrection").objects
    for one in corrections.all():
        older = corrections.filter(spring=one.spring_id, position=one.position, at__lt=one.at)
        rests_on = sorted(older.exclude(build=one.build_id).values_list("build", flat=True))
        corrections.filter(pk=one.pk).update(rests_on=rests_on)


class Migration(migrations.Migration):
    dependencies = [("curves", "0007_error_of_the_weighed_tension")]

    operations = [
        migrations.AddField(
            model_name="run",
            name="read_at",
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="springcorrection",
            name="rests_on",
            field=models.JSONField(default=list),
        ),
        migrations.RunPython(take_the_older_ones_for_the_ground, migrations.RunPython.noop),
    ]
