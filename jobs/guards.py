"""What a card must have before it goes on, and whether it may be written on at all."""

from django.core.exceptions import PermissionDenied
from django.db.models import Count, Exists, IntegerField, OuterRef, Q, Subquery, Value
from django.db.models.functions import Coalesce

from curves import outcome, queries
from curves.models import Run
from jobs.models import Finding, Inspection, InspectionPoint, Job, PartLine, Sheet, Step
from jobs.notices import awaits_answer
from jobs.stages import Stage
from shop.words import several

ANSWER = "the customer's answer"  # to a revised estimate above the limit agreed


class Closed(PermissionDenied):
    """A card that has been handed back takes no more writing."""


def require_open(job):
    if job.is_closed:
        raise Closed(f"{job} was handed back: reopen it as a new job to go on.")


def held(job):
    """The card as it now stands, kept from other writers until the transaction ends, if it may be written on.

    What a view fetched may have been handed back meanwhile.
    """
    now = Job.objects.select_for_update().get(pk=job.pk)
    require_open(now)
    return now


def held_at_its_ratio(job):
    """The same for what was checked at the drive of the build as the view fetched it."""
    now = held(job)
    if now.build.crank_per_shaft != job.build.crank_per_shaft:
        raise PermissionDenied("The head's ratio of crank to distributor was changed: load the page anew.")
    return now


def require_closed(job):
    """What follows a hand-back waits for it."""
    if not job.is_closed:
        raise PermissionDenied(f"{job} was not handed back yet: do that first.")


def require_practice(job):
    if not job.is_practice:
        raise PermissionDenied(f"{job} is a real one: the practice bench does nothing to it.")


def refuse_practice(job):
    """An invented unit is given to nobody, and comes back from no road."""
    if job.is_practice:
        raise PermissionDenied("This is a practice unit: it does not leave the bench. Open another to go on.")


def with_facts(jobs):
    """Jobs with the counts that ``missing`` and the folded lines of a card need, in the same query."""
    answers = Inspection.objects.filter(job=OuterRef("pk"))
    unanswered = InspectionPoint.objects.filter(
        ~Exists(Inspection.objects.filter(job=OuterRef(OuterRef("pk")), point=OuterRef("pk"))),
        Q(triggers="") | Q(triggers__contains=OuterRef("unit__trigger")),
        in_use=True,
    )
    steps = Step.objects.filter(job=OuterRef("pk"))
    return jobs.annotate(
        points_answered=_count(answers),
        points_bad=_count(answers.filter(verdict=Inspection.Verdict.REPLACE)),
        points_open=_count(unanswered),
        findings_count=_count(Finding.objects.filter(job=OuterRef("pk"))),
        parts_left_off=_count(PartLine.objects.filter(job=OuterRef("pk"), state=PartLine.State.LEFT_OFF)),
        cleaning_done=_count(steps.filter(list=Step.List.CLEANING, at__isnull=False)),
        cleaning_open=_count(steps.filter(list=Step.List.CLEANING, at=None)),
        assembly_done=_count(steps.filter(list=Step.List.ASSEMBLY, at__isnull=False)),
        assembly_open=_count(steps.filter(list=Step.List.ASSEMBLY, at=None)),
        sheets_that_hold=_count(_newest_curve_sheets().filter(job=OuterRef("pk"), void=None)),
    )


def _newest_curve_sheets():
    """The newest revision of each card: void or not, the ones before it hold no longer."""
    signed = Sheet.objects.signed().filter(kind=Sheet.Kind.CURVE_SHEET)
    later = signed.filter(job=OuterRef("job"), revision__gt=OuterRef("revision"))
    return signed.filter(~Exists(later))


def _count(rows):
    counted = rows.order_by().annotate(one=Value(1)).values("one").annotate(n=Count("pk")).values("n")
    return Coalesce(Subquery(counted, output_field=IntegerField()), 0)


def missing(job):
    """What the next stage, or closing, needs and this card hasn't got, in plain words."""
    if job.is_closed:
        return []
    if not hasattr(job, "points_open"):
        job = with_facts(Job.objects.select_related("unit", "engine", "build")).get(pk=job.pk)
    return _NEEDS[job.stage](job) + ([ANSWER] if awaits_answer(job) else [])


def verdicts_of(job):
    """Whether the newest trial and final run lie in the band; worked out once for each fetched card."""
    if not hasattr(job, "verdicts"):
        job.verdicts = outcome.verdicts(job.build)
    return job.verdicts


def _intake(job):
    # The unit and its owner are asked for when a card is opened; only the engine may still be open.
    return [] if job.unit_id else ["a unit"]


def _teardown(job):
    return [f"{several(job.points_open, 'inspection point')} to answer"] if job.points_open else []


def _cleaning(job):
    return ["abrasive-free sign-off"] if job.blasted and not job.abrasive_free_at else []


def _spring_trials(job):
    return _band(job, Run.Kind.TRIAL, verdicts_of(job).latest_in_band, "run")


def _bench_curve(job):
    needs = _band(job, Run.Kind.FINAL, verdicts_of(job).final_in_band, "final run")
    if job.assembly_open:
        needs.append(f"{several(job.assembly_open, 'assembly step')} to do")
    return needs


def _hand_back(job):
    return [] if job.sheets_that_hold else ["a signed curve sheet"]


_NEEDS = {
    Stage.INTAKE: _intake,
    Stage.TEARDOWN: _teardown,
    Stage.CLEANING: _cleaning,
    Stage.SPRING_TRIALS: _spring_trials,
    Stage.BENCH_CURVE: _bench_curve,
    Stage.HAND_BACK: _hand_back,
}


def _band(job, kind, inside, run):
    """What a run inside the band lacks: the band, the run, the rest of its readings, or a better run."""
    if inside is not None:
        return [] if inside else [f"a {run} inside the band"]
    needs = [] if has_band(job.build) else ["a target"]
    if not any(one.kind == kind for one in queries.live_runs(job.build)):
        needs.append(f"a {run}")
    return needs or [f"a {run} read over the whole band"]


def has_band(build):
    target = getattr(build, "target", None)
    return target is not None and bool(target.points.all())
