"""Writing curve work and the drawer: each call one transaction, with right and lock checked."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from curves.models import Build, Reading, Run, Spring, Target, TargetPoint
from curves.rows import queries, stock
from curves.rows.locks import Locked, require_unlocked
from curves.rows.recording import OffTheCard, keep_at_ratio, keep_numbers, put, take_back
from shop.models import Person
from shop.rights import require
from shop.versions import Conflict, save_versioned

__all__ = [
    "Locked",
    "OffTheCard",
    "add_run",
    "change_run",
    "choose_figures",
    "put",
    "require_unlocked",
    "save_head",
    "save_spring",
    "save_target",
    "take_back",
    "take_off_run",
]


@transaction.atomic
def add_run(
    build: Build, values: dict[str, Any], readings: Sequence[tuple[float, float, bool]], *, by: Person
) -> Run:
    """Make a run of its values and its readings, (speed, advance, falling) in the run's frame."""
    require(by, "edit_curve")
    require_unlocked(build)
    last = Run.objects.filter(build=build).aggregate(last=Max("number"))["last"] or 0
    read_at = timezone.now() if readings else None
    run = Run.objects.create(build=build, number=last + 1, by=by, read_at=read_at, **values)
    _write_readings(run, readings)
    stock.settle(build, by=by)
    return run


@transaction.atomic
def change_run(
    run: Run,
    values: dict[str, Any],
    readings: Sequence[tuple[float, float, bool]],
    *,
    by: Person,
    version: int,
    typed_in: str | None = None,
) -> None:
    """Write a run anew, from a version of it that the writer has seen.

    ``typed_in`` names the frame that its numbers were said to be in, if they are to stand in the new one.
    """
    require(by, "edit_curve")
    require_unlocked(run.build)
    stands = Run.objects.get(pk=run.pk)
    before = _teaching(stands)
    for name, value in values.items():
        setattr(run, name, value)
    if queries.pair_and_bends(run) != queries.pair_and_bends(stands):
        values, run.promised = {**values, "promised": None}, None  # it was said of another pair
    save_versioned(run, version, list(values))
    if typed_in is not None:
        keep_numbers(run, typed_in, run.frame)
    stood = list(run.readings.all())
    run.readings.all().delete()
    _write_readings(run, readings, stood)
    if _teaching(run) != before:
        run.read_at = timezone.now()
        Run.objects.filter(pk=run.pk).update(read_at=run.read_at)
    stock.settle(run.build, by=by)


@transaction.atomic
def take_off_run(run: Run, *, by: Person, removed: bool = True) -> None:
    """Take a run off the card, or put it back; its readings stay either way.

    Taken off, its springs go back to the drawer, and those of the run before it hang in the unit again as far
    as they are free; put back, its own must be.
    """
    require(by, "edit_curve")
    require_unlocked(run.build)
    run.removed = removed
    save_versioned(run, run.version, ["removed"])
    stock.settle(run.build, by=by, strict=not removed)


@transaction.atomic
def save_target(
    build: Build,
    values: dict[str, Any],
    points: Iterable[tuple[float, float, float]],
    *,
    by: Person,
    version: int,
) -> Target:
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
def save_head(build: Build, values: dict[str, Any], *, by: Person, version: int) -> None:
    """Write what was measured of the head; what was typed in crank degrees stands at another ratio too."""
    require(by, "edit_curve")
    require_unlocked(build)
    if "crank_per_shaft" in values:
        keep_at_ratio(build, values["crank_per_shaft"])
    for name, value in values.items():
        setattr(build, name, value)
    save_versioned(build, version, list(values))


@transaction.atomic
def choose_figures(spring: Spring, chosen: str, *, by: Person, version: int) -> None:
    """Say which figures of a spring count: its own, what jobs taught, or (empty) what is newer."""
    require(by, "edit_drawer")
    spring.chosen = chosen
    spring.chosen_by, spring.chosen_at = (by, timezone.now()) if chosen else (None, None)
    save_versioned(spring, version, ["chosen", "chosen_by", "chosen_at"])


@transaction.atomic
def save_spring(spring: Spring, values: dict[str, Any], *, by: Person, version: int | None = None) -> None:
    """Write a spring of the drawer; one without a key is new, and ``quantity`` is its first count."""
    require(by, "edit_drawer")
    first_count = values.pop("quantity", 0) if spring.pk is None else 0
    for name, value in values.items():
        setattr(spring, name, value)
    if spring.pk is None:
        spring.save(force_insert=True)
        stock.open_stock(spring, first_count, by=by)
    else:
        save_versioned(spring, version, list(values))


def _teaching(run: Run):
    """All of a run that teaches of its springs."""
    rows = Reading.objects.filter(run=run).values_list("speed_rpm", "advance_deg", "falling")
    return run.frame, queries.pair_and_bends(run), list(rows)


def _write_readings(run: Run, readings: Iterable[tuple[float, float, bool]], stood: Sequence[Reading] = ()):
    """Write readings in order. One that stood before keeps its key: a tablet may still be sending it."""
    keys = defaultdict(list)
    for row in stood:
        keys[row.speed_rpm, row.advance_deg, row.falling].append((row.key, row.version))
    rows = []
    for position, (speed, advance, falling) in enumerate(readings):
        row = Reading(run=run, position=position, speed_rpm=speed, advance_deg=advance, falling=falling)
        if known := keys[speed, advance, falling]:
            row.key, row.version = known.pop(0)
        rows.append(row)
    Reading.objects.bulk_create(rows)
