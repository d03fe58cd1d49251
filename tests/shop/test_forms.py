"""What every form shares: fields that read what people type, words that name the way out, conflicts."""

import datetime
from decimal import Decimal

import pytest
from django.template.loader import render_to_string

from curves.models import Build, Spring
from jobs.models import Engine, Job
from shop.forms import DateField, DecimalField, Form, ModelForm, NumberField, VersionedForm, WholeField
from tests import build
from tests.typed import MEANT


class Sample(Form):
    speed = NumberField(label="Speed (crank rpm)", min_value=0, max_value=20000)
    price = DecimalField(max_digits=9, decimal_places=2, required=False)
    months = WholeField(required=False)
    day = DateField(required=False)


class EngineForm(ModelForm):
    class Meta:
        model = Engine
        fields = ["make", "year", "compression", "displacement_cc", "use", "induction"]


class JobForm(ModelForm):
    class Meta:
        model = Job
        fields = ["promised_on", "estimate"]


class SpringForm(VersionedForm):
    class Meta:
        model = Spring
        fields = ["label", "rate_n_per_mm", "position", "quantity", "note"]


def errors_of(data):
    return {name: " ".join(words) for name, words in Sample(data).errors.items()}


def test_fields_read_a_decimal_comma():
    form = Sample({"speed": "1250,5", "price": "12,50", "months": "12", "day": "2026-05-31"})
    assert form.is_valid()
    assert form.cleaned_data == {
        "speed": 1250.5,
        "price": Decimal("12.50"),
        "months": 12,
        "day": datetime.date(2026, 5, 31),
    }


@pytest.mark.parametrize("typed", ["nan", "NaN", "inf", "-inf", "Infinity", "abc", "1e999", "9" * 400])
def test_a_number_that_is_none_is_refused_and_kept(typed):
    form = Sample({"speed": typed})
    assert "write digits" in errors_of({"speed": typed})["speed"]
    assert form["speed"].value() == typed
    assert form.status == 422


@pytest.mark.parametrize("typed", ["nan", "inf", "sNaN", "1e5", "12,345,6"])
def test_money_is_refused_the_same_way(typed):
    assert "write digits" in errors_of({"speed": "1", "price": typed})["price"]


@pytest.mark.parametrize(
    ("data", "field", "words"),
    [
        ({}, "speed", "Needed: fill it in."),
        ({"speed": "-1"}, "speed", "-1.0 is too low: write 0 or more."),
        ({"speed": "20001"}, "speed", "20001.0 is too high: write 20000 or less."),
        ({"speed": "1,234"}, "speed", "“1,234” can be read two ways: write 1234 or 1.2340."),
        ({"speed": "1", "price": "1.2345"}, "price", "Too many decimals: write at most 2."),
        ({"speed": "1", "months": "1,8000"}, "months", "Not a whole number: write digits, without decimals."),
        ({"speed": "1", "months": "1,5"}, "months", "Not a whole number: write digits, without decimals."),
        ({"speed": "1", "months": "9" * 5000}, "months", "Not a whole number"),
        ({"speed": "1", "day": "31/05/26x"}, "day", "Not a date: write it as year-month-day, 2026-05-31."),
        (
            {"speed": "1", "day": "1870-01-01"},
            "day",
            "1870-01-01 can't be right: write a day from 2000-01-01",
        ),
    ],
)
def test_a_refusal_names_cause_and_way_out(data, field, words):
    assert words in errors_of(data)[field]


def test_a_thousands_mark_is_understood_where_it_can_be_nothing_else():
    for mark in ".,":
        form = Sample({"speed": "1", "months": f"1{mark}800", "price": f"1{mark}900"})
        assert form.is_valid()
        assert (form.cleaned_data["months"], form.cleaned_data["price"]) == (1800, 1900)


@pytest.mark.parametrize(("typed", "decimals", "limits", "number"), MEANT)
def test_a_field_understands_what_has_one_meaning(typed, decimals, limits, number):
    low, high = limits
    field = NumberField(min_value=low, max_value=high)
    field.decimals = decimals
    assert field.clean(typed) == number


@pytest.mark.django_db
def test_limits_of_a_column_leave_one_meaning():
    form = EngineForm(
        {"make": "Larkfield", "compression": "9.125", "displacement_cc": "1.798", "use": "road"}
    )
    assert form.is_valid(), form.errors
    assert (form.cleaned_data["compression"], form.cleaned_data["displacement_cc"]) == (9.125, 1798)


def test_a_stored_number_comes_back_as_itself():
    field = NumberField()
    for number in (1.125, -12.5, 812.375, 1200.0, 0.125):
        assert field.clean(field.prepare_value(number)) == number


def test_columns_become_fields_for_what_people_type():
    form = EngineForm()
    assert type(form.fields["compression"]) is NumberField
    assert type(form.fields["displacement_cc"]) is WholeField
    assert type(JobForm().fields["promised_on"]) is DateField
    assert type(JobForm().fields["estimate"]) is DecimalField


def test_the_unit_leaves_the_label_and_stands_after_the_number():
    field = EngineForm()["displacement_cc"]
    assert (field.label, field.unit) == ("Displacement", "cc")
    assert EngineForm()["make"].unit == ""


@pytest.mark.django_db
def test_limits_of_a_column_speak_our_words():
    form = EngineForm({"make": "Larkfield", "compression": "25", "use": "moon"})
    assert form.errors["compression"] == ["25.0 is too high: write 20 or less."]
    assert form.errors["use"] == ["Not on the list: pick one of the choices."]


def test_a_stored_number_is_shown_without_a_tail():
    form = Sample(initial={"speed": 1250.0})
    assert 'value="1250"' in str(form["speed"])
    assert 'inputmode="decimal"' in str(form["speed"])
    assert 'type="text"' in str(form["speed"])


def test_an_untouched_number_counts_as_unchanged():
    assert not Sample({"speed": "1250"}, initial={"speed": 1250.0}).has_changed()
    assert Sample({"speed": "1250,5"}, initial={"speed": 1250.0}).has_changed()


def test_an_error_is_tied_to_its_field():
    html = render_to_string("shop/_field.html", {"field": Sample({"speed": "x<b>"})["speed"]})
    assert 'aria-describedby="id_speed_error"' in html
    assert 'id="id_speed_error"' in html
    assert 'aria-invalid="true"' in html
    assert "<b>" not in html
    assert 'value="x&lt;b&gt;"' in html


def test_the_summary_leads_to_each_field():
    html = render_to_string("shop/_errors.html", {"form": Sample({"speed": "x", "day": "y"})})
    assert "2 things to put right" in html
    assert 'href="#id_speed"' in html
    assert 'href="#id_day"' in html
    assert 'role="alert"' in html


def test_a_form_as_it_should_be_has_no_summary():
    assert not render_to_string("shop/_errors.html", {"form": Sample({"speed": "1"})}).strip()
    assert not render_to_string("shop/_errors.html", {"form": Sample()}).strip()


@pytest.mark.django_db
class TestConflict:
    def conflict(self):
        """One person opens the form, another saves, the first saves too."""
        spring = build.spring("P-12", rate_n_per_mm=1.5, note="light")
        typed = {
            "label": "P-12",
            "rate_n_per_mm": "1,7",
            "position": "primary",
            "quantity": "4",
            "note": "mine",
        }
        form = SpringForm(typed | {"version": spring.version}, instance=Spring.objects.get(pk=spring.pk))
        theirs = SpringForm(
            typed | {"version": 1, "rate_n_per_mm": "1.6", "note": ""},
            instance=Spring.objects.get(pk=spring.pk),
        )
        assert theirs.is_valid()
        assert theirs.store()
        assert form.is_valid()
        return form

    def test_the_second_to_save_overwrites_nothing(self):
        form = self.conflict()
        assert form.store() is False
        spring = Spring.objects.get()
        assert (spring.rate_n_per_mm, spring.note, spring.version) == (1.6, "", 2)
        assert form.status == 409

    def test_both_sides_are_shown(self):
        form = self.conflict()
        form.store()
        assert form["rate_n_per_mm"].value() == "1,7"
        assert form["rate_n_per_mm"].stands == "1.6"
        assert form["note"].value() == "mine"
        assert form["note"].stands == "empty"
        assert form["label"].stands == ""  # the same on both sides
        html = render_to_string("shop/_field.html", {"field": form["rate_n_per_mm"]})
        assert "Now stands: <b>1.6</b>" in html

    def test_a_number_that_both_wrote_is_no_difference(self):
        form = self.conflict()
        Spring.objects.update(rate_n_per_mm=1.7)
        form.store()
        assert form["rate_n_per_mm"].stands == ""

    def test_a_choice_stands_there_in_words(self):
        form = self.conflict()
        Spring.objects.update(position="secondary")
        form.store()
        assert form["position"].stands == "secondary"

    def test_saving_again_replaces_knowingly(self):
        form = self.conflict()
        form.store()
        again = SpringForm(form.data, instance=Spring.objects.get())
        assert again.is_valid()
        assert again.store()
        assert (Spring.objects.get().rate_n_per_mm, Spring.objects.get().version) == (1.7, 3)

    def test_a_form_without_a_version_is_refused(self):
        row = build.build()

        class BuildForm(VersionedForm):
            class Meta:
                model = Build
                fields = ["scale_deg"]

        form = BuildForm({"scale_deg": "0.5"}, instance=row)
        assert "version" in form.errors
        assert "open the page again" in render_to_string("shop/_errors.html", {"form": form})
