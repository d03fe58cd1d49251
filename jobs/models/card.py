"""The card: a job, and the moves it makes from stage to stage."""

from django.db import models
from django.utils import timezone

from curves.models import Build
from jobs.models.things import Engine, Unit
from jobs.stages import Stage
from shop.fields import between, person_field
from shop.models import Customer


class Ending(models.TextChoices):
    """How a card ends whose unit is not rebuilt."""

    RETURNED = "returned", "Returned unrepaired"
    KEPT = "kept", "Kept for parts"
    SCRAPPED = "scrapped", "Scrapped"


class JobQuerySet(models.QuerySet):
    """Cards of real units, and of invented ones to practise on: nothing counts the two together."""

    def real(self):
        return self.filter(build__practice_seed=None)

    def practice(self):
        return self.filter(build__practice_seed__isnull=False)


class Job(models.Model):
    """One unit's visit to the bench: the card."""

    number = models.PositiveIntegerField(unique=True)
    stage = models.CharField(max_length=14, choices=Stage, default=Stage.INTAKE, db_index=True)
    customer = models.ForeignKey(
        Customer, null=True, blank=True, on_delete=models.PROTECT, related_name="jobs"
    )  # none: the shop's own stock
    engine = models.ForeignKey(Engine, null=True, blank=True, on_delete=models.PROTECT, related_name="jobs")
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="jobs")
    build = models.OneToOneField(Build, on_delete=models.PROTECT, related_name="job")
    previous = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="later"
    )

    complaint = models.TextField(blank=True, max_length=2000)
    came_with = models.TextField("what came with it", blank=True, max_length=1000)
    tray = models.CharField(max_length=20, blank=True)
    promised_on = models.DateField("promised for", null=True, blank=True)
    estimate = models.DecimalField(
        max_digits=9, decimal_places=2, null=True, blank=True, validators=between(0, 999999)
    )
    agreed_limit = models.DecimalField(
        "limit agreed", max_digits=9, decimal_places=2, null=True, blank=True, validators=between(0, 999999)
    )
    limit_agreed_with = models.ForeignKey(
        Customer, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    revised_estimate = models.DecimalField(
        max_digits=9, decimal_places=2, null=True, blank=True, validators=between(0, 999999)
    )
    estimate_since = models.DateTimeField(null=True, blank=True)  # none: since the card was opened

    blasted = models.BooleanField("blasted with abrasive", default=False)
    abrasive_free_by = person_field(null=True, blank=True)
    abrasive_free_at = models.DateTimeField(null=True, blank=True)

    setting_note = models.TextField("setting instructions", blank=True, max_length=2000)
    warranty_until = models.DateField(null=True, blank=True)
    allocated_on = models.DateField(null=True, blank=True)  # when it went from the shelf to its owner
    agreed_for = models.CharField(
        "engine that target and timing were agreed for", max_length=300, blank=True
    )  # as it was called; blank: the card's own
    handed_to = models.CharField("handed to", max_length=120, blank=True)

    stage_since = models.DateTimeField()
    opened_by = person_field()
    opened_at = models.DateTimeField(auto_now_add=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    ending = models.CharField(max_length=8, choices=Ending, blank=True)  # blank: rebuilt and handed back
    search_text = models.TextField(blank=True, editable=False)
    version = models.PositiveIntegerField(default=1)

    objects = JobQuerySet.as_manager()

    class Meta:
        ordering = ["-number"]
        indexes = [
            # The board asks for the few open jobs among all that ever were.
            models.Index(fields=["stage", "number"], condition=models.Q(closed_at=None), name="open_jobs")
        ]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(ending="") | models.Q(closed_at__isnull=False, warranty_until=None),
                name="only_what_was_rebuilt_is_warranted",
            )
        ]

    def __str__(self):
        return f"Job {self.number}"

    @property
    def is_practice(self):
        return self.build.is_practice

    @property
    def is_stock(self):
        return self.customer_id is None

    @property
    def cylinders(self):
        """How many sparks one turn of the unit gives, or None where nobody wrote it."""
        return self.unit.cylinders or (self.engine.cylinders if self.engine else None)

    @property
    def is_closed(self):
        return self.closed_at is not None

    @property
    def ended_as(self):
        """How a closed card ended, in words."""
        return self.get_ending_display() or ("Handed over" if self.allocated_on else "Handed back")

    @property
    def ended_on(self):
        """The day of it: of a unit from the shelf the one on which its owner got it."""
        return self.allocated_on or (timezone.localdate(self.closed_at) if self.closed_at else None)


class StageMove(models.Model):
    """One move of a card: who, when, from where to where, and why if it was not a plain step on."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="moves")
    from_stage = models.CharField(max_length=14, choices=Stage)
    to_stage = models.CharField(max_length=14, choices=Stage)
    reason = models.CharField(max_length=300, blank=True)
    missing = models.JSONField(default=list)  # what the guard missed when the move was made all the same
    by = person_field()
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]

    def __str__(self):
        return f"{self.get_from_stage_display()} to {self.get_to_stage_display()}"
