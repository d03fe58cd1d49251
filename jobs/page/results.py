"""The line that stands for a folded stage: what came of a past one, what a coming one needs."""

from collections.abc import Callable, Iterator
from datetime import date

from curves.judging.proof import trials_of
from curves.rows.queries import live_runs
from jobs import stages
from jobs.models import Job
from jobs.rules import abrasive
from jobs.rules.guards import NEEDS, verdicts_of
from jobs.rules.handed_back import handed_back_without
from jobs.stages import Stage
from shop.amounts import FRAME
from shop.words import several


def needs_of(stage: str) -> str:
    """What a coming stage needs before the card can go on from it."""
    return f"Needs {'; '.join(need.words for need in NEEDS[stage])}."


def result_of(job: Job, stage: str) -> str:
    """What came of a past stage."""
    skipped = job.ending and stages.place(stage) > stages.place(job.stage) and stage != Stage.HAND_BACK
    return "Not reached." if skipped else "; ".join(said for said in _RESULTS[stage](job) if said) + "."


def _intake(job: Job) -> Iterator[str]:
    yield "Shop stock" if job.is_stock else str(job.customer)
    yield f"promised for {_day(job.promised_on)}" if job.promised_on else ""
    yield f"tray {job.tray}" if job.tray else ""


def _teardown(job: Job) -> Iterator[str]:
    yield f"{several(job.points_answered, 'point')} answered"
    yield f"{job.points_open} open" if job.points_open else ""
    if job.points_answered:
        yield f"{job.points_bad} to repair or replace" if job.points_bad else "nothing to repair"
    yield several(job.findings_count, "finding") if job.findings_count else ""


def _cleaning(job: Job) -> Iterator[str]:
    yield f"{several(job.cleaning_done, 'step')} done"
    yield f"{job.cleaning_aside} put aside" if job.cleaning_aside else ""
    yield f"{job.cleaning_open} not done" if job.cleaning_open else ""
    if abrasive.is_left_open(job):
        yield "blasted, not signed free of abrasive"
    elif abrasive.was_blasted(job):
        yield f"blasted, signed free of abrasive by {job.abrasive_free_by}"


def _spring_trials(job: Job) -> Iterator[str]:
    runs = [run for run in live_runs(job.build) if run.kind == run.Kind.TRIAL]
    yield several(len(runs), "trial run") if runs else "No trial run"
    yield trials_of(job.build).said


def _bench_curve(job: Job) -> Iterator[str]:
    runs = [run for run in live_runs(job.build) if run.kind == run.Kind.FINAL]
    final = verdicts_of(job).final
    unread = f"{several(len(runs), 'final run')}, nothing read" if runs else "No final run"
    yield final.headline if final else unread
    yield f"{several(job.assembly_done, 'assembly step')} done"
    yield f"{job.assembly_aside} put aside" if job.assembly_aside else ""
    yield f"{job.assembly_open} not done" if job.assembly_open else ""


def _hand_back(job: Job) -> Iterator[str]:
    if job.ending:
        yield f"{job.ended_as} on {_day(job.ended_on)}"
        said = job.closing.collected_said
        yield f"{said} {job.closing.collected_by}" if job.closing.collected_by else ""
        yield f"{job.closing.owed:.2f} {job.closing.currency} owed, {FRAME}"
        return
    to = f" to {job.handed_to}" if job.handed_to else ""
    yield f"{job.ended_as}{to} on {_day(job.ended_on)}" if job.closed_at else "Not handed back"
    yield f"warranty until {_day(job.warranty_until)}" if job.warranty_until else ""
    yield f"without {', '.join(missing)}" if (missing := handed_back_without(job).missing) else ""
    yield f"{several(job.parts_left_off, 'part')} left off" if job.parts_left_off else ""


_RESULTS: dict[str, Callable[[Job], Iterator[str]]] = {
    Stage.INTAKE: _intake,
    Stage.TEARDOWN: _teardown,
    Stage.CLEANING: _cleaning,
    Stage.SPRING_TRIALS: _spring_trials,
    Stage.BENCH_CURVE: _bench_curve,
    Stage.HAND_BACK: _hand_back,
}


def _day(day: date | None) -> str:
    return f"{day:%-d %b %Y}" if day else ""
