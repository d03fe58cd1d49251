"""The forms of the last stage: how to set the unit, to whom it goes, and what is said of it on the road."""

from django import forms

from jobs.models import Job, RoadReport
from jobs.stages import Stage
from shop.forms import DateField, Form, ModelForm
from shop.idempotency import OnceField


class SettingForm(ModelForm):
    """What the next person with a timing light has to do."""

    class Meta:
        model = Job
        fields = ["setting_note"]

    def __init__(self, *args, **options):
        super().__init__(*args, **options)
        self.fields["setting_note"].wide = True

    def row_data(self):
        return {"setting_note": self.cleaned_data["setting_note"]}


class HandBackForm(Form):
    """The last move: to whom, until when the work is warranted, and why if something is missing."""

    stage = forms.ChoiceField(choices=Stage.choices, widget=forms.HiddenInput)
    lacked = forms.CharField(widget=forms.HiddenInput, required=False)  # what was missing on the page
    handed_to = forms.CharField(label="Handed to", max_length=120)
    warranty_until = DateField(label="Warranty until", required=False)
    reason = forms.CharField(label="Why without it", max_length=300, required=False)


class MoveForm(Form):
    """A move from the stage that was on the screen to the one before or after it."""

    stage = forms.ChoiceField(choices=Stage.choices, widget=forms.HiddenInput)
    to = forms.ChoiceField(choices=Stage.choices, widget=forms.HiddenInput)
    lacked = forms.CharField(widget=forms.HiddenInput, required=False)
    reason = forms.CharField(label="Why", max_length=300, required=False)


class RoadReportForm(ModelForm):
    """What the unit did on the road; the unit may come back to the bench with it."""

    once = OnceField()
    reopen = forms.BooleanField(required=False, widget=forms.HiddenInput)

    class Meta:
        model = RoadReport
        fields = ["text"]


class AllocateForm(Form):
    """Who takes a unit off the shop's shelf, when, and the signature under the sheet that names them."""

    on = DateField(label="Handed over on")
    handed_to = forms.CharField(label="Handed to", max_length=120, required=False)
    warranty_until = DateField(label="Warranty until", required=False)
    password = forms.CharField(
        label="Your password, to sign the new curve sheet",
        required=False,
        strip=False,
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
        help_text="It names the new owner. Left empty, the sheet waits to be signed.",
    )
