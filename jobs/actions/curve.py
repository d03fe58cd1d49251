"""Curve work on a card: the build's own actions, with the card open and an entry in its history."""

from django.db import transaction

from curves import actions as build_actions
from jobs.actions.noting import note
from jobs.guards import require_open
from jobs.models import Job


def _open(job):
    require_open(Job.objects.get(pk=job.pk))


@transaction.atomic
def add_run(job, values, readings, *, by):
    _open(job)
    run = build_actions.add_run(job.build, values, readings, by=by)
    note("typed a run", job, by, run=str(run), readings=len(readings))
    return run


@transaction.atomic
def change_run(job, run, values, readings, *, by, version):
    _open(job)
    build_actions.change_run(run, values, readings, by=by, version=version)
    note("changed a run", job, by, run=str(run), readings=len(readings))


@transaction.atomic
def take_off_run(job, run, *, by, removed):
    _open(job)
    build_actions.take_off_run(run, by=by, removed=removed)
    note("took a run off the card" if removed else "put a run back on the card", job, by, run=str(run))


@transaction.atomic
def save_target(job, values, points, *, by, version):
    _open(job)
    build_actions.save_target(job.build, values, points, by=by, version=version)
    said = [f"{deg:g} ± {tolerance:g} at {rpm:g}" for rpm, deg, tolerance in sorted(points)]
    note("set the target", job, by, crank_degrees=said)


@transaction.atomic
def save_head(job, values, *, by, version):
    _open(job)
    build_actions.save_head(job.build, values, by=by, version=version)
    note("measured the head", job, by)
