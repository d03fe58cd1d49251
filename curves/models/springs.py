"""The drawer: kinds of spring, what the tester said of them, and what jobs have taught since."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import models
from django.utils import timezone

from curves.models.builds import Build
from shop.fields import between, person_field
from shop.models import LoadUnit

if TYPE_CHECKING:
    from datetime import datetime

    from django.db.models.fields.related_descriptors import RelatedManager

    from curves.models.stock import SpringMove

MAX_LOAD_N = 500


class ShopDrawer(models.Manager["Spring"]):
    """The shop's own springs; those of practice units don't exist outside their card."""

    def get_queryset(self) -> models.QuerySet[Spring]:
        return super().get_queryset().filter(practice=None)


class EverySpring(models.Manager["Spring"]):
    """The shop's springs and those of practice units."""


class Spring(models.Model):
    """A kind of spring in the drawer; its figures carry relative errors and where they came from."""

    class Source(models.TextChoices):
        WEIGHED = "weighed", "weighed here"  # said by a fit of its load test, and by nothing else
        TYPED = "typed", "as typed in"
        WIRE = "wire", "from wire and turns"
        LABEL = "label", "from its label"
        UNKNOWN = "unknown", "not known"

    class Chosen(models.TextChoices):
        OWN = "own", "its own figures"
        LEARNED = "learned", "what jobs taught"

    class Position(models.TextChoices):
        PRIMARY = "primary", "primary"
        SECONDARY = "secondary", "secondary"
        EITHER = "either", "either"

    label = models.CharField(max_length=40, unique=True)
    position = models.CharField(max_length=10, choices=Position, default=Position.EITHER)
    rate_n_per_mm = models.FloatField("rate (N/mm)", null=True, blank=True, validators=between(0.01, 50))
    free_length_mm = models.FloatField("free length (mm)", null=True, blank=True, validators=between(3, 80))
    initial_tension_n = models.FloatField("initial tension (N)", default=0, validators=between(0, 50))
    initial_tension_sd_n = models.FloatField(null=True, blank=True)  # as weighed; empty: nobody said
    rate_sd = models.FloatField(
        "rate known to (share)", null=True, blank=True, default=0.05, validators=between(0.001, 1)
    )
    free_length_sd_mm = models.FloatField(
        "length known to (mm)", null=True, blank=True, default=0.2, validators=between(0.01, 5)
    )
    source = models.CharField(max_length=10, choices=Source, default=Source.TYPED)
    weighed_at = models.DateTimeField(null=True, blank=True)  # when a fit became its figures
    weighed_by = person_field(null=True, blank=True)
    chosen = models.CharField(
        "what counts", max_length=7, choices=Chosen, blank=True
    )  # by a person; empty: what is newer
    chosen_by = person_field(null=True, blank=True)
    chosen_at = models.DateTimeField(null=True, blank=True)
    wire_mm = models.FloatField("wire (mm)", null=True, blank=True, validators=between(0.1, 5))
    coil_mm = models.FloatField("mean coil diameter (mm)", null=True, blank=True, validators=between(1, 40))
    active_coils = models.FloatField("active coils", null=True, blank=True, validators=between(1, 100))
    quantity = models.PositiveSmallIntegerField(default=0)
    note = models.CharField(max_length=200, blank=True)
    practice = models.ForeignKey(
        Build, null=True, blank=True, on_delete=models.CASCADE, related_name="practice_springs"
    )  # set: a simulated spring, that only this practice unit can be given
    version = models.PositiveIntegerField(default=1)

    objects = ShopDrawer()
    everything = EverySpring()

    held: int  # at hand in one unit: only of rows that ``stock.with_held`` fetched
    load_tests: RelatedManager[LoadTest]
    corrections: RelatedManager[SpringCorrection]
    moves: RelatedManager[SpringMove]

    class Meta:
        ordering = ["label"]
        default_manager_name = "everything"  # a label is one of all, and a row of any card can be fetched

    def __str__(self):
        return self.label

    @property
    def is_practice(self) -> bool:
        return self.practice_id is not None

    @property
    def weighing_at(self) -> datetime | None:
        """When its own figures were weighed; None while they come from elsewhere."""
        return self.weighed_at if self.source == self.Source.WEIGHED else None

    @property
    def tension_is_known(self) -> bool:
        """Whether its initial tension was told; a weighing without the free length takes it as 0."""
        weighed = self.source == self.Source.WEIGHED
        return not (weighed and self.initial_tension_sd_n is None and self.initial_tension_n == 0)

    @property
    def rate_percent(self) -> float | None:
        """The error of the rate in percent, or None for a loose label."""
        return None if self.rate_sd is None else self.rate_sd * 100


class LoadTest(models.Model):
    """One pair from the spring tester: the load that held a spring at a length, as typed, in its unit."""

    spring = models.ForeignKey(Spring, on_delete=models.CASCADE, related_name="load_tests")
    length_mm = models.FloatField("length (mm)", validators=between(3, 200))
    load = models.FloatField(validators=between(0, 51_000))  # in grams-force; a form asks by the unit
    unit = models.CharField("load in", max_length=3, choices=LoadUnit, default=LoadUnit.NEWTON)
    by = person_field()
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["length_mm", "pk"]

    def __str__(self):
        return f"{self.load:g} {self.unit} at {self.length_mm:g} mm"


class SpringCorrection(models.Model):
    """What one build's runs taught of a spring; switched off, the spring's own figures count again."""

    spring = models.ForeignKey(Spring, on_delete=models.CASCADE, related_name="corrections")
    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="corrections")
    position = models.CharField(max_length=10, choices=Spring.Position)
    rate_n_per_mm = models.FloatField()
    rate_sd = models.FloatField()  # relative
    free_length_mm = models.FloatField()
    free_length_sd_mm = models.FloatField()
    initial_tension_n = models.FloatField()
    initial_tension_sd = models.FloatField()  # relative
    correlation = models.JSONField(default=list)  # how the three errors hang together
    in_use = models.BooleanField(default=True)
    by = person_field()
    at = models.DateTimeField(auto_now_add=True)
    learned_at = models.DateTimeField(
        default=timezone.now
    )  # when the newest run with it in this place was read
    rests_on = models.JSONField(default=list)  # keys of builds whose corrections it was learned on top of
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.UniqueConstraint(fields=["spring", "build", "position"], name="one_correction_per_build")
        ]

    def __str__(self):
        return f"{self.spring} as learned from {self.build}"
