"""The practice bench: invented units, what hands do to them, and what was inside at the end."""

from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.http import Http404, JsonResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from curves.models import Run
from curves.practice import bench as simulated_bench
from curves.rows import queries
from jobs.models import Job
from jobs.practice import actions
from jobs.practice.forms import InventForm, NeedleForm, StopForm
from jobs.queries import card_for
from jobs.rules.guards import require_practice, verdicts_of
from jobs.stages import Stage
from shop import idempotency, notes
from shop.pages import go, page
from shop.rights import require

MAX_LISTED = 100


@require_http_methods(["GET", "POST"])
def practice(request):
    """The practice cards, and a new one; no other list shows them."""
    require(request.user, "read")
    form = InventForm(request.POST or None)
    if request.method == "POST":
        require(request.user, "edit_curve")
        if form.is_valid():
            return go(request, idempotency.take(request, lambda: _opened(request, form)))
    cards = Job.objects.practice().select_related("unit", "opened_by", "build")[:MAX_LISTED]
    context = {"form": form, "cards": cards, "practice": True, "may_edit": request.user.may("edit_curve")}
    return page(request, "jobs/practice/practice.html", context, status=form.status)


def _opened(request, form):
    job = actions.open_practice(by=request.user, seed=form.cleaned_data["seed"])
    return reverse("practice_job", args=[job.number])


@dataclass(frozen=True)
class StepOn:
    """One step of the practice: what to do, where, what came of it, and whether it is done."""

    words: str
    address: str
    said: str
    is_done: bool
    posts: bool = False  # the step is one press, not a page of its own


@require_GET
def practice_job(request, number):
    """The tools beside the bench, the way through the work, and at its end what was inside."""
    job = _practice(request, number)
    return _show(request, job, StopForm())


def _show(request, job, form):
    build = job.build
    steps = list(_steps(job))
    is_over = build.locked or job.sheets_that_hold > 0
    context = {
        "job": job,
        "steps": steps,
        "following": next((step for step in steps if not step.is_done), None),
        "stop_form": form,
        "springs": queries.drawer(build).order_by("position", "pk"),
        "may_edit": request.user.may("edit_curve") and not job.is_closed and not build.locked,
        "is_over": is_over,
        "inside": list(simulated_bench.inside(build, queries.live_runs(build))) if is_over else (),
    }
    return page(request, "jobs/practice/practice_job.html", context, status=form.status)


def _steps(job):
    """The way through the work, with what came of each step."""
    build, bench = job.build, reverse("bench", args=[job.number])
    runs = {kind: [run for run in queries.live_runs(build) if run.kind == kind] for kind in Run.Kind}
    received, trials, finals = (runs[kind] for kind in (Run.Kind.AS_RECEIVED, Run.Kind.TRIAL, Run.Kind.FINAL))
    verdicts = verdicts_of(job)
    is_measured = build.primary_gap_mm is not None
    measure = "#measure" if is_measured else reverse("practice_measure", args=[job.number])
    yield StepOn("Measure the head", measure, "", is_measured, posts=not is_measured)
    read = [run for run in received if run.readings.all()]
    where = f"{bench}?run={received[0].number}" if received else f"{bench}?new=1&kind=as_received"
    yield StepOn("Read the run as received", where, "", bool(read))
    yield StepOn(
        "Find the springs",
        reverse("trials", args=[job.number]),
        _runs_said(trials, verdicts.latest_in_band),
        verdicts.latest_in_band is True,
    )
    yield StepOn(
        "Read the final run, rising and falling",
        f"{bench}?run={finals[-1].number}" if finals else f"{bench}?new=1&kind=final",
        verdicts.final.headline if verdicts.final else "",
        verdicts.is_proved,
    )
    assembly = f"{reverse('card', args=[job.number])}?open={Stage.BENCH_CURVE}#sec-assembly"
    said = f"{job.assembly_open} to do" if job.assembly_open else ""
    yield StepOn("Oil and assemble it", assembly, said, not job.assembly_open)
    yield StepOn("Sign the sheet", reverse("sheets", args=[job.number]), "", job.sheets_that_hold > 0)


def _runs_said(runs, inside):
    if not runs:
        return ""
    verdict = {True: "in the band", False: "not in the band yet", None: "not read over the whole band"}[
        inside
    ]
    return f"{len(runs)} {'run' if len(runs) == 1 else 'runs'}, the last {verdict}"


@require_POST
def practice_measure(request, number):
    job = _practice(request, number)
    actions.measure_head(job, by=request.user)
    notes.leave(request, "The head is measured: what the calipers said stands on the card.")
    return go(request, _place(job, "measure"))


@require_POST
def practice_stop(request, number):
    job = _practice(request, number)
    form = StopForm(request.POST)
    if form.is_valid():
        try:
            measured = actions.set_stop(job, form.cleaned_data["travel"], by=request.user)
        except ValidationError as error:
            form.add_error("travel", error)
        else:
            notes.leave(request, f"The stop is set: the travel now measures {measured:g} distributor deg.")
            return go(request, _place(job, "stop"))
    return _show(request, job, form)


@require_POST
def practice_weigh(request, number, pk):
    job = _practice(request, number)
    spring = get_object_or_404(queries.drawer(job.build), pk=pk)
    try:
        actions.weigh_spring(job, spring, by=request.user)
        notes.leave(request, f"{spring} is weighed: {spring.rate_n_per_mm:.3f} N/mm.")
    except ValidationError as refusal:
        notes.leave(request, f"{spring} is not weighed. {' '.join(refusal.messages)}")
    return go(request, _place(job, "springs"))


@require_POST
def practice_end(request, number):
    """Give the practice up, to look inside."""
    job = _practice(request, number)
    actions.give_up(job, by=request.user)
    return go(request, _place(job, "inside"))


@require_GET
def practice_needle(request, number, run):
    """What the needle shows at a speed, as JSON; looking writes nothing."""
    require(request.user, "edit_curve")
    runs = Run.objects.select_related("build__job", "primary", "secondary")
    row = get_object_or_404(runs, build__job__number=number, number=run, removed=False)
    require_practice(row.build.job)  # pyrefly: ignore [missing-attribute]  # curves may not know the card
    form = NeedleForm(request.GET)
    if not form.is_valid():
        why = " ".join(str(message) for messages in form.errors.values() for message in messages)
        return JsonResponse({"why": why}, status=422)
    speed, falling = form.cleaned_data["speed"], bool(form.cleaned_data["falling"])
    advance = simulated_bench.read_at(row.build, row, speed, falling)
    return JsonResponse({"speed_rpm": speed, "falling": falling, "advance_deg": advance})


def _practice(request, number):
    """The practice card with this number; a real one has no such page."""
    job = card_for(request.user, number)
    if not job.is_practice:
        raise Http404(f"{job} is a real one: it has no practice bench.")
    return job


def _place(job, part):
    return f"{reverse('practice_job', args=[job.number])}#{part}"
