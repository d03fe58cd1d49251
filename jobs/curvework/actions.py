"""Curve work on a card: the build's own actions, with the card open and an entry in its history."""

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import Model, Subquery
from django.db.models.functions import Coalesce

from curves.models import Frame, Run
from curves.readings import input_limits
from curves.rows import actions as build_actions
from curves.rows.recording import holds_readings
from jobs.curvework.spring_lines import settle_lines
from jobs.models import AuditEntry, Job
from jobs.record import audit
from jobs.record.noting import note
from jobs.rules.facts import SIGNED
from jobs.rules.guards import lock_open_card, lock_open_card_at_its_ratio
from shop.models import Person


@transaction.atomic
def add_run(job: Job, values: dict[str, Any], readings: Sequence, *, by: Person) -> Run:
    lock_open_card_at_its_ratio(job)
    run = build_actions.add_run(job.build, values, readings, by=by)
    settle_lines(job, by=by)
    verb = "typed a run" if readings else "began a run"
    note(verb, job, by, run=str(run), readings=len(readings))
    return run


@transaction.atomic
def change_run(
    job: Job,
    run: Run,
    values: dict[str, Any],
    readings: Sequence,
    *,
    by: Person,
    version: int,
    typed_in: str | None = None,
) -> None:
    before = Run.objects.values_list("frame", flat=True).get(pk=run.pk)
    lock_open_card_at_its_ratio(job)
    build_actions.change_run(run, values, readings, by=by, version=version, typed_in=typed_in)
    settle_lines(job, by=by)
    said = {"run": str(run), "readings": len(readings)}
    if before != run.frame:
        numbers = "as typed" if typed_in else "turned"
        said["frame"] = f"{Frame(before).label}, now {run.get_frame_display()}; numbers {numbers}"
    note("changed a run", job, by, **said)


@transaction.atomic
def put_reading(
    job: Job,
    run: Run,
    kind: str,
    key: UUID,
    values: dict[str, Any],
    *,
    by: Person,
    version: int | None = None,
) -> Model:
    """Write one reading as it comes in from the bench.

    The history gets one entry for each run and person that read it, and one for each correction.
    """
    lock_open_card_at_its_ratio(job)
    written = build_actions.put(run, kind, key, values, by=by, version=version)
    if written.is_new:
        _note_once("read at the bench", job, by, run)
    elif written.is_changed:
        before, after = written.before, written.after
        audit.record("corrected a reading", job=job, by=by, run=str(run), before=before, after=after)
    return written.row


@transaction.atomic
def take_back_reading(
    job: Job, run: Run, kind: str, key: UUID, *, by: Person, version: int | None = None
) -> Model | None:
    """Take one reading back; it stays in the history."""
    lock_open_card(job)
    row = build_actions.take_back(run, kind, key, by=by, version=version)
    if row is not None:
        audit.record("took a reading back", job=job, by=by, run=str(run), reading=str(row))
    return row


def _note_once(verb: str, job: Job, by: Person, run: Run) -> None:
    said = AuditEntry.objects.filter(job=job, verb=verb, by=by, detail__run=str(run))
    signed = AuditEntry.objects.filter(job=job, verb=SIGNED).order_by("-pk").values("pk")[:1]
    # Read after a signature, it is said again: the sheet no longer says what the card says.
    if not said.filter(pk__gt=Coalesce(Subquery(signed), 0)).exists():
        audit.record(verb, job=job, by=by, run=str(run))


class WasRead(PermissionDenied):
    """A run that was to come off for want of readings has some by now."""


@transaction.atomic
def take_off_run(job: Job, run: Run, *, by: Person, removed: bool, only_unread: bool = False) -> None:
    """Take a run off or put it back; with ``only_unread`` WasRead is raised where anything was read in it."""
    lock_open_card(job)
    if only_unread and holds_readings(run):
        raise WasRead
    build_actions.take_off_run(run, by=by, removed=removed)
    settle_lines(job, by=by)
    note("took a run off the card" if removed else "put a run back on the card", job, by, run=str(run))


@transaction.atomic
def save_target(
    job: Job,
    values: dict[str, Any],
    points: Sequence[tuple[float, float, float]],
    *,
    by: Person,
    version: int,
) -> None:
    lock_open_card_at_its_ratio(job)
    build_actions.save_target(job.build, values, points, by=by, version=version)
    said = [f"{deg:g} ± {tolerance:g} at {rpm:g}" for rpm, deg, tolerance in sorted(points)]
    note("set the target", job, by, crank_degrees=said)
    # Saved for the engine as the card names it: what was agreed for another no longer stands.
    Job.objects.filter(pk=job.pk).exclude(agreed_for="").update(agreed_for="")


@transaction.atomic
def save_head(job: Job, values: dict[str, Any], *, by: Person, version: int) -> None:
    stands = lock_open_card(job).build
    ratio = values.get("crank_per_shaft", stands.crank_per_shaft)
    if ratio != stands.crank_per_shaft and (beyond := input_limits.beyond(stands, ratio)):
        raise PermissionDenied(beyond)  # what was read since the form was checked
    build_actions.save_head(job.build, values, by=by, version=version)
    note("measured the head", job, by)
