"""Sweeps on the engine: what the timing light read, and how the engine answered to timing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import models

from curves.models.builds import Build
from shop.fields import between, person_field

if TYPE_CHECKING:
    from django.db.models.fields.related_descriptors import RelatedManager


class Sweep(models.Model):
    """A sweep with the timing light, before or after the work; always at the crank."""

    class When(models.TextChoices):
        BEFORE = "before", "Before the work"
        AFTER = "after", "After the work"

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="sweeps")
    number = models.PositiveSmallIntegerField()
    when = models.CharField("taken", max_length=8, choices=When, default=When.BEFORE)
    vacuum_on = models.BooleanField("vacuum line connected", null=True, blank=True)  # none: nobody knows
    idle_low_crank_deg = models.FloatField(
        "at idle the mark wanders from", null=True, blank=True, validators=between(-40, 90)
    )
    idle_high_crank_deg = models.FloatField("to", null=True, blank=True, validators=between(-40, 90))
    note = models.CharField(max_length=300, blank=True)
    removed = models.BooleanField(default=False)
    by = person_field()
    at = models.DateTimeField(auto_now_add=True)
    version = models.PositiveIntegerField(default=1)

    readings: RelatedManager[LightReading]

    class Meta:
        ordering = ["number"]
        constraints = [models.UniqueConstraint(fields=["build", "number"], name="one_sweep_per_number")]

    def __str__(self):
        return f"Engine sweep {self.number}"


class LightReading(models.Model):
    """What the light read at a crank speed [crank degrees before top dead centre]."""

    sweep = models.ForeignKey(Sweep, on_delete=models.CASCADE, related_name="readings")
    position = models.PositiveSmallIntegerField()
    crank_rpm = models.FloatField(validators=between(0, 20000))
    crank_deg = models.FloatField(validators=between(-40, 90))
    part_throttle = models.BooleanField(default=False)

    class Meta:
        ordering = ["position"]
        constraints = [models.UniqueConstraint(fields=["sweep", "position"], name="one_light_per_position")]

    def __str__(self):
        return f"{self.crank_deg:g} at {self.crank_rpm:g}"


class Response(models.Model):
    """How the engine answered to timing at one speed, on the road or on a dynamometer."""

    class Best(models.TextChoices):
        MOST = "most", "most is best (pull, torque)"
        LEAST = "least", "least is best (time)"

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="responses")
    number = models.PositiveSmallIntegerField()
    crank_rpm = models.FloatField("at crank rpm", validators=between(100, 20000))
    measure = models.CharField("measured", max_length=40, default="pull")
    unit = models.CharField(max_length=12, blank=True)
    best = models.CharField(max_length=5, choices=Best, default=Best.MOST)
    note = models.CharField(max_length=300, blank=True)
    removed = models.BooleanField(default=False)
    by = person_field()
    at = models.DateTimeField(auto_now_add=True)
    version = models.PositiveIntegerField(default=1)

    readings: RelatedManager[ResponseReading]

    class Meta:
        ordering = ["crank_rpm", "number"]
        constraints = [models.UniqueConstraint(fields=["build", "number"], name="one_response_per_number")]

    def __str__(self):
        return f"Response at {self.crank_rpm:g} crank rpm"


class ResponseReading(models.Model):
    """One try: the timing at the crank in all, and what was measured."""

    response = models.ForeignKey(Response, on_delete=models.CASCADE, related_name="readings")
    position = models.PositiveSmallIntegerField()
    crank_deg = models.FloatField(validators=between(-40, 90))
    value = models.FloatField(validators=between(-1e6, 1e6))

    class Meta:
        ordering = ["position"]
        constraints = [models.UniqueConstraint(fields=["response", "position"], name="one_try_per_position")]

    def __str__(self):
        return f"{self.value:g} at {self.crank_deg:g}"
