"""The target of a card: its points, where they may start from, and what can be said of them at once."""

from typing import Any

from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from curves.figures import charts, svg
from curves.readings.forms import TargetForm
from curves.rows import convert
from curves.target import plausibility, starts
from curves.target.starts import NoStart
from curves.target.target_forms import PastForm, ResponsesForm, SlopesForm, SweepForm
from jobs.curvework import actions
from jobs.curvework.sweeps import engine_of, writable
from jobs.models import Job
from jobs.queries import card_for
from jobs.rules.agreed_for import earlier_engine_words
from shop import notes
from shop.pages import go, page
from shop.versions import Conflict
from shop.words import several

STARTS = {"slopes": SlopesForm, "past": PastForm, "responses": ResponsesForm, "sweep": SweepForm}


@require_http_methods(["GET", "POST"])
def target(request, number):
    job = writable(request, number)
    row = getattr(job.build, "target", None)
    drive = convert.drive_of(job.build)
    version = {"version": row.version if row else 0}
    if request.method == "GET":
        shown = [(p.crank_rpm, p.crank_deg, p.tolerance_crank_deg) for p in row.points.all()] if row else []
        start, asking = _start(request, job)
        initial = version | (start.initial if start else {})
        form = TargetForm(drive=drive, instance=row, initial=initial, shown=start.points if start else shown)
        return _show(request, job, form, start=start, asking=asking)
    form = TargetForm(request.POST, drive=drive, instance=row, initial=version)
    if form.is_valid() and "check" not in request.POST:
        try:
            actions.save_target(
                job, form.target_values, form.rows, by=request.user, version=form.cleaned_data["version"]
            )
        except Conflict as conflict:
            form.show_conflict(conflict.current)
        else:
            notes.leave(request, f"The target is saved: {several(len(form.rows), 'point')}.")
            return go(request, f"{reverse('card', args=[number])}?open=spring_trials#stage-spring_trials")
    return _show(request, job, form)


@require_POST
def target_check(request, number):
    """What can be said of the target as typed so far; nothing is saved."""
    job = writable(request, number)
    form = TargetForm(request.POST, drive=convert.drive_of(job.build))
    return render(request, "curves/target/_target_checks.html", _looked_at(job, form))


def _show(request, job, form, *, start=None, asking=None):
    context: dict[str, Any] = {"job": job, "form": form, "start": start, "asking": asking or _forms(job)}
    context["earlier_engine"] = earlier_engine_words(job)
    context |= {"sweeps": job.build.sweeps.filter(removed=False), **_looked_at(job, form)}
    status = 422 if any(one.is_bound and one.errors for one in context["asking"].values()) else form.status
    fragment = "curves/target/_target_form.html"
    return page(request, "curves/target/target.html", context, fragment=fragment, status=status)


def _looked_at(job, form):
    """The chart with the points as they stand, the checks, and the initial timings to choose from."""
    typed = plausibility.typed_target(form)
    figure = charts.figure(job.build, target=typed)
    return {
        "figure": figure,
        "svg": svg.svg(figure),
        "plot": svg.screen_plot(figure),
        "checks": plausibility.checks_of(typed, job.build, engine_of(job)),
        "choices": plausibility.choices_of(typed, job.build),
    }


def _forms(job):
    row = getattr(job.build, "target", None)
    known = {"initial_crank_deg": row.initial_crank_deg} if row else {}
    return {name: form(initial=known, auto_id=f"{name}-%s") for name, form in STARTS.items()}


def _start(request, job):
    """What was asked to start from, and the forms that ask; a refusal stands in the form that asked."""
    asking, kind = _forms(job), request.GET.get("start")
    if kind not in STARTS:
        return None, asking
    form = asking[kind] = STARTS[kind](request.GET, auto_id=f"{kind}-%s")
    if not form.is_valid():
        return None, asking
    try:
        return _made_of(kind, form.cleaned_data, request, job), asking
    except NoStart as refusal:
        form.add_error(None, str(refusal))
        return None, asking


def _made_of(kind, data, request, job):
    if kind == "slopes":
        return starts.of_two_slopes(**data)
    if kind == "responses":
        return starts.of_responses(job.build, data["initial_crank_deg"])
    if kind == "sweep":
        sweep = job.build.sweeps.filter(number=data["number"], removed=False).first()
        if sweep is None:
            raise NoStart(f"There is no sweep {data['number']} on this card.")
        return starts.of_sweep(sweep, job.build, engine_of(job))
    if not Job.objects.filter(number=data["job"]).exists():
        raise NoStart(f"There is no job {data['job']}: write the number of a card.")
    past = card_for(request.user, data["job"])
    if past.build.practice_seed is not None and job.build.practice_seed is None:
        raise NoStart(f"{past} is a practice card: its unit is invented.")
    make = starts.of_target if data["take"] == "target" else starts.of_final_curve
    return make(past.build, str(past))
