"""What every form shares: numbers as typed, errors that name the way out, the version that guards a row."""

import datetime
import re

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.forms.models import ModelFormMetaclass

from shop.numbers import ANY, SPEED_DECIMALS, Unreadable, plain_number, plainly
from shop.versions import Conflict, save_versioned

WORDS = {
    "required": "Needed: fill it in.",
    "max_length": "Too long: %(show_value)s characters where %(limit_value)s fit. Shorten it.",
    "min_value": "%(show_value)s is too low: write %(limit_value)s or more.",
    "max_value": "%(show_value)s is too high: write %(limit_value)s or less.",
    "invalid_choice": "Not on the list: pick one of the choices.",
    "unique": "Taken already: choose another.",
}
EMAIL_WORDS = "Not an email address: write it as name@example.org."
_UNIT = re.compile(r"(.+) \(([^()]+)\)")


class _AsTyped:
    """Reads what people type before the field does; shows a stored number without a tail of zeros."""

    decimals = None  # how many there can be; None: any number
    of_column = ()  # the validators of the column that it fills
    unit: str  # beside it on the page, if it has one

    def to_python(self, value):
        if value in self.empty_values:
            return None
        if isinstance(value, str):
            try:
                value = plain_number(value, decimals=self.decimals, limits=self.limits)
            except Unreadable as error:
                raise ValidationError(str(error), code="invalid") from error
        return super().to_python(value)

    @property
    def limits(self):
        """From where to where a number can go in here, both included."""
        every = [*self.validators, *self.of_column]
        low = [one.limit_value for one in every if isinstance(one, MinValueValidator)]
        high = [one.limit_value for one in every if isinstance(one, MaxValueValidator)]
        return max(low, default=ANY[0]), min(high, default=ANY[1])

    def prepare_value(self, value):
        return plainly(f"{value:.10g}") if isinstance(value, float) else value


def _number_input(mode):
    return forms.TextInput(attrs={"inputmode": mode, "autocomplete": "off"})


class NumberField(_AsTyped, forms.FloatField):
    """A number: text input, decimal keys, comma or point; text, NaN and infinity are refused."""

    widget = _number_input("decimal")
    default_error_messages = {"invalid": "Not a number that can be kept: write digits."}


class SpeedField(NumberField):
    """A speed in rpm; in it a mark before three digits groups thousands."""

    decimals = SPEED_DECIMALS


class DecimalField(_AsTyped, forms.DecimalField):
    """An exact decimal, for money and counts."""

    widget = _number_input("decimal")
    default_error_messages = {
        "invalid": "Not a number that can be kept: write digits.",
        "max_decimal_places": "Too many decimals: write at most %(max)s.",
        "max_whole_digits": "Too large: write at most %(max)s digits before the decimal mark.",
        "max_digits": "Too many digits: write at most %(max)s.",
    }

    @property
    def decimals(self):
        return self.decimal_places


class WholeField(_AsTyped, forms.IntegerField):
    """A whole number; in it a mark before three digits groups thousands."""

    decimals = 0
    widget = _number_input("numeric")
    default_error_messages = {"invalid": "Not a whole number: write digits, without decimals."}


class DateField(forms.DateField):
    """A day between ``earliest`` and ``latest``; a mistyped century is refused."""

    widget = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
    default_error_messages = {
        "invalid": "Not a date: write it as year-month-day, 2026-05-31.",
        "range": "%(value)s can't be right: write a day from %(earliest)s to %(latest)s.",
    }

    def __init__(self, *, earliest=datetime.date(2000, 1, 1), latest=datetime.date(2099, 12, 31), **options):
        self.earliest, self.latest = earliest, latest
        super().__init__(**options)

    def validate(self, value):
        super().validate(value)
        if value is not None and not self.earliest <= value <= self.latest:
            params = {"value": value, "earliest": self.earliest, "latest": self.latest}
            raise ValidationError(self.error_messages["range"], code="range", params=params)


class MomentField(forms.DateTimeField):
    """A day and a time of day, to the minute, in the shop's time zone."""

    widget = forms.DateTimeInput(format="%Y-%m-%dT%H:%M", attrs={"type": "datetime-local"})
    default_error_messages = {"invalid": "Not a day and time: write them as 2026-05-31T14:20."}


# Which of our fields stands for which column; the first that fits.
_FIELDS = [
    (models.FloatField, NumberField),
    (models.DecimalField, DecimalField),
    (models.IntegerField, WholeField),
    (models.DateTimeField, None),
    (models.DateField, DateField),
]


def _form_field(column, **options):
    ours = next((field for kind, field in _FIELDS if isinstance(column, kind)), None)
    if ours:
        options.setdefault("form_class", ours)
    field = column.formfield(**options)
    if isinstance(field, _AsTyped):
        field.of_column = column.validators
    return field


class BoundField(forms.BoundField):
    """A field on a page, with its unit and, after a conflict, what stands there now."""

    @property
    def unit(self):
        return getattr(self.field, "unit", "")

    @property
    def is_long(self):
        """Whether it takes a long text, and with it the whole width."""
        return self.widget_type == "textarea" or (getattr(self.field, "max_length", None) or 0) >= 200

    @property
    def must_be_typed(self):
        """Whether something has to be written in it: a list has something chosen, or says what it wants."""
        return self.field.required and self.widget_type != "select"

    @property
    def stands(self):
        """What the row holds now, in words, where it differs from what was typed; else an empty string."""
        current = self.form.current
        if current is None or not hasattr(current, self.name):
            return ""
        stored = getattr(current, self.name)
        if not self.field.has_changed(stored, self.data):
            return ""
        shown = getattr(current, f"get_{self.name}_display", lambda: self.field.prepare_value(stored))()
        return "empty" if shown in (None, "") else str(shown)


class SharedForm:
    """What Form and ModelForm have in common."""

    bound_field_class = BoundField
    use_required_attribute = False  # our own words, and all at once
    current = None  # the row as someone else saved it meanwhile
    adds = False  # whether it writes a new line beside the others, in nobody's place

    def __init__(self, *args, **options):
        super().__init__(*args, **options)
        for field in self.fields.values():
            _speak(field)

    @property
    def status(self):
        """The HTTP status of a page that shows this form."""
        if self.current is not None:
            return 409
        return 422 if self.is_bound and self.errors else 200

    @property
    def conflict_words(self):
        """What a sender does after a conflict, in words that are true of this form."""
        if self.adds:
            return (
                "What you typed is kept below. See what was saved first: saved again, yours is added to it."
            )
        if any(field.stands for field in self.visible_fields()):
            return (
                "What you typed is kept below, with what stands now beside it. Change what you want and save "
                "again: yours then replaces theirs."
            )
        return "What you typed is kept below. Look at what stands now, then save again."

    def show_conflict(self, current):
        """Keep what was typed, show what stands, and let the next send overwrite it knowingly."""
        self.current = current
        self.data = self.data.copy()
        self.data[self.add_prefix("version")] = current.version


def _speak(field):
    """Give a field our words, and take the unit out of its label."""
    field.error_messages |= WORDS
    if isinstance(field, forms.EmailField):
        field.error_messages["invalid"] = EMAIL_WORDS
    with_unit = _UNIT.fullmatch(str(field.label or ""))
    if with_unit:
        field.label, field.unit = with_unit.groups()


class Form(SharedForm, forms.Form):
    """The base of every form that is no row."""


class _ModelFormMetaclass(ModelFormMetaclass):
    """Lets every column be typed in our own fields."""

    def __new__(mcs, name, bases, attrs):
        if "Meta" in attrs:
            attrs["Meta"].formfield_callback = staticmethod(_form_field)
        return super().__new__(mcs, name, bases, attrs)


class ModelForm(SharedForm, forms.ModelForm, metaclass=_ModelFormMetaclass):
    """The base of every form that makes or edits a row."""


class VersionedForm(ModelForm):
    """Edits a row that carries a version; ``store`` never overwrites what someone else saved meanwhile."""

    version = forms.IntegerField(widget=forms.HiddenInput)

    def store(self):
        """Save the valid form; False when someone else was first, and the form then shows both."""
        names = [name for name in self.fields if name in self._meta.fields]
        try:
            save_versioned(self.instance, self.cleaned_data["version"], names)
        except Conflict as conflict:
            self.show_conflict(conflict.current)
            return False
        return True
