"""What the search page asks for: words, an engine, a card to be like, and which cards to look at."""

from django import forms
from django.core.exceptions import ValidationError

from jobs.models import Engine, Job
from jobs.search.similarity import Wanted
from shop.forms import Form, NumberField, WholeField

OPEN, BACK = "open", "back"
MAX_SHOWN = 300


class SearchForm(Form):
    words = forms.CharField(label="Anything written on a card", max_length=200, required=False)
    displacement = NumberField(label="Displacement (cc)", required=False, min_value=20, max_value=30000)
    compression = NumberField(label="Compression (to 1)", required=False, min_value=3, max_value=20)
    cylinders = WholeField(required=False, min_value=1, max_value=16)
    use = forms.ChoiceField(choices=[("", "Any"), *Engine.Use.choices], required=False)
    like = WholeField(label="Like job", required=False, min_value=1, max_value=2**31 - 1)
    which = forms.ChoiceField(
        label="Cards", choices=[("", "All"), (OPEN, "Open"), (BACK, "Closed")], required=False
    )
    shown = forms.IntegerField(required=False, min_value=1, max_value=MAX_SHOWN, widget=forms.HiddenInput)

    def __init__(self, data=None):
        super().__init__(data, auto_id="search-%s")
        self.fields["words"].widget = forms.TextInput(
            attrs={"type": "search", "autocomplete": "off", "autocapitalize": "none", "autofocus": True}
        )

    def clean_like(self):
        """The card whose engine is looked for."""
        number = self.cleaned_data["like"]
        if number is None:
            return None
        job = Job.objects.real().select_related("engine").filter(number=number).first()
        if job is None:
            raise ValidationError(f"There is no job {number}: write the number of a card.")
        if job.engine is None:
            raise ValidationError(
                f"No engine is written on job {number}: write one there, or type its figures."
            )
        return job

    @property
    def asks_for_engine(self):
        """Whether any field about the engine is filled in, readable or not."""
        return any(self[name].value() for name in ("displacement", "compression", "cylinders", "use", "like"))

    @property
    def wanted(self):
        """The engine looked for: as typed, and where nothing was typed as on the card named."""
        data = self.cleaned_data
        typed = Wanted(data["displacement"], data["compression"], data["cylinders"], data["use"])
        return typed.or_else(Wanted.like(data["like"].engine)) if data["like"] else typed

    @property
    def closed(self):
        return {OPEN: False, BACK: True}.get(self.cleaned_data["which"])
