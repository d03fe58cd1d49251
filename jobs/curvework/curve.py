"""Curve work of a card: its runs and its head, the chart that follows the typing, and its CSV."""

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.functional import SimpleLazyObject
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from curves.figures import caliper, charts, svg
from curves.judging import verdicts
from curves.judging.proof import proof_of
from curves.models import Run
from curves.readings import csvfile
from curves.readings.forms import ChangeRunForm, NewRunForm
from curves.rows import convert, queries, stock
from curves.rows.results import CurveWarning
from curves.rows.stock import NotInDrawer
from curves.springs.head_forms import HeadForm
from jobs.curvework import actions, trial_actions
from jobs.curvework.spring_lines import PLACES, where_words
from jobs.intake.returned import left_with
from jobs.queries import card_for
from jobs.rules.agreed_for import summary_of
from jobs.rules.guards import require_open, verdicts_of
from jobs.stages import Stage
from shop import idempotency, notes
from shop.models import Shop
from shop.pages import go, page
from shop.rights import require
from shop.versions import Conflict
from shop.words import several

STAGES = {
    Run.Kind.AS_RECEIVED: Stage.TEARDOWN,
    Run.Kind.TRIAL: Stage.SPRING_TRIALS,
    Run.Kind.FINAL: Stage.BENCH_CURVE,
}


def curve_context(job, shop=None):
    """What the curve fragments need: ``curve``, the job and its build."""
    return {"job": job, "build": job.build, "curve": curve_of(job, shop or Shop.current())}


def curve_of(job, shop):
    """Figure, summary and runs of a card; asks for no curve rows when the job comes from ``card_for``."""
    build = job.build
    said = summary_of(job, build, shop.idle_margin_crank_rpm)
    proof = SimpleLazyObject(lambda: _proof(job, said))
    return {"summary": said, **drawn(build), **_runs_of(build), "proof": proof}


def _proof(job, said):
    """What the newest run of the furthest kind comes to; asked for by who shows it, in one query."""
    final = verdicts_of(job).final
    if final is not None or said.judged is None:
        return final
    return proof_of(said.judged.run, job.build, cylinders=job.cylinders)


def drawn(build, **extra):
    """A build's figure, its SVG and the table that says the same; ``extra`` as ``charts.figure`` takes it."""
    figure = charts.figure(build, **extra)
    return {"figure": figure, "svg": svg.svg(figure), "table": charts.table_rows(figure)}


def _runs_of(build):
    runs = queries.live_runs(build)
    return {kind.value: [run for run in runs if run.kind == kind] for kind in Run.Kind}


def _writable(request, number):
    """The card with this number, if this person may write curve work on it."""
    job = card_for(request.user, number)
    require(request.user, "edit_curve")
    require_open(job)
    return job


def place_of(job, kind):
    """Where a run of this kind stands on the card, with its stage unfolded."""
    stage = STAGES[kind]
    return f"{reverse('card', args=[job.number])}?open={stage}#stage-{stage}"


def _run_of(job, number):
    """A run of this card, taken off or not."""
    run = Run.objects.select_related("build").filter(build=job.build_id, number=number).first()
    if run is None:
        raise Http404(f"There is no run {number} on this card.")
    return run


@require_http_methods(["GET", "POST"])
def run_new(request, number):
    job = _writable(request, number)
    ours = _of_build(job.build)
    start = ours | {"initial": first_values(request, job)}
    if request.method == "GET":
        return _show_run(request, job, NewRunForm(**start))
    if NewRunForm.wants_preview(request):
        return _show_run(request, job, NewRunForm.preview(request, **ours))
    form = NewRunForm(request.POST, **ours)
    if not form.is_valid():
        return _show_run(request, job, form)
    try:
        return go(request, idempotency.take(request, lambda: _made(request, job, form)))
    except NotInDrawer as refusal:
        refuse_springs(form, refusal)
        return _show_run(request, job, form)


def refuse_springs(form, refusal):
    """Say beside its field that a spring is not free, and where the others hang."""
    pk = refusal.spring.pk
    places = [place for place in PLACES if getattr(form.cleaned_data.get(place), "pk", None) == pk]
    form.add_error(places[-1] if places else None, where_words(refusal))


def springs_for(build):
    """The springs that a run of a build can be made with, each with what of it is at hand there."""
    return stock.with_held(queries.drawer(build), build)


def _of_build(build):
    """What the form of a run asks of its build: the springs to choose from, and how far it can be read."""
    return {"springs": springs_for(build), "drive": convert.drive_of(build)}


def _made(request, job, form):
    run = actions.add_run(job, form.run_values, form.rows, by=request.user)
    trial_actions.learn_soon(job, by=request.user)
    notes.leave(request, f"{run} is saved: {several(len(form.rows), 'reading')}.")
    return place_of(job, run.kind)


def first_values(request, job):
    """What a new run begins with: the kind asked for, and the pair that hangs in the unit."""
    runs = queries.live_runs(job.build)
    last = runs[-1] if runs else None
    asked = request.GET.get("kind")
    hangs = last if last and asked != Run.Kind.AS_RECEIVED else None if runs else left_with(job)
    values = {"kind": asked if asked in Run.Kind.values else "", "frame": last.frame if last else ""}
    if hangs:
        values |= {
            name: getattr(hangs, name)
            for name in ("primary", "primary_bend_mm", "secondary", "secondary_bend_mm")
        }
    return values


@require_http_methods(["GET", "POST"])
def run(request, number, run):
    job = _writable(request, number)
    row = _run_of(job, run)
    start = _of_build(job.build) | {"instance": row}
    if request.method == "GET":
        shown = [(r.speed_rpm, r.advance_deg, r.falling) for r in row.readings.all()]
        form = ChangeRunForm(initial={"version": row.version}, shown=shown, **start)
        return _show_run(request, job, form, row)
    if ChangeRunForm.wants_preview(request):
        return _show_run(request, job, ChangeRunForm.preview(request, **start), row)
    form = ChangeRunForm(request.POST, **start)
    if form.is_valid():
        seen = {"version": form.cleaned_data["version"], "typed_in": form.typed_in}
        try:
            actions.change_run(job, row, form.run_values, form.rows, by=request.user, **seen)
        except Conflict as conflict:
            form.show_conflict(conflict.current)
        except NotInDrawer as refusal:
            refuse_springs(form, refusal)
        else:
            trial_actions.learn_soon(job, by=request.user)
            notes.leave(request, f"{row} is changed: {several(len(form.rows), 'reading')}.")
            return go(request, place_of(job, row.kind))
    return _show_run(request, job, form, row)


def _show_run(request, job, form, row=None):
    status = 422 if form.refused else form.status
    address = reverse("run", args=[job.number, row.number]) if row else reverse("run_new", args=[job.number])
    context = {"job": job, "form": form, "run": row, "action": address}
    context |= _drafted(job.build, form, in_place_of=row)
    return page(
        request, "curves/readings/run.html", context, fragment="curves/readings/_run_form.html", status=status
    )


def _draft(form, build):
    """The readings of a form that can be drawn, in the shaft frame, or None."""
    rows = form.readable_rows() if form.is_bound else [row for row in form.grid.values() if row is not None]
    if not rows or not form.read_in:
        return None
    return convert.typed_readings(rows, form.read_in, convert.drive_of(build))


@require_POST
def run_draw(request, number):
    """The chart with the readings typed so far; nothing is saved."""
    job = _writable(request, number)
    changed = request.GET.get("run", "")
    row = _run_of(job, int(changed)) if changed.isdecimal() and len(changed) < 6 else None
    ours = _of_build(job.build)
    form = ChangeRunForm(request.POST, instance=row, **ours) if row else NewRunForm(request.POST, **ours)
    return render(request, "curves/readings/_draft.html", _drafted(job.build, form, in_place_of=row))


def _drafted(build, form, *, in_place_of):
    """The chart with the readings of a form, and what can be said of them against the band."""
    draft, drive = _draft(form, build), convert.drive_of(build)
    band = convert.target_of(getattr(build, "target", None), drive)
    figure = drawn(build, draft=draft, draft_frame=form.read_in, in_place_of=in_place_of)
    is_final = form["kind"].value() == Run.Kind.FINAL
    words = verdicts.draft_words(draft, band, drive, form.read_in, is_final=is_final)
    why = form.unreadable_lines() if form.is_bound else ""
    unread = [CurveWarning("unread", f"The lines are not drawn. {why}")] if why else []
    return {"curve": figure, "said": [*unread, *words]}


@require_POST
def run_remove(request, number, run):
    """Take a run off the card, or with ``restore`` put it back; sent with ``unfit`` from the trials, only one
    of a pair of which nothing was read."""
    job = _writable(request, number)
    row = _run_of(job, run)
    removed, unfit = "restore" not in request.POST, "unfit" in request.POST
    back = reverse("trials", args=[number]) if unfit else place_of(job, row.kind)
    if row.removed != removed:
        only_unread = removed and unfit
        try:
            actions.take_off_run(job, row, by=request.user, removed=removed, only_unread=only_unread)
        except NotInDrawer as refusal:
            notes.leave(request, f"{row} stays off the card. {where_words(refusal)}")
            return go(request, back)
        except actions.WasRead:
            notes.leave(request, f"{row} stays on the card: something was read of it meanwhile.")
            return go(request, back)
        trial_actions.learn_soon(job, by=request.user)
    undo = reverse("run_remove", args=[number, run]) if removed else None
    words = f"{row} is off the card." if removed else f"{row} is back on the card."
    if unfit and removed:
        words = f"{row} is off the card: its pair counts as not fitted."
    notes.leave(request, words, undo=undo, values={"restore": "1"} | ({"unfit": "1"} if unfit else {}))
    return go(request, back)


@require_http_methods(["GET", "POST"])
def head(request, number):
    job = _writable(request, number)
    build = job.build
    form = HeadForm(request.POST or None, instance=build, initial={"version": build.version})
    if form.is_bound and form.is_valid():
        try:
            actions.save_head(job, form.head_values, by=request.user, version=form.cleaned_data["version"])
        except Conflict as conflict:
            form.show_conflict(conflict.current)
        else:
            notes.leave(request, " ".join(["The head's measurements are saved.", form.travel_words]).strip())
            return go(request, place_of(job, Run.Kind.TRIAL))
    return page(
        request,
        "curves/springs/head.html",
        {"job": job, "form": form, "drawing": caliper.svg()},
        fragment="curves/springs/_head_form.html",
        status=form.status,
    )


@require_GET
def head_travel(request, number):
    """What is said of the travel as it is typed; nothing is saved."""
    job = _writable(request, number)
    form = HeadForm(request.GET, instance=job.build)
    return render(request, "curves/judging/_travel.html", {"form": form})


@require_GET
def curve_csv(request, number):
    """Every reading of the card's runs as CSV, in both frames."""
    job = card_for(request.user, number)
    headers, rows = charts.csv_table(job.build)
    answer = HttpResponse(
        csvfile.write(headers, rows), content_type="text/csv; charset=utf-8; header=present"
    )
    answer["Content-Disposition"] = f'attachment; filename="job-{job.number}-curve.csv"'
    return answer
