"""Forms of the spring trials: what may be done to the head, and the pair that is fitted next."""

from django import forms

from curves.models import Run
from curves.trials import BEND_LIMIT_MM, Choices
from shop.forms import Form, ModelForm, NumberField
from shop.once import OnceField

MOST_BEND_MM = 3


class ChoicesForm(Form):
    """What the person allows: part of the address, so that a choice can be shared and undone."""

    bend = NumberField(
        label="Posts may be bent by up to (mm)", required=False, min_value=0, max_value=MOST_BEND_MM
    )
    travel = NumberField(
        label="The stop may be set down to (distributor deg)",
        required=False,
        min_value=1,
        max_value=30,
        help_text="Left empty, the travel stays as it is.",
    )
    initial = forms.BooleanField(label="The initial timing may move in the range agreed", required=False)

    @classmethod
    def sent(cls, query):
        """The form as the address has it; without any, the usual choices."""
        asked = any(name in query for name in cls.base_fields)
        return cls(query if asked else {"bend": f"{BEND_LIMIT_MM:g}"})

    @property
    def choices(self):
        """The choices made; for one that can't be read, refused beside its field, the usual one counts."""
        said = self.cleaned_data if self.is_valid() else getattr(self, "cleaned_data", {})
        bend = said.get("bend", BEND_LIMIT_MM)
        return Choices(bend or 0.0, said.get("travel"), bool(said.get("initial")))

    @property
    def query(self):
        """The choices as part of an address."""
        kept = {name: self.data.get(name) for name in self.base_fields if self.data.get(name)}
        return "&".join(f"{name}={value}" for name, value in kept.items())


class FitForm(ModelForm):
    """A pair to hang in and where its posts go: the run that is made of it is ready to be read."""

    once = OnceField()

    class Meta:
        model = Run
        fields = ["primary", "secondary", "primary_bend_mm", "secondary_bend_mm"]

    def __init__(self, *args, springs, **options):
        super().__init__(*args, **options)
        self.fields["primary"].queryset = self.fields["secondary"].queryset = springs
        self.fields["primary"].required = True

    @property
    def run_values(self):
        return {name: self.cleaned_data[name] for name in self._meta.fields}
