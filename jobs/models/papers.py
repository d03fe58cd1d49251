"""What a card leaves behind: its papers, and the chained record of what was done."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from django.db import models
from django.urls import reverse

from jobs.models.card import Job
from shop.fields import person_field
from shop.models import Paper


class Frozen(Exception):
    """Someone tried to change or delete what is signed."""


class SheetQuerySet(models.QuerySet["Sheet"]):
    """Sheets, with the guard that no bulk write gets round."""

    def signed(self) -> SheetQuerySet:
        return self.filter(revision__isnull=False)

    def update(self, **values: Any) -> int:
        self.model.refuse_frozen(values)
        if self.model.BUILT & values.keys() and self.signed().filter(state=Sheet.State.DONE).exists():
            raise Frozen("A signed sheet that is built never changes.")
        return super().update(**values)

    def delete(self) -> tuple[int, dict[str, int]]:
        if self.signed().exists():
            raise Frozen("A signed sheet is never deleted.")
        return super().delete()


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

    SIGNABLE = (Kind.CURVE_SHEET, Kind.JOB_SHEET)
    # Written once, when the row is made.
    FROZEN = frozenset(
        {"job", "job_id", "kind", "paper", "revision", "data", "data_sha256", "token"}
        | {"signed_by", "signed_by_id", "signed_at", "created_by", "created_by_id", "created_at"}
    )
    # Written by the worker until the sheet is done.
    BUILT = frozenset({"state", "claim", "claimed_at", "tries", "error", "pdf", "pdf_sha256", "built_at"})

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="sheets")
    kind = models.CharField(max_length=12, choices=Kind)
    paper = models.CharField(max_length=6, choices=Paper)
    revision = models.PositiveSmallIntegerField(null=True, blank=True)  # none: an unsigned draft
    data = models.TextField()  # canonical JSON, kept as text so that its hash holds on every database
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
    wanted_at = models.DateTimeField(null=True, blank=True)  # when somebody last asked for it

    void: SheetVoid  # of a sheet called back; any other has none
    # What ``rules.revisions`` says of a sheet beside the others of its card.
    superseded_by: Sheet | None
    standing: str
    none_holds: bool
    outdated: bool

    objects = SheetQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.UniqueConstraint(fields=["job", "kind", "revision"], name="one_sheet_per_revision")
        ]

    def __str__(self) -> str:
        name = self.get_kind_display()
        return f"{name}, revision {self.revision}" if self.is_signed else f"{name}, draft"

    def save(self, *args: Any, **options: Any) -> None:
        """Insert whole; afterwards only named fields, and none that is frozen."""
        if not self._state.adding:
            names = options.get("update_fields")
            if names is None:
                raise Frozen("Name the fields to save: a sheet is written once.")
            self.refuse_frozen(names)
            if self.BUILT & set(names) and self._is_built():
                raise Frozen("A signed sheet that is built never changes.")
        return super().save(*args, **options)

    def get_absolute_url(self) -> str:
        return reverse("sheet_pdf", args=[self.job.number, self.pk])

    def delete(self, *args: Any, **options: Any) -> tuple[int, dict[str, int]]:
        if Sheet.objects.signed().filter(pk=self.pk).exists():
            raise Frozen("A signed sheet is never deleted.")
        return super().delete(*args, **options)

    @classmethod
    def refuse_frozen(cls, names: Iterable[str]) -> None:
        if changed := cls.FROZEN & set(names):
            raise Frozen(f"{', '.join(sorted(changed))}: written once, never changed.")

    def _is_built(self) -> bool:
        return Sheet.objects.signed().filter(pk=self.pk, state=Sheet.State.DONE).exists()

    @property
    def content(self) -> dict[str, Any]:
        """The frozen data as a dict."""
        return json.loads(self.data)

    @property
    def is_signed(self) -> bool:
        return self.revision is not None

    @property
    def is_pending(self) -> bool:
        return self.state in (self.State.WAITING, self.State.WORKING)

    @property
    def file_name(self) -> str:
        """What the file is called when someone takes it home."""
        kind = self.kind.replace("_", "-")
        end = f"revision-{self.revision}" if self.is_signed else "draft"
        return f"job-{self.job.number}-{kind}-{end}.pdf"


class SheetVoid(models.Model):
    """A signed sheet called back, and why; the sheet itself stays as it was signed."""

    sheet = models.OneToOneField(Sheet, on_delete=models.PROTECT, related_name="void")
    reason = models.CharField(max_length=200)
    by = person_field()
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.sheet} void: {self.reason}"


class AuditEntry(models.Model):
    """What was done, by whom, when: each entry carries the hash of the one before it."""

    job = models.ForeignKey(Job, null=True, on_delete=models.PROTECT, related_name="history")
    verb = models.CharField(max_length=40)
    detail = models.JSONField(default=dict)
    by = person_field(null=True)
    by_id: int | None
    at = models.DateTimeField()
    previous_hash = models.CharField(max_length=64, blank=True)
    hash = models.CharField(max_length=64, unique=True)

    class Meta:
        ordering = ["pk"]
        verbose_name_plural = "audit entries"

    def __str__(self) -> str:
        return self.verb
