"""Sweeps and responses on a card: the build's own actions, with the card open and an entry in its history."""

from django.db import transaction

from curves import sweepactions
from jobs.actions.noting import note
from jobs.guards import held, held_at_its_ratio


@transaction.atomic
def add_sweep(job, values, readings, *, by):
    held_at_its_ratio(job)
    sweep = sweepactions.add_sweep(job.build, values, readings, by=by)
    note("wrote down a sweep on the engine", job, by, sweep=str(sweep), readings=len(readings))
    return sweep


@transaction.atomic
def change_sweep(job, sweep, values, readings, *, by, version):
    held_at_its_ratio(job)
    sweepactions.change_sweep(sweep, values, readings, by=by, version=version)
    note("changed a sweep on the engine", job, by, sweep=str(sweep), readings=len(readings))


@transaction.atomic
def add_response(job, values, tries, *, by):
    held(job)
    response = sweepactions.add_response(job.build, values, tries, by=by)
    note("wrote down a response sweep", job, by, response=str(response), tries=len(tries))
    return response


@transaction.atomic
def change_response(job, response, values, tries, *, by, version):
    held(job)
    sweepactions.change_response(response, values, tries, by=by, version=version)
    note("changed a response sweep", job, by, response=str(response), tries=len(tries))


@transaction.atomic
def take_off(job, row, *, by, removed):
    held(job)
    sweepactions.take_off(row, by=by, removed=removed)
    verb = "took a sweep off the card" if removed else "put a sweep back on the card"
    note(verb, job, by, sweep=str(row))
