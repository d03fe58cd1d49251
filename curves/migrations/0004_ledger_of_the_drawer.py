"""Each spring that comes or goes is a move, and what lies in the drawer their sum."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models
from django.db.models import Q


class Migration(migrations.Migration):
    dependencies = [
        ("curves", "0003_weighed_and_learned_side_by_side"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="SpringMove",
            fields=[
                (
                    "id",
                    models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID"),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("counted", "counted"),
                            ("received", "received"),
                            ("out", "out for trial"),
                            ("fitted", "fitted"),
                            ("came_back", "came back in its unit"),
                            ("returned", "returned"),
                            ("scrapped", "scrapped"),
                        ],
                        max_length=9,
                    ),
                ),
                ("quantity", models.IntegerField()),
                ("note", models.CharField(blank=True, max_length=200)),
                ("at", models.DateTimeField(auto_now_add=True)),
                (
                    "build",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="spring_moves",
                        to="curves.build",
                    ),
                ),
                (
                    "by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "spring",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="moves",
                        to="curves.spring",
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
                "abstract": False,
                "indexes": [models.Index(fields=["build", "spring"], name="moves_of_a_unit")],
                "constraints": [
                    models.CheckConstraint(
                        condition=Q(kind__in=["out", "fitted", "came_back", "scrapped"], quantity__lt=0)
                        | Q(kind__in=["received", "returned"], quantity__gt=0)
                        | Q(kind="counted"),
                        name="spring_moves_have_their_sign",
                    ),
                    models.CheckConstraint(
                        condition=~Q(kind__in=["out", "fitted", "came_back", "returned"])
                        | Q(build__isnull=False),
                        name="spring_moves_name_their_unit",
                    ),
                ],
            },
        ),
    ]
