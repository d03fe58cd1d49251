"""Steps say whether they blast and why they were put aside; those there are get it from their words, once."""

from django.db import migrations, models
from django.db.models import Q

# Once, for the rows there are: from now on a step carries it as data.
WORDS = ("blast", "bead", "grit", "abrasi", "shot peen", "shot-peen")


def mark_abrasive(apps, schema_editor):
    rows = apps.get_model("jobs", "Step").objects.using(schema_editor.connection.alias)
    said = Q()
    for word in WORDS:
        said |= Q(text__icontains=word) | Q(parts__icontains=word)
    rows.filter(said, list="cleaning").update(abrasive=True)


class Migration(migrations.Migration):
    dependencies = [("jobs", "0003_sheet_wanted_at")]

    operations = [
        migrations.AddField(
            "step",
            "abrasive",
            models.BooleanField(default=False, verbose_name="blasts or beads"),
        ),
        migrations.AddField(
            "step",
            "aside",
            models.CharField(blank=True, max_length=200, verbose_name="put aside because"),
        ),
        migrations.RunPython(mark_abrasive, migrations.RunPython.noop),
    ]
