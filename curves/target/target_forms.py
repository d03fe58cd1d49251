"""The forms beside the target: where it may start from."""

from __future__ import annotations

from typing import Any

from django import forms

from shop.forms import Form, NumberField, SpeedField, WholeField

SPEED = {"min_value": 0, "max_value": 20000}
ANGLE = {"min_value": 0, "max_value": 60}


class SlopesForm(Form):
    """A blank two-slope curve: begin, knee, full."""

    begin_rpm = SpeedField(label="Begins at (crank rpm)", **SPEED)
    knee_rpm = SpeedField(label="Knee at (crank rpm)", **SPEED)
    knee_deg = NumberField(label="with (crank deg)", **ANGLE)
    full_rpm = SpeedField(label="Full at (crank rpm)", **SPEED)
    full_deg = NumberField(label="with all (crank deg)", **ANGLE)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        for low, high, words in (
            ("begin_rpm", "knee_rpm", "The knee comes after the begin: write a higher speed."),
            ("knee_rpm", "full_rpm", "Full comes after the knee: write a higher speed."),
            ("knee_deg", "full_deg", "Full is more than the knee: write more degrees."),
        ):
            if low in cleaned and high in cleaned and cleaned[high] <= cleaned[low]:
                self.add_error(high, words)
        return cleaned


class PastForm(Form):
    """A past build by the number of its card."""

    job = WholeField(label="Job", min_value=1, max_value=2**31 - 1)
    take = forms.ChoiceField(label="Take", choices=[("final", "its final curve"), ("target", "its target")])


class ResponsesForm(Form):
    """The response sweeps hold the whole timing: what of it is initial has to be said."""

    initial_crank_deg = NumberField(label="Initial timing (crank deg)", min_value=-10, max_value=40)


class SweepForm(Form):
    number = WholeField(label="Sweep", min_value=1, max_value=30000)
