"""Writing sweeps and responses: each call one transaction, with right and lock checked."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.db import transaction
from django.db.models import Max

from curves.models import Build, LightReading, Response, ResponseReading, Sweep
from curves.rows.actions import require_unlocked
from shop.models import Person
from shop.rights import require
from shop.versions import save_versioned


@transaction.atomic
def add_sweep(
    build: Build, values: dict[str, Any], readings: Sequence[tuple[float, float, bool]], *, by: Person
) -> Sweep:
    """Make a sweep of its values and its readings (crank rpm, crank deg, part throttle)."""
    return _add(Sweep, build, values, _lights(readings), by)


@transaction.atomic
def add_response(
    build: Build, values: dict[str, Any], tries: Iterable[tuple[float, float]], *, by: Person
) -> Response:
    """Make a response sweep of its values and its tries (crank deg, value)."""
    return _add(Response, build, values, _tries(tries), by)


@transaction.atomic
def change_sweep(
    sweep: Sweep,
    values: dict[str, Any],
    readings: Sequence[tuple[float, float, bool]],
    *,
    by: Person,
    version: int,
) -> None:
    """Write a sweep anew, from a version of it that the writer has seen."""
    _change(sweep, values, _lights(readings), by, version)


@transaction.atomic
def change_response(
    response: Response,
    values: dict[str, Any],
    tries: Iterable[tuple[float, float]],
    *,
    by: Person,
    version: int,
) -> None:
    """Write a response sweep anew, from a version of it that the writer has seen."""
    _change(response, values, _tries(tries), by, version)


@transaction.atomic
def take_off(row: Sweep | Response, *, by: Person, removed: bool = True) -> None:
    """Take a sweep or a response off the card, or put it back; its readings stay either way."""
    require(by, "edit_curve")
    require_unlocked(row.build)
    row.removed = removed
    save_versioned(row, row.version, ["removed"])


def _add(
    model: type[Any], build: Build, values: dict[str, Any], readings: Iterable[dict[str, Any]], by: Person
):
    require(by, "edit_curve")
    require_unlocked(build)
    last = model.objects.filter(build=build).aggregate(last=Max("number"))["last"] or 0
    row = model.objects.create(build=build, number=last + 1, by=by, **values)
    _write(row, readings)
    return row


def _change(
    row: Sweep | Response,
    values: dict[str, Any],
    readings: Iterable[dict[str, Any]],
    by: Person,
    version: int,
):
    require(by, "edit_curve")
    require_unlocked(row.build)
    for name, value in values.items():
        setattr(row, name, value)
    save_versioned(row, version, list(values))
    row.readings.all().delete()
    _write(row, readings)


def _write(row: Sweep | Response, readings: Iterable[dict[str, Any]]):
    placed = enumerate(readings)
    if isinstance(row, Sweep):
        LightReading.objects.bulk_create(LightReading(sweep=row, position=at, **read) for at, read in placed)
    else:
        ResponseReading.objects.bulk_create(
            ResponseReading(response=row, position=at, **read) for at, read in placed
        )


def _lights(readings: Sequence[tuple[float, float, bool]]):
    return [{"crank_rpm": rpm, "crank_deg": deg, "part_throttle": part} for rpm, deg, part in readings]


def _tries(tries: Iterable[tuple[float, float]]):
    return [{"crank_deg": deg, "value": value} for deg, value in tries]
