"""The sections of a card: in which stage each stands, and how those with a form make and save it."""

from collections.abc import Callable
from dataclasses import dataclass
from types import SimpleNamespace

from django import forms

from jobs.intake import actions
from jobs.intake.forms import AgreedForm, EngineForm, OwnerForm, UnitForm, named
from jobs.models import Job
from jobs.money.forms import EstimateForm
from jobs.moves.hand_back_forms import SettingForm
from jobs.stages import Stage


@dataclass(frozen=True)
class Editing:
    """How a section is edited in place: the right it takes, its form, its saving, and what stands now."""

    right: str
    form: Callable  # (job, data or None) -> form
    save: Callable  # (job, form, person, version)
    standing: Callable  # (job as someone else saved it) -> the row to show beside what was typed


@dataclass(frozen=True)
class Section:
    stage: Stage | None  # none: below the stages
    editing: Editing | None = None


def _owner_form(job, data):
    return OwnerForm(data, customer=job.customer, initial={} if job.customer else {"stock": True})


def _save_owner(job, form, by, version):
    actions.change_owner(job, form.cleaned_data["owner"], by=by, version=version)


def _standing_owner(job):
    return SimpleNamespace(customer=named(job.customer) if job.customer else "", stock=job.is_stock)


def _unit_form(job, data):
    build = job.build
    form = UnitForm(
        data, instance=job.unit, initial={"travel_stamped_deg": build.travel_stamped_deg}, prefix="unit"
    )
    # The stamping stands at the build, where the head's page writes it too.
    form.fields["build_version"] = forms.IntegerField(
        widget=forms.HiddenInput, initial=build.version, required=False
    )
    return form


def _save_unit(job, form, by, version):
    said = form.cleaned_data
    stamped, seen = said["travel_stamped_deg"], said["build_version"] or job.build.version
    actions.change_unit(
        job, form.row_data(), by=by, version=version, travel_stamped_deg=stamped, build_version=seen
    )


def _standing_unit(job):
    """The unit with what its form writes at the build."""
    job.unit.travel_stamped_deg = job.build.travel_stamped_deg
    job.unit.build_version = job.build.version
    return job.unit


def _save_engine(job, form, by, version):
    actions.change_engine(job, form.row_data(), by=by, version=version)


def _save_fields(verb, right="edit_intake"):
    def save(job, form, by, version):
        actions.change_card(job, form.row_data(), by=by, version=version, right=right, verb=verb)

    return save


def _itself(job):
    return job


SECTIONS = {
    "owner": Section(Stage.INTAKE, Editing("edit_intake", _owner_form, _save_owner, _standing_owner)),
    "unit": Section(Stage.INTAKE, Editing("edit_intake", _unit_form, _save_unit, _standing_unit)),
    "engine": Section(
        Stage.INTAKE,
        Editing(
            "edit_intake",
            lambda job, data: EngineForm(data, instance=job.engine, prefix="engine"),
            _save_engine,
            lambda job: job.engine,
        ),
    ),
    "agreed": Section(
        Stage.INTAKE,
        Editing(
            "edit_intake",
            lambda job, data: AgreedForm(data, instance=job),
            _save_fields("changed the intake"),
            _itself,
        ),
    ),
    "inspection": Section(Stage.TEARDOWN),
    "findings": Section(Stage.TEARDOWN),
    "parts": Section(Stage.TEARDOWN),
    "answer": Section(
        Stage.TEARDOWN,
        Editing(
            "edit_intake",
            lambda job, data: EstimateForm(data, instance=job),
            _save_fields("revised the estimate"),
            _itself,
        ),
    ),
    "cleaning": Section(Stage.CLEANING),
    "assembly": Section(Stage.BENCH_CURVE),
    "setting": Section(
        Stage.HAND_BACK,
        Editing(
            "edit_intake",
            lambda job, data: SettingForm(data, instance=job),
            _save_fields("wrote the setting instructions"),
            _itself,
        ),
    ),
    "hand_back": Section(Stage.HAND_BACK),
    "photos": Section(None),
    "returned": Section(None),
}


def stage_of(section, job):
    """The stage in which a section stands; parts move along to hand-back, where they are handed over."""
    if section == "parts" and (job.is_closed or job.stage == Stage.HAND_BACK):
        return Stage.HAND_BACK
    return SECTIONS[section].stage or job.stage


def versioned(form, row):
    """The form with the version of the card or line that it was rendered from."""
    form.fields["version"] = forms.IntegerField(widget=forms.HiddenInput, initial=row.version)
    return form


def look_again(form):
    """After a conflict: what the form carries hidden is what stands now, as its version is."""
    for field in form.hidden_fields():
        if hasattr(form.current, field.name):
            form.data[field.html_name] = getattr(form.current, field.name)


def fresh(job):
    """The card as it stands in the database now, with what its sections point at."""
    return Job.objects.select_related("customer", "engine", "unit", "build").get(pk=job.pk)
