"""The ledger of the drawer: every spring that came, went out to a unit, came back, or was thrown away."""

from django.db import models

from curves.models.builds import Build
from curves.models.springs import Spring
from shop.stock import SIGNS, StockMove


class SpringMove(StockMove):
    """One move of springs of a kind; with a build, in or out of that unit."""

    spring = models.ForeignKey(Spring, on_delete=models.CASCADE, related_name="moves")
    build = models.ForeignKey(
        Build, null=True, blank=True, on_delete=models.PROTECT, related_name="spring_moves"
    )

    class Meta(StockMove.Meta):
        indexes = [models.Index(fields=["build", "spring"], name="moves_of_a_unit")]
        constraints = [
            models.CheckConstraint(condition=SIGNS, name="spring_moves_have_their_sign"),
            models.CheckConstraint(
                condition=~models.Q(kind__in=[*StockMove.AWAY, StockMove.Kind.RETURNED])
                | models.Q(build__isnull=False),
                name="spring_moves_name_their_unit",
            ),
        ]
