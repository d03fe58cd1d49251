"""The travel measured at the inspection, on its way into the advance head: a head has one travel."""

from django.core.exceptions import ValidationError
from django.db import transaction

from curves.judging import travel
from curves.models import Build
from curves.rows import actions as build_actions
from jobs.models import Inspection, InspectionPoint, Job
from jobs.record.noting import changes, note
from jobs.rules.guards import lock_open_card
from jobs.rules.points import TRAVEL, inspected_travel
from shop.models import Person
from shop.rights import require
from shop.versions import Conflict

FIELD = "travel_measured_deg"
CHANGED = "The travel was measured anew since this page was shown: look at it again. Nothing was taken over."


def fill_travel(job: Job, point: InspectionPoint, value: float | None, *, by: Person) -> str:
    """Take a travel measured at a point over into a head that has none: what was done, in words, if anything.

    The card is locked by then.
    """
    if inspected_travel(point, value, job.build) is None or not by.may("edit_curve"):
        return ""
    build = _held(job)
    measured = inspected_travel(point, value, build)
    if measured is None or not travel.is_filled_by(build, measured):
        return ""
    _write(job, build, measured, by=by)
    return taken_words(measured)


def taken_words(measured_deg: float) -> str:
    now = f"{measured_deg:g} distributor degrees"
    return f"The advance head's travel is now {now}, as measured at the inspection."


@transaction.atomic
def take_travel(job: Job, *, by: Person, seen: str, version: int) -> float:
    """Put the travel measured at the inspection in place of the head's, as both stood on the taker's page.

    The travel taken over [distributor degrees]; sent again it changes nothing. ValidationError when
    either was changed meanwhile, or when no head can have it.
    """
    require(by, "edit_curve")
    lock_open_card(job)
    build = _held(job)
    measured = _inspected(job, build)
    offer = travel.offer_on(build, measured)
    if offer is None and measured is not None:
        return measured
    if measured is None or offer is None or offer.seen != seen:
        raise ValidationError(CHANGED)
    if not offer.fits:
        raise ValidationError(offer.said)
    try:
        _write(job, build, measured, by=by, version=version)
    except Conflict as conflict:
        raise ValidationError(CHANGED) from conflict
    return measured


def _held(job: Job) -> Build:
    return Build.objects.select_for_update(no_key=True).get(pk=job.build_id)


def _inspected(job: Job, build: Build) -> float | None:
    answer = Inspection.objects.select_related("point").filter(job=job, point__key=TRAVEL).first()
    return inspected_travel(answer.point, answer.value, build) if answer else None


def _write(job: Job, build: Build, measured_deg: float, *, by: Person, version: int | None = None) -> None:
    changed = changes(build, [FIELD], {FIELD: measured_deg})
    build_actions.save_head(
        build, {FIELD: measured_deg}, by=by, version=build.version if version is None else version
    )
    job.build.refresh_from_db(fields=[FIELD, "version"])
    note("took the travel over from the inspection", job, by, changes=changed)
