"""Forms of sweeps on the engine: the light's readings, and the tries of a response."""

from __future__ import annotations

from typing import Any

from django import forms

from curves.models import SPEED_RPM, Response, Sweep
from curves.readings import csvfile, grid_forms, input_limits
from curves.readings.grid import Column, Grid
from curves.readings.grid_forms import GridForm
from shop.forms import ModelForm
from shop.idempotency import OnceField
from shop.numbers import SPEED_DECIMALS

LIGHT_DEG = (-40, 90)
LIGHTS = (
    Column("speed", "Speed", "crank rpm", SPEED_RPM, of=input_limits.SPEED, decimals=SPEED_DECIMALS),
    Column("light", "Light reads", "crank degrees", LIGHT_DEG, of=input_limits.ANGLE),
    Column("part", "Part throttle", is_tick=True, follows=True),
)
TRIES = (
    Column("timing", "Timing in all", "crank degrees", LIGHT_DEG),
    Column("value", "Measured", "", (-1_000_000, 1_000_000)),
)
VACUUM = [("", "nobody knows"), ("off", "off and plugged"), ("on", "connected")]
VACUUM_VALUES = {"": None, "off": False, "on": True}
VACUUM_WORDS = {value: word for word, value in VACUUM_VALUES.items()}


class PlainGridForm(GridForm):
    """A grid whose lines hold its columns in order, a tick as any word."""

    def pasted_rows(self, text: str) -> list[tuple[float, float, bool]]:
        lines, _ = csvfile.split(text)
        keys = [column.key for column in self.columns]
        ticks = {column.key for column in self.columns if column.is_tick}
        rows = [dict(zip(keys, line, strict=False)) for _, line in lines]
        for row in rows:
            row |= {key: "1" if row[key].strip() else "" for key in ticks & row.keys()}
        return grid_forms.values_or_refuse(Grid(self.columns, rows))

    @property
    def row_values(self) -> dict[str, Any]:
        """The values of the row's own fields."""
        return {name: self.cleaned_data[name] for name in self._meta.fields}  # pyrefly: ignore[missing-attribute]: it is mixed into a ModelForm


class SweepForm(PlainGridForm, ModelForm):
    """A sweep with the timing light, always at the crank."""

    columns = LIGHTS
    nothing = "No reading yet: type a crank speed and what the light read there."

    vacuum = forms.ChoiceField(
        label="Vacuum line while reading", choices=VACUUM, required=False, widget=forms.RadioSelect
    )

    class Meta:
        model = Sweep
        fields = ["when", "idle_low_crank_deg", "idle_high_crank_deg", "note"]
        labels = {
            "idle_low_crank_deg": "At idle the mark wanders from (crank deg)",
            "idle_high_crank_deg": "to (crank deg)",
        }

    def __init__(
        self, *args: Any, instance: Sweep | None = None, initial: dict[str, Any] | None = None, **options: Any
    ) -> None:
        known = {"vacuum": VACUUM_WORDS[instance.vacuum_on]} if instance else {}
        super().__init__(*args, instance=instance, initial=known | (initial or {}), **options)
        self.order_fields(["when", "vacuum", *self.Meta.fields[1:]])

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        low, high = cleaned.get("idle_low_crank_deg"), cleaned.get("idle_high_crank_deg")
        if low is not None and high is not None and low > high:
            self.add_error("idle_high_crank_deg", f"Lower than the {low:g} it starts from: turn them round.")
        if (low is None) != (high is None):
            empty = "idle_high_crank_deg" if high is None else "idle_low_crank_deg"
            if empty not in self.errors:
                self.add_error(empty, "One end of the wander alone says nothing: write both or none.")
        return cleaned

    @property
    def row_values(self) -> dict[str, Any]:
        return super().row_values | {"vacuum_on": VACUUM_VALUES[self.cleaned_data["vacuum"]]}


class NewSweepForm(SweepForm):
    once = OnceField()


class ChangeSweepForm(SweepForm):
    version = forms.IntegerField(widget=forms.HiddenInput)


class ResponseForm(PlainGridForm, ModelForm):
    """How the engine answered to timing at one speed."""

    columns = TRIES
    nothing = "No try yet: type the timing at the crank in all, and what was measured with it."

    class Meta:
        model = Response
        fields = ["crank_rpm", "measure", "unit", "best", "note"]
        labels = {
            "crank_rpm": "At speed (crank rpm)",
            "measure": "What was measured",
            "unit": "In",
            "best": "Which is better",
        }
        help_texts = {"measure": "pull, torque, or a time from one speed to another"}


class NewResponseForm(ResponseForm):
    once = OnceField()


class ChangeResponseForm(ResponseForm):
    version = forms.IntegerField(widget=forms.HiddenInput)
