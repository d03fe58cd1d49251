"""What is written on a card, line by line: inspection, findings, parts, steps, photos."""

from django.db import models

from jobs.models.card import Job
from jobs.stages import Stage
from shop.fields import between, person_field


class InspectionPoint(models.Model):
    """One line of the shop's inspection list; typical limits are common practice, never a maker's figure."""

    class MeasuredAs(models.TextChoices):
        VALUE = "value", "One value"
        WINDING = "winding", "Copper winding, with its temperature"
        LEAK = "leak", "Vacuum that a capsule holds"

    key = models.SlugField(max_length=40, unique=True)
    label = models.CharField(max_length=80)
    unit = models.CharField(max_length=20, blank=True)  # none: nothing to measure, a look is enough
    measured_as = models.CharField(max_length=8, choices=MeasuredAs, default=MeasuredAs.VALUE)
    low = models.FloatField(null=True, blank=True)
    high = models.FloatField(null=True, blank=True)
    possible_low = models.FloatField("possible from", null=True, blank=True)  # beyond it, it is mistyped
    possible_high = models.FloatField("possible to", null=True, blank=True)
    limit_source = models.CharField("limits from", max_length=80, blank=True, default="common practice")
    triggers = models.CharField(
        max_length=60, blank=True, help_text="only for these triggers, comma-separated; empty: for all"
    )
    order = models.PositiveSmallIntegerField(default=0)
    in_use = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["order", "pk"]

    def __str__(self) -> str:
        return self.label

    @property
    def wants_value(self) -> bool:
        """Whether it is measured: then nobody calls it good by a look."""
        return bool(self.unit) or self.low is not None or self.high is not None


class Inspection(models.Model):
    """The answer to one inspection point on one card."""

    class Verdict(models.TextChoices):
        GOOD = "good", "Good"
        WORN = "worn", "Worn, serviceable"
        REPLACE = "replace", "Repair or replace"
        NOT_APPLICABLE = "na", "Not applicable"

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="inspections")
    point = models.ForeignKey(InspectionPoint, on_delete=models.PROTECT, related_name="answers")
    value = models.FloatField(null=True, blank=True, validators=between(-1e6, 1e6))
    # Read beside the value, as the point is measured; of a leak the value follows from them.
    part_temp_c = models.FloatField(
        "part's temperature (°C)", null=True, blank=True, validators=between(-40, 130)
    )
    start_kpa = models.FloatField(
        "vacuum at the start (kPa)", null=True, blank=True, validators=between(0, 101)
    )
    held_s = models.FloatField("held for (s)", null=True, blank=True, validators=between(5, 3600))
    left_kpa = models.FloatField("vacuum left (kPa)", null=True, blank=True, validators=between(0, 101))
    verdict = models.CharField(max_length=8, choices=Verdict)
    note = models.CharField(max_length=200, blank=True)
    in_bulk = models.BooleanField(default=False)  # said good together with the rest of the list
    by = person_field()
    at = models.DateTimeField(auto_now=True)
    version = models.PositiveIntegerField(default=1)

    taken_over = ""  # what writing it made of the head, just now

    class Meta:
        ordering = ["point__order", "pk"]
        constraints = [models.UniqueConstraint(fields=["job", "point"], name="one_answer_per_point")]

    def __str__(self) -> str:
        return f"{self.point}: {self.get_verdict_display()}"

    @property
    def measured(self) -> str:
        """The value as it was read, without a tail of zeros; an empty text for none."""
        return "" if self.value is None else f"{self.value:.10g}".replace("-", "−")


class Finding(models.Model):
    """A line of plain words: what was found."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="findings")
    text = models.CharField(max_length=500)
    stage = models.CharField(max_length=14, choices=Stage)
    by = person_field()
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.text


class RoadReport(models.Model):
    """What the unit did on the road after hand-back; a closed card still takes it."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="road_reports")
    text = models.CharField("road report", max_length=500)
    by = person_field()
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.text


class PartLine(models.Model):
    """A part or an hour on the card: wanted, fitted, supplied loose, or left off and why."""

    class State(models.TextChoices):
        WANTED = "wanted", "Wanted"
        FITTED = "fitted", "Fitted"
        LOOSE = "loose", "Supplied loose"
        LEFT_OFF = "left_off", "Left off"
        LABOUR = "labour", "Labour"

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="parts")
    text = models.CharField("part or work", max_length=120)
    quantity = models.DecimalField(max_digits=7, decimal_places=2, default=1, validators=between(0.01, 9999))
    state = models.CharField(max_length=8, choices=State, default=State.WANTED)
    why = models.CharField(max_length=200, blank=True)
    price = models.DecimalField(
        "price each", max_digits=9, decimal_places=2, null=True, blank=True, validators=between(0, 999999)
    )
    spring = models.ForeignKey(
        "curves.Spring", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )  # set: a line that the drawer's ledger writes and takes away
    spring_id: int | None
    by = person_field()
    at = models.DateTimeField(auto_now_add=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["job", "spring"],
                condition=models.Q(spring__isnull=False),
                name="one_line_per_fitted_spring",
            )
        ]

    def __str__(self) -> str:
        return self.text

    @property
    def how_many(self) -> str:
        """The quantity without a tail of zeros."""
        return f"{self.quantity.normalize():f}"

    @property
    def is_free(self) -> bool:
        """Whether it is given for nothing, which is not the same as without a price."""
        return self.price == 0

    @property
    def look(self) -> str:
        """The state of ``.state`` that shows how this line stands."""
        looks: dict[str, str] = {self.State.WANTED: "open", self.State.LEFT_OFF: "worn"}
        return looks.get(self.state, "done")


class SpringTerms(models.Model):
    """What people wrote on the line of a fitted spring: kept while another hangs, for when it is back."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="+")
    spring = models.ForeignKey("curves.Spring", on_delete=models.PROTECT, related_name="+")
    why = models.CharField(max_length=200, blank=True)
    price = models.DecimalField(max_digits=9, decimal_places=2, null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["job", "spring"], name="one_set_of_terms_per_spring")]

    def __str__(self) -> str:
        return f"{self.spring}: {self.price}"


class Step(models.Model):
    """A step of cleaning, or of assembly and lubrication, with who did it and when."""

    class List(models.TextChoices):
        CLEANING = "cleaning", "Cleaning"
        ASSEMBLY = "assembly", "Lubrication and assembly"

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="steps")
    list = models.CharField(max_length=10, choices=List)
    text = models.CharField("step", max_length=120)
    parts = models.CharField("on which parts", max_length=200, blank=True)
    abrasive = models.BooleanField(
        "blasts or beads", default=False
    )  # done, it says that the unit was blasted
    aside = models.CharField("put aside because", max_length=200, blank=True)
    by = person_field(null=True, blank=True)
    at = models.DateTimeField(null=True, blank=True)  # when it was done or put aside; none: still open
    triggers = models.CharField(max_length=60, blank=True, default="")  # comma-separated; empty: for all
    order = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["list", "order", "pk"]

    def __str__(self) -> str:
        return self.text

    @property
    def is_done(self) -> bool:
        return self.at is not None and not self.aside


class Photo(models.Model):
    """A picture on the card, always re-encoded, without its metadata."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="photos")
    image = models.ImageField(upload_to="photos/%Y/%m", width_field="width", height_field="height")
    small = models.ImageField(upload_to="photos/%Y/%m", editable=False)  # for lists
    width = models.PositiveIntegerField(editable=False)
    height = models.PositiveIntegerField(editable=False)
    caption = models.CharField(max_length=120, blank=True)
    removed = models.BooleanField(default=False)  # taken off the card; kept, so that it can come back
    stage = models.CharField(max_length=14, choices=Stage)
    by = person_field()
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.caption or f"photo {self.pk}"
