"""A spring keeps how well its initial tension was weighed; of what was weighed before, its pairs still tell."""

from math import hypot, sqrt

from django.db import migrations, models

N_PER = {"N": 1.0, "gf": 9.80665e-3, "kgf": 9.80665, "lbf": 4.4482216152605}
LOAD_SD_N, LENGTH_SD_MM = 0.05, 0.1  # of one reading, as the fit took them
SAME_N = 1e-6


def take_from_the_pairs(apps, schema_editor):
    """Only where the pairs still give the tension that stands: they may have been changed without being used."""
    springs = apps.get_model("curves", "Spring")._base_manager
    tests = apps.get_model("curves", "LoadTest").objects
    for spring in springs.filter(source="weighed"):
        rows = tests.filter(spring=spring.pk)
        found = tension_of([(row.length_mm, row.load * N_PER[row.unit]) for row in rows])
        if found and abs(found[0] - spring.initial_tension_n) < SAME_N:
            springs.filter(pk=spring.pk).update(initial_tension_sd_n=found[1])


def tension_of(pairs):
    """Tension and its error [N] by a straight line through pairs of mm and N, or None where they don't tell."""
    slack = [length for length, load in pairs if load == 0]
    pulled = [(length, load) for length, load in pairs if load > 0]
    if not slack or len({length for length, _ in pulled}) < 2:
        return None
    count, free = len(pulled), sum(slack) / len(slack)
    middle = sum(length for length, _ in pulled) / count
    height = sum(load for _, load in pulled) / count
    size = sum((length - middle) ** 2 for length, _ in pulled)
    slope = sum((length - middle) * load for length, load in pulled) / size
    left = sum((load - height - slope * (length - middle)) ** 2 for length, load in pulled)
    seen = left / (count - 2) if count > 2 else 0.0
    variance = max(seen, LOAD_SD_N**2 + (slope * LENGTH_SD_MM) ** 2)
    of_the_line = sqrt(variance * (1 / count + (free - middle) ** 2 / size))
    of_the_length = slope * LENGTH_SD_MM / sqrt(len(slack))
    return max(height + slope * (free - middle), 0.0), hypot(of_the_line, of_the_length)


class Migration(migrations.Migration):
    dependencies = [("curves", "0006_teach_nothing_of_what_was_not_rebuilt")]

    operations = [
        migrations.AddField(
            model_name="spring",
            name="initial_tension_sd_n",
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.RunPython(take_from_the_pairs, migrations.RunPython.noop),
    ]
