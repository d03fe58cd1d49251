"""Writing sweeps and responses: each call one transaction, with right and lock checked."""

from django.db import transaction
from django.db.models import Max

from curves.models import LightReading, Response, ResponseReading, Sweep
from curves.rows.actions import require_unlocked
from shop.rights import require
from shop.versions import save_versioned


@transaction.atomic
def add_sweep(build, values, readings, *, by):
    """Make a sweep of its values and its readings (crank rpm, crank deg, part throttle)."""
    return _add(Sweep, build, values, _lights(readings), by)


@transaction.atomic
def add_response(build, values, tries, *, by):
    """Make a response sweep of its values and its tries (crank deg, value)."""
    return _add(Response, build, values, _tries(tries), by)


@transaction.atomic
def change_sweep(sweep, values, readings, *, by, version):
    """Write a sweep anew, from a version of it that the writer has seen."""
    _change(sweep, values, _lights(readings), by, version)


@transaction.atomic
def change_response(response, values, tries, *, by, version):
    """Write a response sweep anew, from a version of it that the writer has seen."""
    _change(response, values, _tries(tries), by, version)


@transaction.atomic
def take_off(row, *, by, removed=True):
    """Take a sweep or a response off the card, or put it back; its readings stay either way."""
    require(by, "edit_curve")
    require_unlocked(row.build)
    row.removed = removed
    save_versioned(row, row.version, ["removed"])


def _add(model, build, values, readings, by):
    require(by, "edit_curve")
    require_unlocked(build)
    last = model.objects.filter(build=build).aggregate(last=Max("number"))["last"] or 0
    row = model.objects.create(build=build, number=last + 1, by=by, **values)
    _write(row, readings)
    return row


def _change(row, values, readings, by, version):
    require(by, "edit_curve")
    require_unlocked(row.build)
    for name, value in values.items():
        setattr(row, name, value)
    save_versioned(row, version, list(values))
    row.readings.all().delete()
    _write(row, readings)


def _write(row, readings):
    kind, owner = (LightReading, "sweep") if isinstance(row, Sweep) else (ResponseReading, "response")
    kind.objects.bulk_create(
        kind(**{owner: row}, position=position, **reading) for position, reading in enumerate(readings)
    )


def _lights(readings):
    return [{"crank_rpm": rpm, "crank_deg": deg, "part_throttle": part} for rpm, deg, part in readings]


def _tries(tries):
    return [{"crank_deg": deg, "value": value} for deg, value in tries]
