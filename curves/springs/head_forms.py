"""Forms of the advance head: what a caliper says of it, in the distributor's own degrees, and its type."""

from __future__ import annotations

from typing import Any, cast

from django import forms
from django.db.models import Field

from curves import engine
from curves.judging import travel
from curves.models import Build, HeadType
from curves.readings import input_limits
from shop.fields import between
from shop.forms import ModelForm, NumberField, VersionedForm
from shop.idempotency import OnceField

PLACES = ("primary", "secondary")
GAP_MM = (3, 60)


def _field(name: str) -> Field[Any, Any]:
    return cast("Field[Any, Any]", Build._meta.get_field(name))


class HeadForm(VersionedForm):
    """What was measured of the advance head, in the distributor's own degrees.

    How much a gap opens is measured as the gap at the stop; per degree it is reckoned here.
    """

    primary_gap_at_stop_mm = NumberField(
        label="Primary post gap, at the stop (mm)", required=False, validators=between(*GAP_MM)
    )
    secondary_gap_at_stop_mm = NumberField(
        label="Secondary post gap, at the stop (mm)", required=False, validators=between(*GAP_MM)
    )

    class Meta:
        model = Build
        fields = [
            "travel_stamped_deg",
            "travel_measured_deg",
            "primary_gap_mm",
            "secondary_gap_mm",
            "primary_stretch_mm_per_deg",
            "secondary_stretch_mm_per_deg",
            "head_type",
            "scale_deg",
            "crank_per_shaft",
        ]
        labels = {
            "travel_stamped_deg": "Travel stamped (distributor deg)",
            "travel_measured_deg": "Travel measured (distributor deg)",
            "primary_gap_mm": "Primary post gap, at rest (mm)",
            "secondary_gap_mm": "Secondary post gap, at rest (mm)",
            "head_type": "Type of head",
        }

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        choice = cast("forms.ModelChoiceField[HeadType]", self.fields["head_type"])
        choice.empty_label = "not said"
        choice.required = False

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        for place in PLACES:
            self._reckon(place, cleaned)
        if "crank_per_shaft" in self.changed_data and "crank_per_shaft" in cleaned:
            self._keep_in_reach(cleaned["crank_per_shaft"])
        return cleaned

    def _keep_in_reach(self, crank_per_shaft: float):
        """Refuse a ratio at which the engine can no longer judge what the build holds."""
        if beyond := input_limits.beyond(self.instance, crank_per_shaft):
            self.add_error("crank_per_shaft", f"{beyond} Write the ratio again, or set that right first.")

    def _reckon(self, place: str, cleaned: dict[str, Any]):
        """Put the opening per degree in its place when the gap at the stop was typed."""
        at_stop = cleaned.get(f"{place}_gap_at_stop_mm")
        if at_stop is None:
            return
        gap = cleaned.get(f"{place}_gap_mm")
        travel = cleaned.get("travel_measured_deg") or cleaned.get("travel_stamped_deg")
        name = f"{place}_gap_at_stop_mm"
        if gap is None or travel is None:
            self.add_error(name, "Needs the gap at rest and the travel: measure both, or leave this empty.")
            return
        if at_stop <= gap:
            self.add_error(name, f"Not above the {gap:g} mm at rest: the gap opens as the weights go out.")
            return
        opens = engine.stretch_per_degree(gap, at_stop, travel)
        limits: Any = _field(f"{place}_stretch_mm_per_deg").validators
        if any(validator.compare(opens, validator.limit_value) for validator in limits):
            self.add_error(name, f"That would open {opens:.3f} mm a degree: measure again.")
            return
        cleaned[f"{place}_stretch_mm_per_deg"] = round(opens, 4)

    @property
    def travel_words(self) -> str:
        """What is unusual about the travel as it stands in the form, read or not; empty while nothing is."""
        stamped, measured, ratio = (
            self._number(name) for name in ("travel_stamped_deg", "travel_measured_deg", "crank_per_shaft")
        )
        return "" if ratio is None else travel.apart(stamped, measured, engine.Drive(ratio))

    def _number(self, name: str):
        """A field's number as typed so far, or None for what its field would refuse."""
        try:
            value = self.fields[name].clean(self[name].value())
            if value is not None:
                _field(name).run_validators(value)
            return value
        except forms.ValidationError:
            return None

    @property
    def head_values(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in self.Meta.fields}


class HeadTypeFields(forms.Form):
    """What is asked of a type of head, new or known."""

    class Meta:
        model = HeadType
        fields = ["name", "note"]
        labels = {"note": "What tells it from others"}

    @property
    def type_values(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in self.Meta.fields}


class NewHeadTypeForm(HeadTypeFields, ModelForm):
    once = OnceField()

    class Meta(HeadTypeFields.Meta):
        pass


class HeadTypeForm(HeadTypeFields, VersionedForm):
    class Meta(HeadTypeFields.Meta):
        pass
