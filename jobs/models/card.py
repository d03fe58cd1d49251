"""The card: a job, and the moves it makes from stage to stage."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

from django.db import models
from django.utils import timezone

from curves.models import Build
from jobs.models.things import Engine, Unit
from jobs.stages import Stage
from shop.fields import between, person_field
from shop.models import Customer

if TYPE_CHECKING:
    from datetime import datetime
    from decimal import Decimal

    from django.db.models.fields.related_descriptors import RelatedManager

    from jobs.models.answers import Closing, EstimateAnswer
    from jobs.models.lines import Finding, Inspection, PartLine, Photo, RoadReport, Step
    from jobs.models.papers import AuditEntry, Sheet


class Ending(models.TextChoices):
    """How a card ends whose unit is not rebuilt."""

    RETURNED = "returned", "Returned unrepaired"
    KEPT = "kept", "Kept for parts"
    SCRAPPED = "scrapped", "Scrapped"


class JobQuerySet(models.QuerySet["Job"]):
    """Cards of real units, and of invented ones to practise on: nothing counts the two together."""

    def real(self) -> JobQuerySet:
        return self.filter(build__practice_seed=None)

    def practice(self) -> JobQuerySet:
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

    # What points at a card, by the names given there.
    answers: RelatedManager[EstimateAnswer]
    closing: Closing  # of a card closed without the repair; any other has none
    findings: RelatedManager[Finding]
    history: RelatedManager[AuditEntry]
    inspections: RelatedManager[Inspection]
    later: RelatedManager[Job]
    moves: RelatedManager[StageMove]
    parts: RelatedManager[PartLine]
    photos: RelatedManager[Photo]
    road_reports: RelatedManager[RoadReport]
    sheets: RelatedManager[Sheet]
    steps: RelatedManager[Step]

    # What a query may bring along: ``with_facts`` of ``rules.facts``, then what others ask for.
    spent: Decimal
    points_answered: int
    points_bad: int
    points_open: int
    findings_count: int
    parts_left_off: int
    last_blasted_at: datetime | None
    cleaning_done: int
    cleaning_aside: int
    cleaning_open: int
    assembly_done: int
    assembly_aside: int
    assembly_open: int
    touched_since_signed: bool
    sheets_that_hold: int
    outdated: bool
    handed_back: dict[str, Any] | None
    last_by: int | None

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

    def __str__(self) -> str:
        return f"Job {self.number}"

    @property
    def is_practice(self) -> bool:
        return self.build.is_practice

    @property
    def is_stock(self) -> bool:
        return self.customer_id is None

    @property
    def cylinders(self) -> int | None:
        """How many sparks one turn of the unit gives, or None where nobody wrote it."""
        return self.unit.cylinders or (self.engine.cylinders if self.engine else None)

    @property
    def is_closed(self) -> bool:
        return self.closed_at is not None

    @property
    def ended_as(self) -> str:
        """How a closed card ended, in words."""
        return self.get_ending_display() or ("Handed over" if self.allocated_on else "Handed back")

    @property
    def ended_on(self) -> date | None:
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

    def __str__(self) -> str:
        return f"{self.get_from_stage_display()} to {self.get_to_stage_display()}"
