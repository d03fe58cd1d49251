"""What stands in the drawer becomes its first count; what hangs in the units in the shop goes out of it.

Until now nothing was taken off a number when a spring was hung, so the number holds what hangs too. Where more
hang than it says they are there all the same, since they were run: they are counted with the rest.
"""

from collections import defaultdict

from django.db import migrations

HANGS = "hung in a unit when the ledger began"


def open_the_ledger(apps, schema_editor):
    springs = apps.get_model("curves", "Spring")._base_manager
    move = apps.get_model("curves", "SpringMove").objects
    away = _hanging(apps.get_model("curves", "Run").objects)
    for spring in springs.filter(practice=None).order_by("pk"):
        out = away.get(spring.pk, [])
        counted = max(spring.quantity, len(out))
        if counted:
            move.create(spring=spring, kind="counted", quantity=counted, note="when the ledger began")
        for kind, build in out:
            move.create(spring=spring, kind=kind, quantity=-1, build_id=build, note=HANGS)
        if out:
            springs.filter(pk=spring.pk).update(quantity=counted - len(out))


def _hanging(runs):
    """What hangs in units that were not handed back: {spring key: [(kind, build key), ...]}."""
    by_build = defaultdict(list)
    live = runs.filter(removed=False, build__locked=False, build__practice_seed=None)
    for run in live.exclude(kind="as_received").order_by("number"):
        by_build[run.build_id].append((run.kind, run.primary_id, run.secondary_id))
    away = defaultdict(list)
    for build, hung in by_build.items():
        *_, (_, *pair) = hung
        kind = "fitted" if ("final", *pair) in hung else "out"
        for spring in filter(None, pair):
            away[spring].append((kind, build))
    return away


def close_it(apps, schema_editor):
    """What is out is counted as there again, as before the ledger."""
    springs = apps.get_model("curves", "Spring")._base_manager
    moves = apps.get_model("curves", "SpringMove").objects
    for move in moves.filter(note=HANGS):
        spring = springs.get(pk=move.spring_id)
        springs.filter(pk=spring.pk).update(quantity=spring.quantity - move.quantity)


class Migration(migrations.Migration):
    dependencies = [("curves", "0004_ledger_of_the_drawer")]

    operations = [migrations.RunPython(open_the_ledger, close_it)]
