"""The bench screen: a run beside the machine, its readings coming in one by one, each saved by itself."""

import json
from functools import wraps

from django.core.exceptions import PermissionDenied, ValidationError
from django.db.models import prefetch_related_objects
from django.http import Http404, HttpResponse, JsonResponse
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from curves.judging import verdicts
from curves.judging.proof import proof_of
from curves.models import Frame, Run
from curves.readings import reading_grid
from curves.readings.cells import CellError
from curves.readings.forms import BenchRunForm
from curves.rows import convert, queries
from curves.rows.stock import NotInDrawer
from jobs.curvework import actions
from jobs.curvework.curve import drawn, first_values, place_of, refuse_springs, springs_for
from jobs.queries import card_for
from jobs.rules.guards import require_open
from jobs.stages import Stage
from shop import idempotency
from shop.models import Shop
from shop.pages import go, page
from shop.rights import require
from shop.versions import Conflict

KINDS = {
    Stage.INTAKE: Run.Kind.AS_RECEIVED,
    Stage.TEARDOWN: Run.Kind.AS_RECEIVED,
    Stage.CLEANING: Run.Kind.AS_RECEIVED,
    Stage.SPRING_TRIALS: Run.Kind.TRIAL,
}
MAX_BYTES = 4000  # of one reading as JSON
MAX_VERSION = 1_000_000_000


class WrongPerson(Exception):
    """Someone else has logged in on this tablet since the reading was typed."""


@require_http_methods(["GET", "POST"])
def bench(request, number):
    """The run asked for, the newest of the present stage, or the few things that a new run begins with."""
    job = card_for(request.user, number)
    require(request.user, "edit_curve")
    require_open(job)
    if request.method == "POST":
        return _begun(request, job)
    run = _asked(request, job)
    if run is None:
        return _show_beginning(
            request, job, BenchRunForm(springs=springs_for(job.build), initial=_begin(request, job))
        )
    return page(request, "curves/readings/bench.html", _context(request, job, run))


@require_GET
def readings(request, number, run):
    """All that a run holds by now, with its chart; no content when nothing is new since ``seen``."""
    row = _run_for(request, number, run)
    if request.GET.get("seen") == str(row.version):
        return HttpResponse(status=204)
    job = card_for(request.user, number)
    return JsonResponse(_state(job, _live(job, run)))


def _in_json(view):
    """Says a refusal in JSON, with its cause; what was typed waits on the tablet until someone looks."""

    @wraps(view)
    def answering(request, *args, **options):
        try:
            return view(request, *args, **options)
        except WrongPerson as refusal:
            return _refused(401, str(refusal))
        except PermissionDenied as refusal:
            return _refused(403, str(refusal))
        except Http404 as refusal:
            return _refused(404, str(refusal))
        except ValidationError as refusal:
            return _refused(422, " ".join(refusal.messages))
        except CellError as refusal:
            return _refused(422, str(refusal))

    return answering


@require_POST
@_in_json
def reading(request, number, run, key):
    """Write, correct or take back one reading, told as JSON: kind, frame, values as typed, version, gone,
    person."""
    sent = _sent(request)
    if sent.get("person") != request.user.pk:
        raise WrongPerson(f"{request.user} is logged in now: this was typed by someone else.")
    row = _run_for(request, number, run)
    kind, version = sent.get("kind"), _version(sent.get("version"))
    if not isinstance(kind, str) or kind not in reading_grid.TYPED:
        raise CellError("This is no reading that a bench gives.")
    job = row.build.job  # pyrefly: ignore [missing-attribute]  # curves may not know the card
    act = {"by": request.user, "version": version}
    try:
        if sent.get("gone") is True:
            actions.take_back_reading(job, row, kind, key, **act)
            return _saved(row)
        values = reading_grid.read_typed(
            kind, sent.get("values"), row, sent.get("frame"), cylinders=job.cylinders
        )
        written = actions.put_reading(job, row, kind, key, values, **act)
    except Conflict as conflict:
        stands = conflict.current and reading_grid.row_of(kind, conflict.current, row)
        why = "Another value was saved meanwhile." if stands else "It was taken back meanwhile."
        return JsonResponse({"why": why, "stands": stands}, status=409)
    return _saved(row, reading_grid.row_of(kind, written, row))


def _saved(run, row=None):
    """Said after the commit, never before it: the reading, the run's version, and the shop's time."""
    version, frame = Run.objects.values_list("version", "frame").get(pk=run.pk)
    at = timezone.localtime().strftime("%H:%M")
    return JsonResponse({"reading": row, "version": version, "frame": frame, "at": at})


def _refused(status, why):
    return JsonResponse({"why": why or "This was refused."}, status=status)


def _sent(request):
    """The JSON that was sent, or a CellError: what is no JSON was typed by nobody."""
    try:
        sent = json.loads(request.body) if len(request.body) <= MAX_BYTES else None
    except (ValueError, RecursionError):
        sent = None
    if not isinstance(sent, dict):
        raise CellError("The reading did not arrive whole: send it again.")
    return sent


def _version(version):
    if version is None:
        return None
    if isinstance(version, bool) or not isinstance(version, int) or not 0 < version < MAX_VERSION:
        raise CellError("The reading's version did not arrive whole: load the page again.")
    return version


def _run_for(request, number, run):
    """A run of a card by their numbers, with its build and job, in one query."""
    require(request.user, "read")
    row = Run.objects.select_related("build__job").filter(build__job__number=number, number=run).first()
    if row is None:
        raise Http404(f"There is no run {run} on this card.")
    return row


def _live(job, number):
    """A run that stands on the card, out of what ``card_for`` has fetched."""
    found = next((run for run in queries.live_runs(job.build) if run.number == number), None)
    if found is None:
        raise Http404(f"There is no run {number} on this card, or it was taken off.")
    return found


def _asked(request, job):
    asked = request.GET.get("run", "")
    if asked.isdecimal() and len(asked) < 6:
        return _live(job, int(asked))
    if "new" in request.GET:
        return None
    kind = KINDS.get(job.stage, Run.Kind.FINAL)
    return next((run for run in reversed(queries.live_runs(job.build)) if run.kind == kind), None)


def _begin(request, job):
    """What a new run begins with: kind and frame are hardly ever others than these."""
    values = first_values(request, job)
    kind = values["kind"] or KINDS.get(job.stage, Run.Kind.FINAL)
    return values | {"kind": kind, "frame": values["frame"] or Frame.SHAFT}


def _begun(request, job):
    form = BenchRunForm(request.POST, springs=springs_for(job.build))
    if not form.is_valid():
        return _show_beginning(request, job, form)

    def make():
        run = actions.add_run(job, form.run_values, [], by=request.user)
        return f"{reverse('bench', args=[job.number])}?run={run.number}"

    try:
        return go(request, idempotency.take(request, make))
    except NotInDrawer as refusal:
        refuse_springs(form, refusal)
        return _show_beginning(request, job, form)


def _show_beginning(request, job, form):
    context = {"job": job, "form": form, "runs": queries.live_runs(job.build)}
    return page(request, "curves/readings/bench_begin.html", context, status=form.status)


def _context(request, job, run):
    state = _state(job, run)
    drive = convert.drive_of(job.build)
    data = {
        "readings": reverse("readings", args=[job.number, run.number]),
        "where": f"{job}, {run}",
        "page": f"{reverse('bench', args=[job.number])}?run={run.number}",
        "frame": run.frame,
        "frame_name": run.get_frame_display(),
        "to_crank": 1.0 if run.frame == Frame.CRANK else drive.crank_per_shaft,
        "other_frame": 1 / drive.crank_per_shaft if run.frame == Frame.CRANK else drive.crank_per_shaft,
        "grids": reading_grid.grids_of(
            run, job.build, Shop.current().bench_speeds_rpm, cylinders=job.cylinders
        ),
        "state": {name: state[name] for name in ("version", "frame", "rows")},
    }
    return {"job": job, "run": run, "data": data, "back": place_of(job, run.kind), **state}


def _state(job, run):
    """What a tablet knows of a run: every reading, and the drawing and the words they come to."""
    build = job.build
    prefetch_related_objects([run], "sparks", "dwells", "vacuums")
    drive = convert.drive_of(build)
    draft = convert.run_readings(run, drive)
    band = convert.target_of(getattr(build, "target", None), drive)
    chart = {
        "curve": drawn(build, draft=draft, draft_frame=run.frame, in_place_of=run),
        "said": verdicts.draft_words(draft, band, drive, run.frame, is_final=run.kind == Run.Kind.FINAL),
    }
    proof = proof_of(run, build, cylinders=job.cylinders)
    return {
        "version": run.version,
        "frame": run.frame,
        "rows": reading_grid.rows_of(run),
        "chart": render_to_string("curves/readings/_draft.html", chart),
        "headline": render_to_string("curves/judging/_headline.html", {"proof": proof}),
        "checks": render_to_string("curves/judging/_checks.html", {"checks": proof.checks}),
    }
