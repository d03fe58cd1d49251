"""When a spring's figures were weighed, when each correction was learned, and which of them a person chose."""

import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models
from django.db.models import F


def date_what_stands(apps, schema_editor):
    """Corrections date from when they were made; figures count as weighed only where pairs were kept."""
    apps.get_model("curves", "SpringCorrection").objects.update(learned_at=F("at"))
    spring_model = apps.get_model("curves", "Spring")
    tests = apps.get_model("curves", "LoadTest").objects
    for spring in spring_model._base_manager.filter(source="weighed"):
        last = tests.filter(spring=spring.pk).order_by("-at", "-pk").first()
        values = {"weighed_at": last.at, "weighed_by": last.by_id} if last else {"source": "typed"}
        spring_model._base_manager.filter(pk=spring.pk).update(**values)


def back(apps, schema_editor):
    apps.get_model("curves", "Spring")._base_manager.filter(source="typed").update(source="weighed")


def person():
    return models.ForeignKey(
        blank=True,
        null=True,
        on_delete=django.db.models.deletion.PROTECT,
        related_name="+",
        to=settings.AUTH_USER_MODEL,
    )


class Migration(migrations.Migration):
    dependencies = [
        ("curves", "0002_loads_in_the_unit_typed"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name="spring",
            name="chosen",
            field=models.CharField(
                blank=True,
                choices=[("own", "its own figures"), ("learned", "what jobs taught")],
                max_length=7,
                verbose_name="what counts",
            ),
        ),
        migrations.AddField(
            model_name="spring", name="chosen_at", field=models.DateTimeField(blank=True, null=True)
        ),
        migrations.AddField(model_name="spring", name="chosen_by", field=person()),
        migrations.AddField(
            model_name="spring", name="weighed_at", field=models.DateTimeField(blank=True, null=True)
        ),
        migrations.AddField(model_name="spring", name="weighed_by", field=person()),
        migrations.AddField(
            model_name="springcorrection",
            name="learned_at",
            field=models.DateTimeField(default=django.utils.timezone.now),
        ),
        migrations.AlterField(
            model_name="spring",
            name="source",
            field=models.CharField(
                choices=[
                    ("weighed", "weighed here"),
                    ("typed", "as typed in"),
                    ("wire", "from wire and turns"),
                    ("label", "from its label"),
                    ("unknown", "not known"),
                ],
                default="typed",
                max_length=10,
            ),
        ),
        migrations.RunPython(date_what_stands, back),
    ]
