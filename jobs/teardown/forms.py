"""The forms of what is written on a card line by line, and of the shop's inspection list."""

import re
from copy import copy

from django import forms

from curves.judging.travel import offer_on
from jobs.models import Finding, Inspection, InspectionPoint, PartLine, Step, Unit
from jobs.rules.measured import UNITS, Measured, beside, said_beside, settled
from jobs.rules.points import impossible, inspected_travel, limit_of, proposed_verdict, unusual
from shop.forms import ModelForm, VersionedForm
from shop.idempotency import OnceField

_BLASTS = re.compile(r"\w*(?:blast|bead|grit|abrasi|shot.?peen)\w*", re.IGNORECASE)
WHY_LEFT_OFF = "A part left off is told to whoever fits the unit: write why."


class FindingForm(ModelForm):
    once = OnceField()

    class Meta:
        model = Finding
        fields = ["text"]
        labels = {"text": "Finding"}


class PartForm(ModelForm):
    """A part or an hour; one that was left off says why."""

    class Meta:
        model = PartLine
        fields = ["text", "quantity", "state", "why", "price"]

    def __init__(self, *args, **options):
        super().__init__(*args, **options)
        if self.instance.spring_id:  # the rest is the ledger's
            for name in ("text", "quantity", "state"):
                del self.fields[name]

    def clean(self):
        data = super().clean()
        if data.get("state") == PartLine.State.LEFT_OFF and not data.get("why", "").strip():
            self.add_error("why", WHY_LEFT_OFF)
        return data

    def row_data(self):
        return {name: self.cleaned_data[name] for name in self._meta.fields if name in self.fields}


class NewPartForm(PartForm):
    once = OnceField()


class StepForm(ModelForm):
    """A step says whether it is done with abrasive, on either list; one that sounds like it is asked for."""

    once = OnceField()

    class Meta:
        model = Step
        fields = ["text", "parts", "abrasive"]
        labels = {"abrasive": "With abrasive: blasting, beading, grit"}

    def clean(self):
        data = super().clean()
        said = _BLASTS.search(f"{data.get('text', '')} {data.get('parts', '')}")
        if said and not data.get("abrasive"):
            self.add_error(
                "abrasive",
                f"“{said[0]}” sounds like abrasive: tick this, or call the step something else.",
            )
        return data

    @property
    def step_data(self):
        said = self.cleaned_data
        return {"text": said["text"], "parts": said["parts"], "blasts": said["abrasive"]}


class AnswerPointForm(ModelForm):
    """One line of the inspection; without a verdict the limit gives it."""

    verdict = forms.ChoiceField(required=False)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    class Meta:
        model = Inspection
        fields = [*Measured._fields, "verdict", "note"]

    def __init__(self, *args, point, answer=None, build=None, cylinders=None, **options):
        initial = {"version": answer.version} if answer else {}
        if answer and answer.verdict == proposed_verdict(point, Measured.of(answer), build):
            initial["verdict"] = ""  # the limit said so; it says so again when the value changes
        # A copy, because checking a form writes on its row.
        super().__init__(*args, instance=copy(answer), initial=initial, prefix=f"p{point.pk}", **options)
        self.point, self.answer, self.limit, self.build = point, answer, limit_of(point), build
        self.cylinders = cylinders
        self.fields["verdict"].choices = [
            ("", "by the limit" if self.limit else "no verdict"),
            *Inspection.Verdict.choices,
        ]
        self.fields["value"].unit = point.unit
        self.fields["value"].widget.attrs["aria-label"] = f"{point.label}, {point.unit}"
        self.fields["verdict"].widget.attrs["aria-label"] = f"{point.label}: verdict"
        self.fields["note"].widget.attrs |= {"aria-label": f"{point.label}: note", "placeholder": "note"}
        for name in set(Measured._fields) - self._measured():
            del self.fields[name]

    def _measured(self):
        """The names of what is typed here; a leak's value follows from the rest, unless it stands alone."""
        if not self.point.unit:
            return set()
        follows = self.point.measured_as == InspectionPoint.MeasuredAs.LEAK
        has_it_alone = self.answer and self.answer.value is not None and self.answer.start_kpa is None
        return {*beside(self.point), *(() if follows and not has_it_alone else ("value",))}

    @property
    def beside(self):
        """The fields of what is read beside the value."""
        return [self[name] for name in beside(self.point) if name in self.fields]

    @property
    def measured(self):
        """What was measured, as it now stands in the form."""
        now = self.cleaned_data if self.is_bound else self.initial
        return settled(self.point, Measured(*(now.get(name) for name in Measured._fields)))

    def clean_value(self):
        value = self.cleaned_data["value"]
        if wrong := impossible(self.point, value, self.cylinders):
            raise forms.ValidationError(wrong)
        return value

    @property
    def unusual(self):
        """What is unusual about the value as it now stands in the form."""
        if self.build is None or any(name in self.errors for name in Measured._fields):
            return ""
        return unusual(self.point, self.measured, self.build)

    @property
    def said_beside(self):
        """What was read beside the value, as it stands: by somebody else meanwhile, or as it was saved."""
        stands = self.current or self.answer
        return said_beside(self.point, Measured.of(stands)) if stands else ""

    @property
    def travel_offer(self):
        """What the head may take over of the value as it was saved."""
        if self.build is None or self.answer is None:
            return None
        return offer_on(self.build, inspected_travel(self.point, self.answer.value, self.build))

    def is_touched(self):
        """Whether the sender wrote on this line: anything at all where no answer was seen, else another."""
        if not self.data.get(self.add_prefix("version")):
            typed = (self.data.get(self.add_prefix(name), "") for name in self.fields)
            return any(text.strip() for text in typed)
        return bool(set(self.changed_data) - {"version"})


class PointForm(VersionedForm):
    """A line of the shop's inspection list."""

    class Meta:
        model = InspectionPoint
        fields = [
            "label",
            "unit",
            "measured_as",
            "low",
            "high",
            "possible_low",
            "possible_high",
            "limit_source",
            "triggers",
            "order",
            "in_use",
        ]
        help_texts = {
            "measured_as": "A winding is held against its limits at 20 °C, where a maker's figures hold too "
            "unless they say otherwise; a leak-down against what is lost in a minute.",
            "possible_high": "A value beyond is refused as mistyped; left empty, its unit says.",
        }

    triggers = forms.MultipleChoiceField(
        label="Only for these triggers", required=False, widget=forms.CheckboxSelectMultiple
    )

    def __init__(self, *args, **options):
        super().__init__(*args, **options)
        self.fields["measured_as"].required = False
        self.fields["triggers"].choices = Unit.Trigger.choices
        if self.instance.pk:
            self.initial["triggers"] = [key for key in self.instance.triggers.split(",") if key]

    def clean_measured_as(self):
        return self.cleaned_data["measured_as"] or self.instance.measured_as

    def clean_triggers(self):
        return ",".join(self.cleaned_data["triggers"])

    def clean(self):
        data = super().clean()
        low, high = data.get("low"), data.get("high")
        if low is not None and high is not None and low > high:
            self.add_error("high", f"The upper limit must not lie below the lower one, {low:g}.")
        units = UNITS.get(data.get("measured_as"))
        if units and data.get("unit") not in units:
            self.add_error("unit", f"Measured so, it is read in {' or '.join(units)}.")
        self._check_possible(data, [limit for limit in (low, high) if limit is not None])
        return data

    def _check_possible(self, data, limits):
        """What is possible reaches at least over what is good."""
        least, most = data.get("possible_low"), data.get("possible_high")
        if least is not None and most is not None and least > most:
            self.add_error("possible_high", f"It must not lie below where it begins, {least:g}.")
        elif least is not None and limits and least > min(limits):
            self.add_error("possible_low", f"The limit goes down to {min(limits):g}: so must this.")
        elif most is not None and limits and most < max(limits):
            self.add_error("possible_high", f"The limit goes up to {max(limits):g}: so must this.")
