"""What comes in: the engine and its vehicle, and the unit itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import models

from shop.fields import between

if TYPE_CHECKING:
    from django.db.models.fields.related_descriptors import RelatedManager

    from jobs.models.card import Job


class Engine(models.Model):
    """The engine a unit runs in, and the vehicle or machine around it."""

    class Use(models.TextChoices):
        ROAD = "road", "Road"
        TOWING = "towing", "Towing"
        COMPETITION = "competition", "Competition"
        TRACTOR = "tractor", "Tractor"
        MARINE = "marine", "Marine"
        STATIONARY = "stationary", "Stationary"

    class Induction(models.TextChoices):
        ONE_CARBURETTOR = "one_carb", "one carburettor"
        SEVERAL_CARBURETTORS = "several_carbs", "several carburettors"
        INJECTION = "injection", "injection"
        CHARGED = "charged", "supercharged or turbocharged"

    vehicle = models.CharField("vehicle or machine", max_length=80, blank=True)
    make = models.CharField("engine make", max_length=60)
    model = models.CharField("engine model", max_length=60, blank=True)
    year = models.PositiveSmallIntegerField(null=True, blank=True, validators=between(1890, 2035))
    cylinders = models.PositiveSmallIntegerField(null=True, blank=True, validators=between(1, 16))
    displacement_cc = models.PositiveIntegerField(
        "displacement (cc)", null=True, blank=True, validators=between(20, 30000)
    )
    compression = models.FloatField("compression (to 1)", null=True, blank=True, validators=between(3, 20))
    camshaft = models.CharField(max_length=80, blank=True)
    induction = models.CharField(max_length=14, choices=Induction, blank=True)
    fuel_octane = models.PositiveSmallIntegerField(
        "fuel octane (RON)", null=True, blank=True, validators=between(40, 120)
    )
    use = models.CharField(max_length=12, choices=Use, blank=True)
    idle_crank_rpm = models.PositiveSmallIntegerField(
        "idle (crank rpm)", null=True, blank=True, validators=between(100, 3000)
    )
    top_crank_rpm = models.PositiveSmallIntegerField(
        "top speed (crank rpm)", null=True, blank=True, validators=between(500, 15000)
    )

    jobs: RelatedManager[Job]

    class Meta:
        ordering = ["make", "model", "pk"]

    def __str__(self) -> str:
        name = f"{self.make} {self.model}".strip()
        return f"{name}, {self.displacement_cc} cc" if self.displacement_cc else name

    @property
    def in_full(self) -> str:
        """The engine with what it is in and its year."""
        name = f"{self.vehicle}: {self}" if self.vehicle else str(self)
        return f"{name}, {self.year}" if self.year else name


class Unit(models.Model):
    """The distributor itself."""

    class Rotation(models.TextChoices):
        CLOCKWISE = "cw", "clockwise"
        ANTICLOCKWISE = "ccw", "anticlockwise"

    class Trigger(models.TextChoices):
        POINTS = "points", "points"
        MAGNETIC = "magnetic", "magnetic pick-up"
        HALL = "hall", "Hall"
        OPTICAL = "optical", "optical"

    maker = models.CharField("unit maker", max_length=60)
    number = models.CharField("unit number", max_length=60, blank=True)
    date_code = models.CharField(max_length=30, blank=True)
    rotation = models.CharField("rotation seen from the cap", max_length=3, choices=Rotation, blank=True)
    cylinders = models.PositiveSmallIntegerField(null=True, blank=True, validators=between(1, 16))
    trigger = models.CharField(max_length=10, choices=Trigger, blank=True)
    connector_pins = models.PositiveSmallIntegerField(null=True, blank=True, validators=between(0, 12))
    capsule = models.CharField("vacuum capsule", max_length=60, blank=True)

    jobs: RelatedManager[Job]

    class Meta:
        ordering = ["maker", "number", "pk"]

    def __str__(self) -> str:
        return f"{self.maker} {self.number}".strip()
