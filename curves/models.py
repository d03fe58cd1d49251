"""A unit's curve work: the head, the drawer of springs, runs on the bench, and the target."""

from django.db import models

from curves.cells import ADVANCE_DEG, SPEED_RPM
from shop.fields import between, person_field


class Frame(models.TextChoices):
    SHAFT = "shaft", "distributor"
    CRANK = "crank", "crank"


class Spring(models.Model):
    """A kind of spring in the drawer; its figures carry relative errors and where they came from."""

    class Source(models.TextChoices):
        WEIGHED = "weighed", "weighed here"
        WIRE = "wire", "from wire and turns"
        LABEL = "label", "from its label"
        UNKNOWN = "unknown", "not known"

    class Position(models.TextChoices):
        PRIMARY = "primary", "primary"
        SECONDARY = "secondary", "secondary"
        EITHER = "either", "either"

    label = models.CharField(max_length=40, unique=True)
    position = models.CharField(max_length=10, choices=Position, default=Position.EITHER)
    rate_n_per_mm = models.FloatField("rate (N/mm)", null=True, blank=True, validators=between(0.01, 50))
    free_length_mm = models.FloatField("free length (mm)", null=True, blank=True, validators=between(3, 80))
    initial_tension_n = models.FloatField("initial tension (N)", default=0, validators=between(0, 50))
    rate_sd = models.FloatField(
        "rate known to (share)", null=True, blank=True, default=0.05, validators=between(0.001, 1)
    )
    free_length_sd_mm = models.FloatField(
        "length known to (mm)", null=True, blank=True, default=0.2, validators=between(0.01, 5)
    )
    source = models.CharField(max_length=10, choices=Source, default=Source.WEIGHED)
    wire_mm = models.FloatField("wire (mm)", null=True, blank=True, validators=between(0.1, 5))
    coil_mm = models.FloatField("mean coil diameter (mm)", null=True, blank=True, validators=between(1, 40))
    active_coils = models.FloatField("active coils", null=True, blank=True, validators=between(1, 100))
    quantity = models.PositiveSmallIntegerField(default=0)
    note = models.CharField(max_length=200, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["label"]

    def __str__(self):
        return self.label

    @property
    def rate_percent(self):
        """The error of the rate in percent, or None for a loose label."""
        return None if self.rate_sd is None else self.rate_sd * 100


class Build(models.Model):
    """One unit's curve work; head measurements are in the shaft frame, as measured."""

    crank_per_shaft = models.FloatField(
        "crank turns per distributor turn", default=2, validators=between(0.25, 4)
    )
    scale_deg = models.FloatField(
        "bench scale reads to (distributor deg)", default=0.5, validators=between(0.05, 2)
    )
    travel_stamped_deg = models.FloatField(
        "travel stamped (distributor deg)", null=True, blank=True, validators=between(1, 30)
    )
    travel_measured_deg = models.FloatField(
        "travel measured (distributor deg)", null=True, blank=True, validators=between(1, 30)
    )
    primary_gap_mm = models.FloatField(
        "primary post gap (mm)", null=True, blank=True, validators=between(3, 60)
    )
    secondary_gap_mm = models.FloatField(
        "secondary post gap (mm)", null=True, blank=True, validators=between(3, 60)
    )
    primary_stretch_mm_per_deg = models.FloatField(
        "primary opens by (mm per distributor deg)", null=True, blank=True, validators=between(0.01, 2)
    )
    secondary_stretch_mm_per_deg = models.FloatField(
        "secondary opens by (mm per distributor deg)", null=True, blank=True, validators=between(0.01, 2)
    )
    locked = models.BooleanField(default=False, help_text="handed back: takes no more readings")
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["pk"]

    def __str__(self):
        return f"build {self.pk}"


class Run(models.Model):
    """A sweep on the bench. Readings stay as typed, in the frame declared here; ``convert`` turns them."""

    class Kind(models.TextChoices):
        AS_RECEIVED = "as_received", "As received"
        TRIAL = "trial", "Trial"
        FINAL = "final", "Final"

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="runs")
    number = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=12, choices=Kind)
    frame = models.CharField("read in", max_length=6, choices=Frame, default=Frame.SHAFT)
    primary = models.ForeignKey(Spring, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    secondary = models.ForeignKey(Spring, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    primary_bend_mm = models.FloatField(default=0, validators=between(-3, 3))
    secondary_bend_mm = models.FloatField(default=0, validators=between(-3, 3))
    note = models.CharField(max_length=300, blank=True)
    removed = models.BooleanField(default=False)  # taken off the card; the readings stay, so it can come back
    by = person_field()
    at = models.DateTimeField(auto_now_add=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["number"]
        constraints = [models.UniqueConstraint(fields=["build", "number"], name="one_run_per_number")]

    def __str__(self):
        return f"{self.get_kind_display()} run {self.number}"


class Reading(models.Model):
    """One reading as typed, in its run's frame."""

    run = models.ForeignKey(Run, on_delete=models.CASCADE, related_name="readings")
    position = models.PositiveSmallIntegerField()
    speed_rpm = models.FloatField(validators=between(*SPEED_RPM))
    advance_deg = models.FloatField(validators=between(*ADVANCE_DEG))
    falling = models.BooleanField(default=False)

    class Meta:
        ordering = ["position"]
        constraints = [models.UniqueConstraint(fields=["run", "position"], name="one_reading_per_position")]

    def __str__(self):
        return f"{self.advance_deg:g} at {self.speed_rpm:g}"


class Target(models.Model):
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
