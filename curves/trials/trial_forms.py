"""Forms of the spring trials: what may be done to the head, and the pair that is fitted next."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, cast

from django import forms
from django.db.models import QuerySet

from curves.models import Build, Frame, Run, Spring
from curves.rows import convert, frames, queries
from curves.trials import promises
from curves.trials.loop import BEND_LIMIT_MM, Choices
from shop.forms import Form, ModelForm, NumberField
from shop.idempotency import OnceField

MAX_BEND_MM = 3
TRAVEL_DEG = (1, 30)  # distributor degrees, as a build takes it


class ChoicesForm(Form):
    """What the person allows: part of the address, so that a choice can be shared and undone."""

    bend = NumberField(
        label="Posts may be bent by up to (mm)", required=False, min_value=0, max_value=MAX_BEND_MM
    )
    travel = NumberField(
        label="The stop may be set down to",
        required=False,
        help_text="Left empty, the travel stays as it is.",
    )
    # Part of the address, so that a number typed in one frame is never read in another.
    frame = forms.ChoiceField(choices=Frame.choices, required=False, widget=forms.HiddenInput)
    # pyrefly: ignore[bad-assignment]: a field, which Django takes out of the class
    initial = forms.BooleanField(label="The initial timing may move in the range agreed", required=False)

    def __init__(self, data: Mapping[str, Any], *, build: Build) -> None:
        super().__init__(data)
        self.drive, said = convert.drive_of(build), data.get("frame")
        self.typed_in = Frame(said) if said in Frame.values else Frame.SHAFT
        travel: Any = self.fields["travel"]
        travel.unit = f"{self.typed_in.label} deg"

    @classmethod
    def sent(cls, query: Mapping[str, Any], build: Build) -> ChoicesForm:
        """The form as the address has it; without any, the usual choices in the frame of who types."""
        asked = any(name in query for name in cls.base_fields)
        usual = {"bend": f"{BEND_LIMIT_MM:g}", "frame": queries.typed_in(build).value}
        return cls(query if asked else usual, build=build)

    def clean_travel(self) -> float | None:
        """The travel in distributor degrees, between what a head has."""
        typed = self.cleaned_data["travel"]
        if typed is None:
            return None
        travel = frames.number_in(typed, self.typed_in, Frame.SHAFT, self.drive)
        low, high = (frames.number_in(limit, Frame.SHAFT, self.typed_in, self.drive) for limit in TRAVEL_DEG)
        if not low <= typed <= high:
            raise forms.ValidationError(
                f"{typed:g} {self.typed_in.label} degrees are no travel: write {low:g} to {high:g} "
                f"({TRAVEL_DEG[0]} to {TRAVEL_DEG[1]} distributor)."
                if self.typed_in == Frame.CRANK
                else f"{typed:g} distributor degrees are no travel: write {low:g} to {high:g}."
            )
        return travel

    @property
    def choices(self) -> Choices:
        """The choices made; for one that can't be read, refused beside its field, the usual one counts."""
        said = self.cleaned_data if self.is_valid() else getattr(self, "cleaned_data", {})
        bend = said.get("bend", BEND_LIMIT_MM)
        return Choices(bend or 0.0, said.get("travel"), bool(said.get("initial")))

    @property
    def query(self) -> str:
        """The choices as part of an address."""
        kept = {name: self.data.get(name) for name in self.base_fields if self.data.get(name)}
        return "&".join(f"{name}={value}" for name, value in kept.items())


class FitForm(ModelForm):
    """A pair to hang in and where its posts go: the run that is made of it is ready to be read."""

    once = OnceField()
    seal = forms.CharField(required=False)  # of the chance as it was shown

    class Meta:
        model = Run
        fields = ["primary", "secondary", "primary_bend_mm", "secondary_bend_mm"]

    def __init__(self, *args: Any, springs: QuerySet[Spring], **options: Any) -> None:
        super().__init__(*args, **options)
        for place in ("primary", "secondary"):
            cast("forms.ModelChoiceField[Spring]", self.fields[place]).queryset = springs
        self.fields["primary"].required = True

    @property
    def run_values(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in self.Meta.fields}

    def promised_on(self, build: Build) -> dict[str, Any] | None:
        """What was shown of this very pair, to be kept with its run; None where nothing was."""
        said = self.cleaned_data
        keys = [said[place] and said[place].pk for place in ("primary", "secondary")]
        bends = said["primary_bend_mm"], said["secondary_bend_mm"]
        return promises.opened(said["seal"], build, keys, bends)
