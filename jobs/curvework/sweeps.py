"""Sweeps on the engine: what the light read, what that says, and how the engine answered to timing."""

from functools import partial
from typing import Any

from django.http import Http404
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from curves.figures import sweep_figures
from curves.judging import responses, sweeps, timing
from curves.judging.sweep_forms import ChangeResponseForm, ChangeSweepForm, NewResponseForm, NewSweepForm
from curves.models import Response, Sweep
from curves.rows import convert
from jobs.curvework import sweep_actions as actions
from jobs.queries import card_for
from jobs.rules.guards import require_open
from shop import idempotency, notes
from shop.models import Shop
from shop.pages import go, page
from shop.rights import require
from shop.versions import Conflict
from shop.words import several


@require_GET
def sweeps_of_job(request, number):
    """All sweeps of a card with what they say, drawn; for htmx, the summary that stands on the card."""
    job = card_for(request.user, number)
    when = request.GET.get("when")
    when = when if request.htmx and when in Sweep.When.values else ""
    set_up = engine_of(job)
    said = [
        sweeps.result_of(row, job.build, set_up)
        for row in sweeps.sweeps_of(job.build)
        if when in ("", row.when)
    ]
    answers = [responses.result_of(row) for row in responses.responses_of(job.build)]
    context = {
        "job": job,
        "may_edit": _may(request, job),
        "when": when,
        "sweeps": [(one, None if when else sweep_figures.drawn(one, job.build)) for one in said],
        "responses": [(one, None if when else sweep_figures.response_drawing(one)) for one in answers],
    }
    return page(request, "curves/judging/sweeps.html", context, fragment="curves/judging/_sweeps.html")


def engine_of(job):
    """What the engine of a card asks for, in crank rpm."""
    engine = job.engine
    return timing.Engine(
        engine.idle_crank_rpm if engine else None,
        engine.top_crank_rpm if engine else None,
        Shop.current().idle_margin_crank_rpm,
    )


@require_http_methods(["GET", "POST"])
def sweep_new(request, number):
    job = writable(request, number)
    asked = request.GET.get("when")
    initial = {"when": asked} if asked in Sweep.When.values else {}
    return _new(request, job, NewSweepForm, actions.add_sweep, _show_sweep, initial)


@require_http_methods(["GET", "POST"])
def sweep(request, number, sweep):
    job, row = _readable(request, number, Sweep, sweep)
    if not _may(request, job):
        if request.method == "POST":
            writable(request, number)
        return _show_sweep(request, job, None, row)
    shown = [(r.crank_rpm, r.crank_deg, r.part_throttle) for r in row.readings.all()]
    return _change(request, job, row, shown, ChangeSweepForm, actions.change_sweep, _show_sweep)


@require_http_methods(["GET", "POST"])
def response_new(request, number):
    job = writable(request, number)
    return _new(request, job, NewResponseForm, actions.add_response, _show_response, {})


@require_http_methods(["GET", "POST"])
def response(request, number, response):
    job, row = _readable(request, number, Response, response)
    if not _may(request, job):
        if request.method == "POST":
            writable(request, number)
        return _show_response(request, job, None, row)
    shown = [(r.crank_deg, r.value) for r in row.readings.all()]
    return _change(request, job, row, shown, ChangeResponseForm, actions.change_response, _show_response)


@require_GET
def responses_of_job(request, number):
    """The response sweeps stand with the others, under their own heading."""
    card_for(request.user, number)
    return go(request, f"{reverse('job_sweeps', args=[number])}#responses")


@require_POST
def sweep_remove(request, number, sweep):
    return _take_off(request, number, Sweep, sweep, "sweep_remove")


@require_POST
def response_remove(request, number, response):
    return _take_off(request, number, Response, response, "response_remove")


def writable(request, number):
    """The card with this number, if this person may write curve work on it."""
    job = card_for(request.user, number)
    require(request.user, "edit_curve")
    require_open(job)
    return job


def _may(request, job):
    return request.user.may("edit_curve") and not (job.is_closed or job.build.locked)


def _readable(request, number, model, place):
    job = card_for(request.user, number)
    row = model.objects.select_related("build").filter(build=job.build_id, number=place).first()
    if row is None:
        raise Http404(f"There is no such sweep on this card: {place}.")
    return job, row


def _place(job, row):
    """Where the row stands, with what it says."""
    name = "sweep" if isinstance(row, Sweep) else "response"
    return reverse(name, args=[job.number, row.number])


def _new(request, job, form_class, add, show, initial):
    drive = convert.drive_of(job.build)
    if request.method == "GET":
        return show(request, job, form_class(drive=drive, initial=initial))
    form = form_class(request.POST, drive=drive)
    if not form.is_valid():
        return show(request, job, form)
    return go(request, idempotency.take(request, partial(_made, request, job, form, add)))


def _made(request, job, form, add):
    row = add(job, form.row_values, form.rows, by=request.user)
    notes.leave(request, f"{row} is saved: {several(len(form.rows), 'reading')}.")
    return _place(job, row)


def _change(request, job, row, shown, form_class, change, show):
    drive = convert.drive_of(job.build)
    if request.method == "GET":
        form = form_class(drive=drive, instance=row, initial={"version": row.version}, shown=shown)
        return show(request, job, form, row)
    form = form_class(request.POST, drive=drive, instance=row)
    if form.is_valid():
        version = form.cleaned_data["version"]
        try:
            change(job, row, form.row_values, form.rows, by=request.user, version=version)
        except Conflict as conflict:
            form.show_conflict(conflict.current)
        else:
            notes.leave(request, f"{row} is changed: {several(len(form.rows), 'reading')}.")
            return go(request, _place(job, row))
    return show(request, job, form, row)


def _show_sweep(request, job, form, row=None):
    """A sweep with its form; ``form`` is None for who only reads. What is saved is what is judged."""
    context: dict[str, Any] = {"job": job, "form": form, "row": row, "said": None}
    context["action"] = _place(job, row) if row else reverse("sweep_new", args=[job.number])
    if row:
        kept = Sweep.objects.prefetch_related("readings").get(pk=row.pk)
        context["said"] = sweeps.result_of(kept, job.build, engine_of(job))
        context["curve"] = sweep_figures.drawn(context["said"], job.build)
    return _page(request, "sweep", context)


def _show_response(request, job, form, row=None):
    context: dict[str, Any] = {"job": job, "form": form, "row": row, "said": None}
    context["action"] = _place(job, row) if row else reverse("response_new", args=[job.number])
    if row:
        kept = Response.objects.prefetch_related("readings").get(pk=row.pk)
        context["said"] = responses.result_of(kept)
        context["drawing"] = sweep_figures.response_drawing(context["said"])
    return _page(request, "response", context)


def _page(request, name, context):
    form = context["form"]
    status = form.status if form else 200
    if request.htmx and form is not None:
        return render(request, "curves/judging/_sweep_form.html", context, status=status)
    return page(request, f"curves/judging/{name}.html", context, status=status)


def _take_off(request, number, model, place, route):
    """Take a sweep off the card, or with ``restore`` put it back."""
    job = writable(request, number)
    _, row = _readable(request, number, model, place)
    removed = "restore" not in request.POST
    if row.removed != removed:
        actions.take_off(job, row, by=request.user, removed=removed)
    undo = reverse(route, args=[number, place]) if removed else None
    words = f"{row} is off the card." if removed else f"{row} is back on the card."
    notes.leave(request, words, undo=undo, values={"restore": "1"})
    return go(request, reverse("job_sweeps", args=[number]))
