"""The only place that knows both the rows of a build and the arrays of the engine."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any, Protocol

import numpy as np

from curves import engine
from curves.engine.arrays import Floats
from curves.engine.springs.spring import within_range
from curves.engine.trigger.points import TURN_DEG
from curves.models import Build, Frame, HeadType, Reading, Run, SparkReading, Spring, SpringCorrection

Counts = engine.Spring  # what counts of a spring, for those who name no arrays
LOOSE = {"rate_sd": None, "free_length_sd_mm": None, "initial_tension_sd": None}


class Agreed(Protocol):
    """A band as agreed, by a row or by what is typed: its points, and the initial timing."""

    @property
    def points(self) -> Any: ...  # a manager of TargetPoint, or what is typed of them
    @property
    def initial_low_crank_deg(self) -> float: ...
    @property
    def initial_high_crank_deg(self) -> float: ...
    @property
    def initial_crank_deg(self) -> float | None: ...
    @property
    def initial_agreed(self) -> bool: ...
    @property
    def initial_range_agreed(self) -> bool: ...
    @property
    def initial_off_range(self) -> str: ...
    @property
    def total_limit_crank_deg(self) -> float | None: ...


def drive_of(build: Build) -> engine.Drive:
    """How this build's shaft and crank turn together."""
    return engine.Drive(build.crank_per_shaft)


def shaft_speed(value: float, frame: str, drive: engine.Drive) -> float:
    """A speed typed in a frame, as shaft rpm."""
    return drive.to_shaft_rpm(value) if frame == Frame.CRANK else value


def shaft_angle(value: float, frame: str, drive: engine.Drive) -> float:
    """An angle typed in a frame, as shaft degrees."""
    return drive.to_shaft_deg(value) if frame == Frame.CRANK else value


def spring_of(spring: Spring, *, position: str | None = None, build: Build | None = None) -> engine.Spring:
    """A spring of the drawer as the engine knows it; a figure that nobody knows stays None.

    With a position and a build, what other jobs taught of it there may count instead of its own figures: see
    ``correction_for``. Costs a query unless the spring's corrections are prefetched.
    """
    if position is not None and (taught := correction_for(spring, position, build)):
        return corrected_of(spring, taught)
    return engine.Spring(
        spring.label,
        spring.rate_n_per_mm,
        spring.free_length_mm,
        spring.initial_tension_n,
        rate_sd=spring.rate_sd,
        free_length_sd_mm=spring.free_length_sd_mm,
        **_tension_sd(spring),
    )


def _tension_sd(spring: Spring) -> dict[str, Any]:
    """The relative error of the initial tension, where a weighing told it and there is one."""
    known, tension = spring.initial_tension_sd_n, spring.initial_tension_n
    if known is None or not tension:
        return {}
    return {"initial_tension_sd": within_range("initial_tension_sd", known / tension)}


def correction_for(spring: Spring, position: str, build: Build | None = None) -> SpringCorrection | None:
    """The correction that counts for a spring in a place, or None where its own figures do.

    The newest in use, unless the spring was weighed after it was learned: a scale sees the spring itself. A
    person may have chosen otherwise.
    """
    if spring.chosen == Spring.Chosen.OWN:
        return None
    return newest_correction(spring, position, build, since=None if spring.chosen else spring.weighing_at)


def newest_correction(
    spring: Spring, position: str, build: Build | None = None, *, since: datetime | None = None
) -> SpringCorrection | None:
    """The newest correction in use for a spring in a place, learned after a moment, or None.

    A build's own correction never counts for it, nor one that was learned on top of it: its runs would be
    believed twice.
    """
    own = build.pk if build else None
    counting = (
        one
        for one in spring.corrections.all()
        if one.in_use
        and one.position == position
        and own not in (one.build_id, *one.rests_on)
        and (since is None or one.learned_at > since)
    )
    return max(counting, key=lambda one: (one.learned_at, one.pk), default=None)


def corrected_of(spring: Spring, correction: SpringCorrection) -> engine.Spring:
    """A spring with the figures of a correction."""
    return engine.Spring(
        spring.label,
        correction.rate_n_per_mm,
        correction.free_length_mm,
        correction.initial_tension_n,
        rate_sd=correction.rate_sd,
        free_length_sd_mm=correction.free_length_sd_mm,
        initial_tension_sd=correction.initial_tension_sd,
        error_correlation=tuple(correction.correlation) or (0.0, 0.0, 0.0),
    )


def correction_values(found: engine.Spring) -> dict[str, Any]:
    """What is kept of a spring as a calibration found it."""
    return {
        "rate_n_per_mm": found.rate_n_per_mm,
        "rate_sd": found.rate_sd,
        "free_length_mm": found.free_length_mm,
        "free_length_sd_mm": found.free_length_sd_mm,
        "initial_tension_n": found.initial_tension_n,
        "initial_tension_sd": found.initial_tension_sd,
        "correlation": list(found.error_correlation),
    }


def unknown_spring(run: Run, position: str) -> engine.Spring:
    """What hung in the unit when it came in: a spring of its own, nothing known about it."""
    return engine.Spring(f"{position} as it was in run {run.number} ({run.pk})", None, None, None, **LOOSE)


def learned_of(head_type: HeadType | None) -> engine.LearnedType | None:
    """What the handed-back heads of a type were found to be, or None while nothing was learned."""
    said = head_type.learned if head_type else None
    if not said:
        return None
    covariance = tuple(tuple(row) for row in said["covariance"])
    return engine.LearnedType(tuple(said["mean"]), covariance, said["heads"])


def head_of(build: Build, *, learned: engine.LearnedType | None = None) -> engine.Head:
    """The advance head as measured; the travel measured rules, the one stamped is only a fallback."""
    measured = build.travel_measured_deg
    # A stamping is often off by a degree or two.
    rough = {} if measured is not None else {"travel_sd_deg": 2.0}
    return engine.Head(
        (build.primary_gap_mm, build.secondary_gap_mm),
        (build.primary_stretch_mm_per_deg, build.secondary_stretch_mm_per_deg),
        measured if measured is not None else build.travel_stamped_deg,
        learned=learned,
        **rough,
    )


def readings_of(rows: Iterable[Reading], frame: str, drive: engine.Drive) -> engine.Readings:
    """Readings typed in a frame (rows with speed, advance, falling) as checked arrays in the shaft frame."""
    return typed_readings([(row.speed_rpm, row.advance_deg, row.falling) for row in rows], frame, drive)


def typed_readings(
    values: Iterable[tuple[float, float, bool]], frame: str, drive: engine.Drive
) -> engine.Readings:
    """Readings that no row holds yet, (speed, advance, falling) as typed, in the shaft frame."""
    speeds, advances, falling = zip(*values, strict=True)
    return engine.Readings(
        [shaft_speed(speed, frame, drive) for speed in speeds],
        [shaft_angle(advance, frame, drive) for advance in advances],
        list(falling),
    )


def run_readings(run: Run, drive: engine.Drive) -> engine.Readings | None:
    """A run's readings in the shaft frame, or None while it has none."""
    rows = list(run.readings.all())
    return readings_of(rows, run.frame, drive) if rows else None


def pair_of(
    run: Run, build: Build, springs: Mapping[int, Spring] | None = None
) -> tuple[engine.Spring, engine.Spring | None]:
    """The two springs of a run as the engine knows them; ``springs`` holds rows with their corrections."""
    if run.primary is None:
        return unknown_spring(run, "primary"), unknown_spring(run, "secondary")
    rows = springs or {}
    primary = spring_of(rows.get(run.primary.pk, run.primary), position=Spring.Position.PRIMARY, build=build)
    if run.secondary is None:
        return primary, None
    secondary = rows.get(run.secondary.pk, run.secondary)
    return primary, spring_of(secondary, position=Spring.Position.SECONDARY, build=build)


def sparks_of(rows: Iterable[SparkReading], cylinders: int) -> tuple[list[Floats], list[float]]:
    """Whole turns of spark readings: the angle of each spark [shaft deg] by turn and cylinder, and the speed
    of each turn. At each speed as many turns count as every cylinder was read."""
    nominal = np.arange(cylinders) * (TURN_DEG / cylinders)
    turns, speeds = [], []
    for speed in sorted({row.speed_rpm for row in rows}):
        read = [
            [row.offset_deg for row in rows if (row.speed_rpm, row.cylinder) == (speed, cylinder)]
            for cylinder in range(1, cylinders + 1)
        ]
        for offsets in zip(*read, strict=False):
            turns.append(nominal + offsets)
            speeds.append(speed)
    return turns, speeds


def target_of(
    target: Agreed | None, drive: engine.Drive, *, initial_crank_deg: float | None = None
) -> engine.Target | None:
    """The band in the shaft frame, or None while it has no points.

    Without an initial timing it is the band of the centrifugal curve alone, as a bench reads it. With
    one, it is the band of the timing a light reads, and the initial timing may move in the range agreed.
    """
    if target is None or not (points := list(target.points.all())):
        return None
    added, allowed = 0.0, (0.0, 0.0)
    if initial_crank_deg is not None:
        added = initial_crank_deg
        allowed = (
            drive.to_shaft_deg(target.initial_low_crank_deg),
            drive.to_shaft_deg(target.initial_high_crank_deg),
        )
    return engine.Target(
        [drive.to_shaft_rpm(point.crank_rpm) for point in points],
        [drive.to_shaft_deg(point.crank_deg + added) for point in points],
        [drive.to_shaft_deg(point.tolerance_crank_deg) for point in points],
        initial_range_deg=allowed,
    )


def band_below(target: engine.Target, initial_deg: float) -> engine.Target:
    """The band of the centrifugal curve once the initial timing is set [shaft degree]."""
    return engine.Target(target.speed_rpm, target.advance_deg - initial_deg, target.tolerance_deg)


def travel_in_crank_deg(build: Build) -> float | None:
    """The travel that counts, in crank degrees, or None."""
    travel = build.travel_measured_deg if build.travel_measured_deg is not None else build.travel_stamped_deg
    return None if travel is None else drive_of(build).to_crank_deg(travel)
