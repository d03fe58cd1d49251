"""Sweeps and responses on a card: the build's own actions, with the card open and an entry in its history."""

from collections.abc import Sequence
from typing import Any

from django.db import transaction

from curves.models import Response, Sweep
from curves.rows import sweep_actions
from jobs.models import Job
from jobs.record.noting import note
from jobs.rules.guards import lock_open_card, lock_open_card_at_its_ratio
from shop.models import Person


@transaction.atomic
def add_sweep(job: Job, values: dict[str, Any], readings: Sequence, *, by: Person) -> Sweep:
    lock_open_card_at_its_ratio(job)
    sweep = sweep_actions.add_sweep(job.build, values, readings, by=by)
    note("wrote down a sweep on the engine", job, by, sweep=str(sweep), readings=len(readings))
    return sweep


@transaction.atomic
def change_sweep(
    job: Job, sweep: Sweep, values: dict[str, Any], readings: Sequence, *, by: Person, version: int
) -> None:
    lock_open_card_at_its_ratio(job)
    sweep_actions.change_sweep(sweep, values, readings, by=by, version=version)
    note("changed a sweep on the engine", job, by, sweep=str(sweep), readings=len(readings))


@transaction.atomic
def add_response(job: Job, values: dict[str, Any], tries: Sequence, *, by: Person) -> Response:
    lock_open_card(job)
    response = sweep_actions.add_response(job.build, values, tries, by=by)
    note("wrote down a response sweep", job, by, response=str(response), tries=len(tries))
    return response


@transaction.atomic
def change_response(
    job: Job, response: Response, values: dict[str, Any], tries: Sequence, *, by: Person, version: int
) -> None:
    lock_open_card(job)
    sweep_actions.change_response(response, values, tries, by=by, version=version)
    note("changed a response sweep", job, by, response=str(response), tries=len(tries))


@transaction.atomic
def take_off(job: Job, row: Sweep | Response, *, by: Person, removed: bool) -> None:
    lock_open_card(job)
    sweep_actions.take_off(row, by=by, removed=removed)
    verb = "took a sweep off the card" if removed else "put a sweep back on the card"
    note(verb, job, by, sweep=str(row))
