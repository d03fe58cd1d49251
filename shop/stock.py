"""The ledger of what the shop keeps: moves, whose sum is what lies there; no count is ever overwritten."""

from django.db import models
from django.db.models import Q

from shop.fields import person_field


class StockMove(models.Model):
    """One move of a thing in stock: how many came or went, why, who, and when.

    The rows of each kind of thing stand on the floor where the thing and the work are known, which this floor
    is not: springs and builds in ``curves``. What they share is here, so that parts can keep the same ledger.
    """

    class Kind(models.TextChoices):
        COUNTED = "counted", "counted"
        RECEIVED = "received", "received"
        OUT = "out", "out for trial"
        FITTED = "fitted", "fitted"
        CAME_BACK = "came_back", "came back in its unit"
        RETURNED = "returned", "returned"
        SCRAPPED = "scrapped", "scrapped"

    AWAY = (Kind.OUT, Kind.FITTED, Kind.CAME_BACK)  # it is in a unit

    kind = models.CharField(max_length=9, choices=Kind)
    quantity = models.IntegerField()  # below zero for what leaves
    note = models.CharField(max_length=200, blank=True)
    by = person_field(null=True, blank=True)  # none: what stood there when the ledger began
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        abstract = True
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.quantity:+d}"


LEAVING = [*StockMove.AWAY, StockMove.Kind.SCRAPPED]
COMING = [StockMove.Kind.RECEIVED, StockMove.Kind.RETURNED]
# A count may find more, fewer, or as many.
SIGNS = (
    Q(kind__in=LEAVING, quantity__lt=0) | Q(kind__in=COMING, quantity__gt=0) | Q(kind=StockMove.Kind.COUNTED)
)
