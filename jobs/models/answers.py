"""What the customer says to an estimate, and how a card is closed whose unit was not rebuilt."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, Literal, overload

from django.db import models
from django.utils import timezone

from jobs.models.card import Ending, Job
from shop.fields import between, person_field
from shop.models import Customer


@overload
def money_field(
    *names: str, null: Literal[True], blank: bool = ...
) -> models.DecimalField[Decimal | None, Decimal | None]: ...
@overload
def money_field(*names: str, default: int = ...) -> models.DecimalField[Decimal, Decimal]: ...
def money_field(*names: str, **options: Any) -> models.DecimalField[Any, Any]:
    """An amount in the shop's currency, tax included: what the customer pays."""
    return models.DecimalField(
        *names, max_digits=9, decimal_places=2, validators=between(0, 999999), **options
    )


class EstimateAnswer(models.Model):
    """One answer to the estimate as a whole: never overwritten, a later one stands in its place."""

    class Said(models.TextChoices):
        ACCEPTED = "accepted", "Accepted"
        IN_PART = "in_part", "Accepted in part"
        DECLINED = "declined", "Declined"
        NONE = "none", "No answer yet"

    class How(models.TextChoices):
        IN_PERSON = "in_person", "in person"
        TELEPHONE = "telephone", "by telephone"
        EMAIL = "email", "by email"
        MESSAGE = "message", "by message"
        LETTER = "letter", "by letter"

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="answers")
    customer = models.ForeignKey(  # who owned the unit then: whose answer it is
        Customer, null=True, on_delete=models.PROTECT, related_name="+"
    )
    said = models.CharField("answer", max_length=8, choices=Said)
    asked = money_field("amount asked", null=True, blank=True)  # none: no estimate stood then
    amount = money_field("amount agreed", null=True, blank=True)  # from then on the limit; none: none agreed
    revises = models.BooleanField("revised the estimate", default=False)
    former_estimate = money_field(null=True, blank=True)  # as revised before; none: the one of intake
    former_since = models.DateTimeField(null=True, blank=True)
    said_by = models.CharField("who said it", max_length=120, blank=True)
    how = models.CharField(max_length=9, choices=How, blank=True)
    given_at = models.DateTimeField("when")
    note = models.CharField(max_length=500, blank=True)
    by = person_field()
    at = models.DateTimeField("entered at", default=timezone.now)
    taken_back_by = person_field(null=True, blank=True)
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_why = models.CharField("why it is taken back", max_length=200, blank=True)

    class Meta:
        ordering = ["given_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(said__in=["accepted", "in_part"], amount__isnull=False)
                | models.Q(said__in=["declined", "none"], amount=None),
                name="an_amount_is_agreed_where_it_is_accepted",
            )
        ]

    def __str__(self) -> str:
        return self.get_said_display()


class Closing(models.Model):
    """The hand-back of a unit that was not rebuilt: what went back, what is owed, who took or gave it up."""

    job = models.OneToOneField(Job, on_delete=models.PROTECT, related_name="closing")
    things = models.JSONField(default=list)  # what came with it: [[thing, whether it goes back], ...]
    fee = money_field("fee for the estimate")
    labour = money_field("labour so far")
    parts = money_field("parts that stay or go along", default=0)
    part_lines = models.JSONField(default=list)  # [[part, what it comes to or "", whether it stays], ...]
    currency = models.CharField(max_length=3)  # the shop's when it was closed
    collected_by = models.CharField(max_length=120, blank=True)
    consent_by = models.CharField("who gave consent", max_length=120, blank=True)
    reason = models.CharField(max_length=300, blank=True)
    by = person_field()
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.job.ended_as}, {self.owed} {self.currency} owed"

    @property
    def owed(self) -> Decimal:
        """What the owner owes, tax included."""
        return self.fee + self.labour + self.parts

    @property
    def collected_said(self) -> str:
        """What the name says: who took the unit, or what came with one that stayed here."""
        is_unit = self.job.ending == Ending.RETURNED
        return "collected by" if is_unit else "what came with it was collected by"

    @property
    def parts_left(self) -> list[str]:
        """What was fitted or given along and stays so, as people read it."""
        return [f"{part} {amount}".strip() for part, amount, stays in self.part_lines if stays]

    @property
    def parts_taken_out(self) -> list[str]:
        return [part for part, _, stays in self.part_lines if not stays]

    @property
    def went_back(self) -> list[str]:
        return [thing for thing, goes in self.things if goes]

    @property
    def stayed(self) -> list[str]:
        return [thing for thing, goes in self.things if not goes]
