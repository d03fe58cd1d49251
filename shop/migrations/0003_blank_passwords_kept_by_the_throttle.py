"""What was sent with wrong passwords is blanked: it held those typed to sign, in clear."""

from django.db import migrations


def blank(apps, schema_editor):
    apps.get_model("axes", "AccessAttempt").objects.update(get_data="", post_data="")


class Migration(migrations.Migration):
    dependencies = [
        ("shop", "0002_unit_of_the_spring_tester"),
        ("axes", "0010_accessattemptexpiration"),
    ]

    operations = [migrations.RunPython(blank, migrations.RunPython.noop)]
