"""Writing curve work and the drawer: each call one transaction, with right and lock checked."""

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import Max

from curves.models import Build, Reading, Run, Target, TargetPoint
from shop.rights import require
from shop.versions import Conflict, save_versioned


class Locked(PermissionDenied):
    """A build that was handed back takes no more writing."""


def require_unlocked(build):
    """The build's row, locked against writers beside this one until the transaction ends."""
    row = Build.objects.select_for_update().get(pk=build.pk)
    if row.locked:
        raise Locked("This unit was handed back: reopen it as a new job to go on.")
    return row


@transaction.atomic
def add_run(build, values, readings, *, by):
    """Make a run of its values and its readings, (speed, advance, falling) in the run's frame."""
    require(by, "edit_curve")
    require_unlocked(build)
    last = Run.objects.filter(build=build).aggregate(last=Max("number"))["last"] or 0
    run = Run.objects.create(build=build, number=last + 1, by=by, **values)
    _write_readings(run, readings)
    return run


@transaction.atomic
def change_run(run, values, readings, *, by, version):
    """Write a run anew, from a version of it that the writer has seen."""
    require(by, "edit_curve")
    require_unlocked(run.build)
    for name, value in values.items():
        setattr(run, name, value)
    save_versioned(run, version, list(values))
    run.readings.all().delete()
    _write_readings(run, readings)


@transaction.atomic
def take_off_run(run, *, by, removed=True):
    """Take a run off the card, or put it back; its readings stay either way."""
    require(by, "edit_curve")
    require_unlocked(run.build)
    run.removed = removed
    save_versioned(run, run.version, ["removed"])


@transaction.atomic
def save_target(build, values, points, *, by, version):
    """Write the band and its points (crank rpm, crank deg, tolerance). Version 0: there was none."""
    require(by, "edit_curve")
    require_unlocked(build)
    target = Target.objects.filter(build=build).first()
    if target is None:
        target = Target.objects.create(build=build, **values)
    elif version == 0:
        raise Conflict(target)
    else:
        for name, value in values.items():
            setattr(target, name, value)
        save_versioned(target, version, list(values))
        target.points.all().delete()
    TargetPoint.objects.bulk_create(
        TargetPoint(target=target, crank_rpm=rpm, crank_deg=deg, tolerance_crank_deg=tolerance)
        for rpm, deg, tolerance in points
    )
    return target


@transaction.atomic
def save_head(build, values, *, by, version):
    """Write what was measured of the head."""
    require(by, "edit_curve")
    require_unlocked(build)
    for name, value in values.items():
        setattr(build, name, value)
    save_versioned(build, version, list(values))


@transaction.atomic
def save_spring(spring, values, *, by, version=None):
    """Write a spring of the drawer; one without a key is new."""
    require(by, "edit_drawer")
    for name, value in values.items():
        setattr(spring, name, value)
    if spring.pk is None:
        spring.save(force_insert=True)
    else:
        save_versioned(spring, version, list(values))


def _write_readings(run, readings):
    Reading.objects.bulk_create(
        Reading(run=run, position=position, speed_rpm=speed, advance_deg=advance, falling=falling)
        for position, (speed, advance, falling) in enumerate(readings)
    )
