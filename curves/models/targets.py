"""The band that a build was agreed to have."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

from django.db import models

from curves.models.builds import Build
from shop.fields import between

if TYPE_CHECKING:
    from django.db.models.fields.related_descriptors import RelatedManager

_PLACES = 6  # no dust of a subtraction


class InitialTiming:
    """What was agreed of the initial timing, by a row or by what is typed: one, a range, or none.

    A range from 0 to 0 is the empty one, where nothing was said of it.
    """

    if TYPE_CHECKING:  # those of a row can be written, those that a paper froze cannot

        @property
        def initial_low_crank_deg(self) -> float: ...
        @property
        def initial_high_crank_deg(self) -> float: ...
        @property
        def initial_crank_deg(self) -> float | None: ...

    @property
    def initial_range_agreed(self) -> bool:
        return bool(self.initial_low_crank_deg or self.initial_high_crank_deg)

    @property
    def initial_range_is_one(self) -> bool:
        """Whether the range is one value only: it is said as one."""
        return self.initial_low_crank_deg == self.initial_high_crank_deg

    @property
    def initial_agreed(self) -> bool:
        return self.initial_crank_deg is not None or self.initial_range_agreed

    @property
    def initial_off_range_deg(self) -> float:
        """How far the one to set lies outside the range agreed, over it or under [crank degree]; 0 inside, or
        where one of the two was not agreed."""
        initial, low, high = self.initial_crank_deg, self.initial_low_crank_deg, self.initial_high_crank_deg
        if initial is None or not self.initial_range_agreed:
            return 0.0
        return round(initial - min(max(initial, low), high), _PLACES)

    @property
    def initial_off_range(self) -> str:
        """The same in words; empty where there is nothing to say."""
        off = self.initial_off_range_deg
        side = "over" if off > 0 else "under"
        return f"{abs(off):g} crank degrees {side} the range agreed" if off else ""


@dataclass(frozen=True)
class AgreedTiming(InitialTiming):
    """The initial timing agreed as a paper froze it, in crank degrees."""

    initial_low_crank_deg: float = 0.0
    initial_high_crank_deg: float = 0.0
    initial_crank_deg: float | None = None

    @classmethod
    def of(cls, frozen: dict[str, Any] | None) -> AgreedTiming:
        """From a target as plain data; None, and a name that it lacks, stand for nothing agreed."""
        frozen = frozen or {}
        return cls(**{one.name: frozen[one.name] for one in fields(cls) if one.name in frozen})


class Target(InitialTiming, models.Model):
    """The band agreed for this build, at the crank as people say it; the initial timing is not in it."""

    build = models.OneToOneField(Build, on_delete=models.CASCADE, related_name="target")
    initial_low_crank_deg = models.FloatField("initial timing from", default=0, validators=between(-10, 40))
    initial_high_crank_deg = models.FloatField("initial timing to", default=0, validators=between(-10, 40))
    initial_crank_deg = models.FloatField(
        "initial timing to set", null=True, blank=True, validators=between(-10, 40)
    )
    total_limit_crank_deg = models.FloatField(
        "total at full speed at most", null=True, blank=True, validators=between(5, 70)
    )
    note = models.CharField(max_length=300, blank=True)
    version = models.PositiveIntegerField(default=1)

    points: RelatedManager[TargetPoint]

    class Meta:
        ordering = ["pk"]

    def __str__(self):
        return f"target of build {self.build_id}"


class TargetPoint(models.Model):
    """One point of the band: crank degrees of centrifugal advance at a crank speed, and its tolerance."""

    target = models.ForeignKey(Target, on_delete=models.CASCADE, related_name="points")
    crank_rpm = models.FloatField(validators=between(0, 20000))
    crank_deg = models.FloatField(validators=between(0, 60))
    tolerance_crank_deg = models.FloatField(default=1, validators=between(0.1, 10))

    class Meta:
        ordering = ["crank_rpm"]
        constraints = [models.UniqueConstraint(fields=["target", "crank_rpm"], name="one_point_per_speed")]

    def __str__(self):
        return f"{self.crank_deg:g} ± {self.tolerance_crank_deg:g} at {self.crank_rpm:g}"
