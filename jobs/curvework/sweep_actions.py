"""Sweeps and responses on a card: the build's own actions, with the card open and an entry in its history."""

from django.db import transaction

from curves.rows import sweep_actions
from jobs.record.noting import note
from jobs.rules.guards import lock_open_card, lock_open_card_at_its_ratio


@transaction.atomic
def add_sweep(job, values, readings, *, by):
    lock_open_card_at_its_ratio(job)
    sweep = sweep_actions.add_sweep(job.build, values, readings, by=by)
    note("wrote down a sweep on the engine", job, by, sweep=str(sweep), readings=len(readings))
    return sweep


@transaction.atomic
def change_sweep(job, sweep, values, readings, *, by, version):
    lock_open_card_at_its_ratio(job)
    sweep_actions.change_sweep(sweep, values, readings, by=by, version=version)
    note("changed a sweep on the engine", job, by, sweep=str(sweep), readings=len(readings))


@transaction.atomic
def add_response(job, values, tries, *, by):
    lock_open_card(job)
    response = sweep_actions.add_response(job.build, values, tries, by=by)
    note("wrote down a response sweep", job, by, response=str(response), tries=len(tries))
    return response


@transaction.atomic
def change_response(job, response, values, tries, *, by, version):
    lock_open_card(job)
    sweep_actions.change_response(response, values, tries, by=by, version=version)
    note("changed a response sweep", job, by, response=str(response), tries=len(tries))


@transaction.atomic
def take_off(job, row, *, by, removed):
    lock_open_card(job)
    sweep_actions.take_off(row, by=by, removed=removed)
    verb = "took a sweep off the card" if removed else "put a sweep back on the card"
    note(verb, job, by, sweep=str(row))
