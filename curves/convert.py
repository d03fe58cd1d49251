"""The only place that knows both the rows of a build and the arrays of the engine."""

import numpy as np

from curves import engine
from curves.engine.trigger import TURN_DEG
from curves.models import Frame

LOOSE = {"rate_sd": None, "free_length_sd_mm": None, "initial_tension_sd": None}


def drive_of(build):
    """How this build's shaft and crank turn together."""
    return engine.Drive(build.crank_per_shaft)


def shaft_speed(value, frame, drive):
    """A speed typed in a frame, as shaft rpm."""
    return drive.to_shaft_rpm(value) if frame == Frame.CRANK else value


def shaft_angle(value, frame, drive):
    """An angle typed in a frame, as shaft degrees."""
    return drive.to_shaft_deg(value) if frame == Frame.CRANK else value


def spring_of(spring):
    """A spring of the drawer as the engine knows it; a figure that nobody knows stays None."""
    return engine.Spring(
        spring.pk,
        spring.rate_n_per_mm,
        spring.free_length_mm,
        spring.initial_tension_n,
        rate_sd=spring.rate_sd,
        free_length_sd_mm=spring.free_length_sd_mm,
    )


def unknown_spring(run, position):
    """What hung in the unit when it came in: a spring of its own, nothing known about it."""
    return engine.Spring((position, run.pk), None, None, None, **LOOSE)


def head_of(build):
    """The advance head as measured; the travel measured rules, the one stamped is only a fallback."""
    measured = build.travel_measured_deg
    rough = (
        {} if measured is not None else {"travel_sd_deg": 2.0}
    )  # a stamping is often off by a degree or two
    return engine.Head(
        (build.primary_gap_mm, build.secondary_gap_mm),
        (build.primary_stretch_mm_per_deg, build.secondary_stretch_mm_per_deg),
        measured if measured is not None else build.travel_stamped_deg,
        **rough,
    )


def readings_of(rows, frame, drive):
    """Readings typed in a frame (rows with speed, advance, falling) as checked arrays in the shaft frame."""
    return typed_readings([(row.speed_rpm, row.advance_deg, row.falling) for row in rows], frame, drive)


def typed_readings(values, frame, drive):
    """Readings that no row holds yet, (speed, advance, falling) as typed, in the shaft frame."""
    speeds, advances, falling = zip(*values, strict=True)
    return engine.Readings(
        [shaft_speed(speed, frame, drive) for speed in speeds],
        [shaft_angle(advance, frame, drive) for advance in advances],
        list(falling),
    )


def run_readings(run, drive):
    """A run's readings in the shaft frame, or None while it has none."""
    rows = list(run.readings.all())
    return readings_of(rows, run.frame, drive) if rows else None


def run_of(run, build):
    """A run as the engine learns from it, or None while it has no readings."""
    readings = run_readings(run, drive_of(build))
    if readings is None:
        return None
    if run.primary is None:
        primary, secondary = unknown_spring(run, "primary"), unknown_spring(run, "secondary")
    else:
        primary = spring_of(run.primary)
        secondary = spring_of(run.secondary) if run.secondary else None
    return engine.Run(
        primary,
        secondary,
        readings.speed_rpm,
        readings.advance_deg,
        falling=readings.falling,
        scale_deg=build.scale_deg,
        post_bend_mm=(run.primary_bend_mm, run.secondary_bend_mm),
    )


def sparks_of(rows, cylinders):
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


def target_of(target, drive, *, initial_crank_deg=None):
    """The band in the shaft frame, or None while it has no points.

    Without an initial timing it is the band of the centrifugal curve alone, as a bench reads it. With
    one, it is the band of the timing a light reads, and the initial timing may move in the range agreed.
    """
    points = list(target.points.all()) if target else []
    if not points:
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


def travel_in_crank_deg(build):
    """The travel that counts, in crank degrees, or None."""
    travel = build.travel_measured_deg if build.travel_measured_deg is not None else build.travel_stamped_deg
    return None if travel is None else drive_of(build).to_crank_deg(travel)
