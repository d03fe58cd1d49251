"""Spring trials on a card: fit the next pair, and let what was read so far teach."""

from typing import Any

from django.db import transaction

from curves.models import Build, Frame, Run, SpringCorrection
from curves.rows import actions as build_actions
from curves.rows import queries
from curves.springs import corrections
from curves.trials import promises
from jobs.curvework.spring_lines import settle_lines
from jobs.models import Job
from jobs.record.noting import note
from jobs.rules.guards import lock_open_card
from shop.models import Person
from shop.versions import save_versioned


@transaction.atomic
def fit_pair(job: Job, values: dict[str, Any], *, by: Person, promised: dict[str, Any] | None = None) -> Run:
    """Make the run of a pair, ready to be read; one that stands there unread with this pair is taken instead.

    What the runs before it taught of their springs is kept first. ``promised`` is what was shown of the pair,
    where it was taken from the proposals.
    """
    lock_open_card(job)
    build = queries.build_for(job.build_id)
    waiting = _unread(build, values)
    if waiting:
        if waiting.promised is None and promised is not None:
            waiting.promised = promised
            save_versioned(waiting, waiting.version, ["promised"])
        return waiting
    corrections.learn_springs(build, by=by)
    last = queries.live_runs(build)[-1:]
    frame = last[0].frame if last else Frame.SHAFT
    made = {"kind": Run.Kind.TRIAL, "frame": frame, "promised": promised}
    run = build_actions.add_run(build, {**made, **values}, [], by=by)
    settle_lines(job, by=by)
    said = {"chance": promises.words_of(promised)} if promised else {}
    note("chose a pair to fit", job, by, run=str(run), springs=_pair(run), posts=_posts(run), **said)
    return run


def learn_soon(job: Job, *, by: Person) -> None:
    """Let what was read so far teach, once that is safely written; a fit that fails loses no reading."""
    transaction.on_commit(lambda: _learn(job.build_id, by), robust=True)


def _learn(build_pk: int, by: Person) -> None:
    corrections.learn_springs(queries.build_for(build_pk), by=by)


@transaction.atomic
def use_correction(correction: SpringCorrection, in_use: bool, *, by: Person) -> None:
    """Let what a job taught of a spring count for later jobs, or no longer."""
    corrections.use_correction(correction, in_use, by=by)
    verb = "let a correction count again" if in_use else "switched a correction off"
    job = Job.objects.get(build=correction.build_id)
    note(verb, job, by, spring=str(correction.spring), place=correction.position)


def _unread(build: Build, values: dict[str, Any]) -> Run | None:
    """The newest run, if it is a trial of this very pair and bends that has no reading yet; else None."""
    run = next(iter(queries.live_runs(build)[-1:]), None)
    if run is None or run.kind != Run.Kind.TRIAL or run.readings.all():
        return None
    return run if all(getattr(run, name) == value for name, value in values.items()) else None


def _pair(run: Run) -> list[str]:
    return [str(spring) for spring in (run.primary, run.secondary) if spring]


def _posts(run: Run) -> dict[str, str]:
    bends = {"primary": run.primary_bend_mm, "secondary": run.secondary_bend_mm}
    return {place: f"{bend:+g} mm" for place, bend in bends.items() if bend}
