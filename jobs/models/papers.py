"""What a card leaves behind: its papers, and the chained record of what was done."""

from django.db import models

from jobs.models.card import Job
from shop.fields import person_field
from shop.models import Paper


class Sheet(models.Model):
    """A paper: a draft, or a signed revision whose data, hash and PDF never change again."""

    class Kind(models.TextChoices):
        CURVE_SHEET = "curve_sheet", "Curve sheet"
        JOB_SHEET = "job_sheet", "Job sheet"
        TRAY_TAG = "tray_tag", "Tray tag"

    class State(models.TextChoices):
        WAITING = "waiting", "Waiting"
        WORKING = "working", "Working"
        DONE = "done", "Done"
        FAILED = "failed", "Failed"

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="sheets")
    kind = models.CharField(max_length=12, choices=Kind)
    paper = models.CharField(max_length=6, choices=Paper)
    revision = models.PositiveSmallIntegerField(null=True, blank=True)  # none: an unsigned draft
    data = models.JSONField()
    data_sha256 = models.CharField(max_length=64)
    token = models.CharField(max_length=32, unique=True)  # what the QR carries
    signed_by = person_field(null=True, blank=True)
    signed_at = models.DateTimeField(null=True, blank=True)
    state = models.CharField(max_length=8, choices=State, default=State.WAITING, db_index=True)
    claim = models.CharField(max_length=32, blank=True)  # which worker's try holds it
    claimed_at = models.DateTimeField(null=True, blank=True)
    tries = models.PositiveSmallIntegerField(default=0)
    error = models.CharField(max_length=500, blank=True)
    pdf = models.FileField(upload_to="sheets/%Y/%m", blank=True)
    pdf_sha256 = models.CharField(max_length=64, blank=True)
    created_by = person_field()
    created_at = models.DateTimeField(auto_now_add=True)
    built_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.UniqueConstraint(fields=["job", "kind", "revision"], name="one_sheet_per_revision")
        ]

    def __str__(self):
        name = self.get_kind_display()
        return f"{name}, revision {self.revision}" if self.revision else f"{name}, draft"


class AuditEntry(models.Model):
    """What was done, by whom, when: each entry carries the hash of the one before it."""

    job = models.ForeignKey(Job, null=True, on_delete=models.PROTECT, related_name="history")
    verb = models.CharField(max_length=40)
    detail = models.JSONField(default=dict)
    by = person_field(null=True)
    at = models.DateTimeField()
    previous_hash = models.CharField(max_length=64, blank=True)
    hash = models.CharField(max_length=64, unique=True)

    class Meta:
        ordering = ["pk"]
        verbose_name_plural = "audit entries"

    def __str__(self):
        return self.verb
