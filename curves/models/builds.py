"""One unit's curve work: its head, and the type of head that it belongs to."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import models

from shop.fields import between

if TYPE_CHECKING:
    from django.db.models.fields.related_descriptors import RelatedManager

    from curves.models.runs import Run
    from curves.models.springs import Spring, SpringCorrection
    from curves.models.stock import SpringMove
    from curves.models.sweeps import Response, Sweep
    from curves.models.targets import Target

TRAVEL_DEG = (1, 30)  # what a head can have, distributor degrees


class Frame(models.TextChoices):
    SHAFT = "shaft", "distributor"
    CRANK = "crank", "crank"


class HeadType(models.Model):
    """Heads that are made alike: what the earlier ones were found to be, the next one starts from."""

    class State(models.TextChoices):
        EMPTY = "empty", "Nothing learned"
        WAITING = "waiting", "Waiting"
        WORKING = "working", "Working"
        DONE = "done", "Done"
        FAILED = "failed", "Failed"

    name = models.CharField(max_length=60, unique=True)
    note = models.CharField(max_length=200, blank=True)
    learned = models.JSONField(null=True, blank=True)  # mean, covariance, and of which builds
    state = models.CharField(max_length=8, choices=State, default=State.EMPTY)
    claim = models.CharField(max_length=32, blank=True)
    claimed_at = models.DateTimeField(null=True, blank=True)
    tries = models.PositiveSmallIntegerField(default=0)
    error = models.CharField(max_length=500, blank=True)
    learned_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    builds: RelatedManager[Build]

    class Meta:
        ordering = ["name"]

    def __str__(self):
        return self.name


class Build(models.Model):
    """One unit's curve work; head measurements are in the shaft frame, as measured."""

    crank_per_shaft = models.FloatField(
        "crank turns per distributor turn", default=2, validators=between(0.25, 4)
    )
    scale_deg = models.FloatField(
        "bench scale reads to (distributor deg)", default=0.5, validators=between(0.05, 2)
    )
    travel_stamped_deg = models.FloatField(
        "travel stamped (distributor deg)", null=True, blank=True, validators=between(*TRAVEL_DEG)
    )
    travel_measured_deg = models.FloatField(
        "travel measured (distributor deg)", null=True, blank=True, validators=between(*TRAVEL_DEG)
    )
    primary_gap_mm = models.FloatField(
        "primary post gap (mm)", null=True, blank=True, validators=between(3, 60)
    )
    secondary_gap_mm = models.FloatField(
        "secondary post gap (mm)", null=True, blank=True, validators=between(3, 60)
    )
    primary_stretch_mm_per_deg = models.FloatField(
        "primary opens by (mm per distributor deg)", null=True, blank=True, validators=between(0.01, 2)
    )
    secondary_stretch_mm_per_deg = models.FloatField(
        "secondary opens by (mm per distributor deg)", null=True, blank=True, validators=between(0.01, 2)
    )
    head_type = models.ForeignKey(
        HeadType, null=True, blank=True, on_delete=models.PROTECT, related_name="builds"
    )
    practice_seed = models.PositiveIntegerField(
        null=True, blank=True
    )  # set: a simulated unit, to practise on
    practice_stop_deg = models.FloatField(
        "stop set to (distributor deg)", null=True, blank=True, validators=between(*TRAVEL_DEG)
    )  # where the stop of a simulated unit stands, if it was moved
    locked = models.BooleanField(default=False, help_text="handed back: takes no more readings")
    unrepaired = models.BooleanField(default=False, help_text="locked without the repair: teaches nothing")
    version = models.PositiveIntegerField(default=1)

    runs: RelatedManager[Run]
    sweeps: RelatedManager[Sweep]
    responses: RelatedManager[Response]
    corrections: RelatedManager[SpringCorrection]
    spring_moves: RelatedManager[SpringMove]
    practice_springs: RelatedManager[Spring]
    target: Target

    class Meta:
        ordering = ["pk"]

    def __str__(self):
        return f"build {self.pk}"

    @property
    def is_practice(self) -> bool:
        return self.practice_seed is not None
