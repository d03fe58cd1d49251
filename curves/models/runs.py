"""Runs on the bench: what was read, as typed, and what was checked beside the curve."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.db import models

from curves.models.builds import Build, Frame
from curves.models.springs import Spring
from shop.fields import between, person_field

if TYPE_CHECKING:
    from datetime import datetime

    from django.db.models.fields.related_descriptors import RelatedManager

# What any instrument shows, in either frame.
SPEED_RPM = (0, 20000)
ADVANCE_DEG = (-20, 90)


class Run(models.Model):
    """A sweep on the bench. Readings stay as typed, in the frame declared here; ``convert`` turns them."""

    class Kind(models.TextChoices):
        AS_RECEIVED = "as_received", "As received"
        TRIAL = "trial", "Trial"
        FINAL = "final", "Final"

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="runs")
    number = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=12, choices=Kind)
    frame = models.CharField("read in", max_length=6, choices=Frame, default=Frame.SHAFT)
    primary = models.ForeignKey(Spring, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    secondary = models.ForeignKey(Spring, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    primary_bend_mm = models.FloatField(default=0, validators=between(-3, 3))
    secondary_bend_mm = models.FloatField(default=0, validators=between(-3, 3))
    note = models.CharField(max_length=300, blank=True)
    removed = models.BooleanField(default=False)  # taken off the card; the readings stay, so it can come back
    by = person_field()
    at = models.DateTimeField(auto_now_add=True)
    # When its sweep, its pair or a bend was last written: what it teaches of its springs is as old as that.
    read_at = models.DateTimeField(null=True, blank=True)
    # Of a pair taken from the proposals: the chance that was shown, and the band it was of, as plain data.
    promised = models.JSONField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    readings: RelatedManager[Reading]
    sparks: RelatedManager[SparkReading]
    dwells: RelatedManager[DwellReading]
    vacuums: RelatedManager[VacuumReading]

    class Meta:
        ordering = ["number"]
        constraints = [models.UniqueConstraint(fields=["build", "number"], name="one_run_per_number")]

    def __str__(self):
        return f"{self.get_kind_display()} run {self.number}"

    @property
    def taught_at(self) -> datetime:
        """How old what it teaches is; of a run that was read before this was kept, when it was made."""
        return self.read_at or self.at


class Reading(models.Model):
    """One reading as typed, in its run's frame."""

    run = models.ForeignKey(Run, on_delete=models.CASCADE, related_name="readings")
    key = models.UUIDField(default=uuid.uuid4)  # given where it was typed: sent again, it is the same reading
    position = models.PositiveSmallIntegerField()
    speed_rpm = models.FloatField(validators=between(*SPEED_RPM))
    advance_deg = models.FloatField(validators=between(*ADVANCE_DEG))
    falling = models.BooleanField(default=False)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(fields=["run", "position"], name="one_reading_per_position"),
            models.UniqueConstraint(fields=["run", "key"], name="one_reading_per_key"),
        ]

    def __str__(self):
        return f"{self.advance_deg:g} at {self.speed_rpm:g}"


class TakenBack(models.Model):
    """The key of a reading that was taken back: a send of it still on its way must not make it anew."""

    run = models.ForeignKey(Run, on_delete=models.CASCADE, related_name="+")
    key = models.UUIDField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["run", "key"], name="one_taking_back_per_key")]

    def __str__(self):
        return str(self.key)


class SparkReading(models.Model):
    """Where one cylinder's spark fell at a set shaft speed, from where it should [distributor degrees]."""

    run = models.ForeignKey(Run, on_delete=models.CASCADE, related_name="sparks")
    key = models.UUIDField(default=uuid.uuid4)
    # A spark has no angle at rest.
    speed_rpm = models.FloatField("distributor rpm", validators=between(1, SPEED_RPM[1]))
    cylinder = models.PositiveSmallIntegerField(validators=between(1, 16))
    offset_deg = models.FloatField("off by (distributor deg)", validators=between(-45, 45))
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["speed_rpm", "cylinder", "pk"]
        constraints = [models.UniqueConstraint(fields=["run", "key"], name="one_spark_per_key")]

    def __str__(self):
        return f"cylinder {self.cylinder}: {self.offset_deg:+g}"


class DwellReading(models.Model):
    """The dwell at a shaft speed [distributor degrees]."""

    run = models.ForeignKey(Run, on_delete=models.CASCADE, related_name="dwells")
    key = models.UUIDField(default=uuid.uuid4)
    speed_rpm = models.FloatField("distributor rpm", validators=between(*SPEED_RPM))
    dwell_deg = models.FloatField("dwell (distributor deg)", validators=between(0, 360))
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["speed_rpm", "pk"]
        constraints = [models.UniqueConstraint(fields=["run", "key"], name="one_dwell_per_key")]

    def __str__(self):
        return f"{self.dwell_deg:g} at {self.speed_rpm:g}"


class VacuumReading(models.Model):
    """What the capsule adds at a vacuum [distributor degrees]."""

    run = models.ForeignKey(Run, on_delete=models.CASCADE, related_name="vacuums")
    key = models.UUIDField(default=uuid.uuid4)
    vacuum_kpa = models.FloatField("vacuum (kPa)", validators=between(0, 101))
    advance_deg = models.FloatField("adds (distributor deg)", validators=between(-20, 40))
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["vacuum_kpa", "pk"]
        constraints = [models.UniqueConstraint(fields=["run", "key"], name="one_vacuum_per_key")]

    def __str__(self):
        return f"{self.advance_deg:g} at {self.vacuum_kpa:g} kPa"


AnyReading = Reading | SparkReading | DwellReading | VacuumReading
# The kinds of what is read in a run, each by the name that the bench sends it under.
KINDS = {"reading": Reading, "spark": SparkReading, "dwell": DwellReading, "vacuum": VacuumReading}
