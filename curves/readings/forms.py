"""Forms of curve work: a run with its grid of readings, and the target with its points."""

from __future__ import annotations

from typing import Any, Self, cast

from django import forms
from django.http import HttpRequest

from curves import engine
from curves.models import ADVANCE_DEG, SPEED_RPM, Frame, Run, Spring, Target
from curves.readings import csvfile, grid_forms, input_limits
from curves.readings.csvfile import CsvError
from curves.readings.grid import Column, Grid
from curves.readings.grid_forms import GridForm
from curves.rows import convert, frames, recording
from shop.forms import ModelForm
from shop.idempotency import OnceField
from shop.numbers import SPEED_DECIMALS

SPEED = Column("speed", "Speed", "rpm", SPEED_RPM, of=input_limits.SPEED, decimals=SPEED_DECIMALS)
ADVANCE = Column("advance", "Advance", "degrees", ADVANCE_DEG, of=input_limits.ANGLE)
FALLING = Column("falling", "Falling", is_tick=True, follows=True)
READINGS = (SPEED, ADVANCE, FALLING)

POINTS = (
    Column("speed", "Speed", "crank rpm", SPEED_RPM, of=input_limits.SPEED, decimals=SPEED_DECIMALS),
    Column("advance", "Advance", "crank degrees", (0, 60), of=input_limits.TARGET_ANGLE),
    Column("tolerance", "Either way", "crank degrees", (0.1, 10), follows=True),
)

FRAMES = [(Frame.SHAFT, "distributor rpm and degrees"), (Frame.CRANK, "crank rpm and degrees")]
FRAME_WORDS = "Say which: distributor and crank differ by a factor of two."
KEEP, TURN = "keep", "turn"
MEANT = [
    (KEEP, "are right as they stand: only the frame was said wrong, and the curve changes"),
    (TURN, "are to be turned into the new frame: the curve stays as it is"),
]
MARKS = [("", "as the file shows"), (".", "point"), (",", "comma")]


class RunFields(ModelForm):
    """What is said of a run beside its readings: what hung in the unit, and the frame it is read in."""

    frame = forms.ChoiceField(label="Readings are in", choices=FRAMES, widget=forms.RadioSelect)

    class Meta:
        model = Run
        fields = ["kind", "frame", "primary", "primary_bend_mm", "secondary", "secondary_bend_mm", "note"]
        labels = {
            "kind": "Kind of run",
            "primary": "Primary spring",
            "secondary": "Secondary spring",
            "primary_bend_mm": "its post bent by (mm)",
            "secondary_bend_mm": "its post bent by (mm)",
        }

    def __init__(self, *args: Any, springs: Any = (), **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["frame"].error_messages["required"] = FRAME_WORDS
        for name in ("primary", "secondary"):
            choice = cast("forms.ModelChoiceField[Spring]", self.fields[name])
            choice.queryset = springs
            choice.label_from_instance = _named
            choice.empty_label = "as it came, or not known"
            self.fields[f"{name}_bend_mm"].required = False

    def clean_primary_bend_mm(self) -> float:
        return self.cleaned_data["primary_bend_mm"] or 0

    def clean_secondary_bend_mm(self) -> float:
        return self.cleaned_data["secondary_bend_mm"] or 0

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("secondary") and not cleaned.get("primary"):
            self.add_error("primary", "A secondary spring without a primary: name the primary too.")
        return cleaned

    @property
    def run_values(self) -> dict[str, Any]:
        """The values of the run's own fields."""
        return {name: self.cleaned_data[name] for name in self.Meta.fields}


def _named(obj: Any) -> str:
    """A spring as a choice names it, fetched with what of it is at hand in the unit as ``held``."""
    is_out = not (obj.quantity or obj.held or obj.is_practice)
    return f"{obj}, none left" if is_out else str(obj)


class BenchRunForm(RunFields):
    """A run that begins without readings: they come in one by one."""

    once = OnceField()


class RunForm(GridForm, RunFields):
    """A run as it is typed, pasted or read from a file."""

    columns = READINGS
    nothing = "No reading yet: type a speed and an advance, or paste them."

    file = forms.FileField(label="CSV file", required=False)
    decimal = forms.ChoiceField(label="Decimal mark in it", choices=MARKS, required=False)

    class Meta(RunFields.Meta):
        pass

    @property
    def read_in(self) -> str:
        said = self["frame"].value()
        return said if said in Frame.values else ""

    def pasted_rows(self, text: str) -> list[tuple[Any, ...]]:
        table = csvfile.read(
            text, frame=self.data.get("frame") or None, decimal=self.data.get("decimal") or None
        )
        rows = [(row.speed_rpm, row.advance_deg, row.falling) for row in table.rows]
        return grid_forms.values_or_refuse(Grid.of_values(self.columns, rows))


class NewRunForm(RunForm):
    once = OnceField()


class ChangeRunForm(RunForm):
    """A run that holds readings: in another frame, the same numbers mean another curve, so that is asked."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    meant = forms.ChoiceField(label="The numbers", choices=MEANT, widget=forms.RadioSelect, required=False)

    @property
    def plain_fields(self) -> list[forms.BoundField]:
        return [field for field in super().plain_fields if field.name != "meant"]

    @property
    def frame_before(self) -> str:
        """The frame the run is kept in, before the form's own values were put into its row."""
        return self.initial["frame"]

    @property
    def is_turned(self) -> bool:
        """Whether the run is said to be read in another frame than before."""
        return self["frame"].value() in frames.NAMES and self["frame"].value() != self.frame_before

    @property
    def asks_meaning(self) -> bool:
        return self.is_bound and self.is_turned and recording.holds_readings(self.instance)

    @property
    def read_in(self) -> str:
        """What the grid holds: numbers of the frame before, if they are still to be turned."""
        return self.frame_before if self._is(TURN) else super().read_in

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if not self.asks_meaning:
            return cleaned
        before, now = (Frame(one).label for one in (self.frame_before, self["frame"].value()))
        if not cleaned.get("meant"):
            self.add_error("meant", f"This run was typed in {before} degrees. Say what its numbers are now.")
        elif self._is(TURN):
            self._turn(cleaned["frame"], convert.drive_of(self.instance.build))
        elif beyond := recording.beyond_as_typed(self.instance, self.frame_before, cleaned["frame"]):
            self.add_error("meant", f"{beyond} Was it read in {now} degrees?")
        return cleaned

    def _turn(self, frame: str, drive: engine.Drive):
        """Put the rows of the grid into the new frame, as far as it can be read there."""
        columns = input_limits.columns_for(READINGS, frame, drive)
        rows = [frames.row_in(row, self.frame_before, frame, drive) for row in self.rows]
        try:
            self.rows = grid_forms.values_or_refuse(Grid.of_values(columns, rows))
        except CsvError as error:
            self.add_error("meant", str(error))

    def _is(self, meant: str):
        return self.is_bound and self.is_turned and self.data.get("meant") == meant

    @property
    def typed_in(self) -> str | None:
        """The frame whose numbers stand in the new one, if that is what was meant; else None."""
        return self.frame_before if self._is(KEEP) else None

    @classmethod
    def preview(cls, request: HttpRequest, **options: Any) -> Self:
        """As any run's; but readings of two frames don't go into one grid."""
        form = super().preview(request, **options)
        row = options["instance"]
        if (
            form.refused
            or not request.POST.get("json", "").strip("[] ")
            or form["frame"].value() == row.frame
        ):
            return form
        refusing = cls(initial={name: request.POST.get(name, "") for name in cls.base_fields}, **options)
        refusing.grid = Grid.of_json(refusing.columns, request.POST["json"])
        refusing.refused = CsvError(
            f"What stands here is in {row.get_frame_display()} degrees, the paste is not: save the run in "
            "one frame first, or begin a new run with the paste."
        )
        return refusing


RANGE = ("initial_low_crank_deg", "initial_high_crank_deg")


def range_to_keep(
    low: float | None, high: float | None, initial: float | None
) -> tuple[float, float, float | None]:
    """The range of initial timing typed, and the one to set, as a target keeps them: none is from 0 to 0, and
    who types that says that 0 is the one to set."""
    if low == 0 == high and initial is None:
        initial = 0.0
    return low or 0.0, high or 0.0, initial


class TargetForm(GridForm, ModelForm):
    """The band agreed, at the crank, and the initial timing that may go with it."""

    columns = POINTS
    nothing = "No point yet: type a crank speed, the crank degrees wanted there, and how far it may be off."

    version = forms.IntegerField(widget=forms.HiddenInput, initial=0)

    class Meta:
        model = Target
        fields = [
            "initial_low_crank_deg",
            "initial_high_crank_deg",
            "initial_crank_deg",
            "total_limit_crank_deg",
            "note",
        ]
        labels = {
            "initial_low_crank_deg": "Initial timing from (crank deg)",
            "initial_high_crank_deg": "to (crank deg)",
            "initial_crank_deg": "Initial timing to set (crank deg)",
            "total_limit_crank_deg": "Total at full speed at most (crank deg)",
        }
        help_texts = {
            "initial_low_crank_deg": "Both ends left empty: no range is agreed.",
            "initial_crank_deg": "Left empty, the best of the range is found for the curve.",
        }

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        for name in RANGE:
            self.fields[name].required = False
            self.fields[name].initial = None
        if not any(self.initial.get(name) for name in RANGE):
            self.initial.update(dict.fromkeys(RANGE))  # none is agreed: nothing stands there

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        low, high = (cleaned.get(name) for name in RANGE)
        if (low is None) != (high is None):
            empty = RANGE[0] if low is None else RANGE[1]
            if empty not in self.errors:
                self.add_error(empty, "A range has two ends: write this one too, or leave both empty.")
        elif not any(name in self.errors for name in RANGE):
            kept = range_to_keep(low, high, cleaned.get("initial_crank_deg"))
            cleaned |= dict(zip((*RANGE, "initial_crank_deg"), kept, strict=True))
        if low is not None and high is not None and low > high:
            self.add_error(
                "initial_high_crank_deg", f"Lower than the {low:g} it starts from: turn them round."
            )
        speeds = [row[0] for row in self.rows]
        if twice := {f"{speed:g}" for speed in speeds if speeds.count(speed) > 1}:
            self.add_error(
                None, f"A speed stands there twice: {', '.join(sorted(twice))} crank rpm. Leave one."
            )
        return cleaned

    def pasted_rows(self, text: str) -> list[tuple[Any, ...]]:
        lines, _ = csvfile.split(text)
        keys = [column.key for column in self.columns]
        grid = Grid(self.columns, [dict(zip(keys, row, strict=False)) for _, row in lines])
        return grid_forms.values_or_refuse(grid)

    @property
    def target_values(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in self.Meta.fields}
