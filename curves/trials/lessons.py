"""Which runs of a build teach its head: what of each counts, and why the rest does not."""

from __future__ import annotations

from dataclasses import dataclass

from curves import engine
from curves.judging import verdicts
from curves.models import Build, Run, Spring
from curves.rows import convert

# A reading this far above the stop was taken before the stop was changed; common practice, no source.
PAST_STOP_DEG = 0.75
MIN_READINGS = 2


@dataclass(frozen=True)
class Lesson:
    """One run: what the engine may learn from it (None: nothing), and why not all of it."""

    run: Run
    teaches: engine.Run | None
    readings: engine.Readings
    note: str = ""


def lessons(build: Build, springs: dict[int, Spring]) -> list[Lesson]:
    """Every live run with readings as a lesson; ``springs``: rows by key, with their corrections."""
    drive = convert.drive_of(build)
    read = [
        (run, readings)
        for run in build.runs.all()
        if not run.removed and (readings := convert.run_readings(run, drive)) is not None
    ]
    found = [_lesson(run, readings, build, springs) for run, readings in read]
    if not any(lesson.teaches for lesson in found):  # a poor teacher is better than none
        found = [_lesson(run, readings, build, springs, strict=False) for run, readings in read]
    return found


def _lesson(
    run: Run, readings: engine.Readings, build: Build, springs: dict[int, Spring], *, strict: bool = True
):
    if strict and run.kind == Run.Kind.AS_RECEIVED:
        apart, _ = verdicts.sweeps_apart(readings)
        if apart >= verdicts.APART_DEG:
            return Lesson(run, None, readings, "Its weights stuck, so it says little of the cleaned head.")
    kept, note = _below_the_stop(readings, build) if strict else (slice(None), "")
    if len(readings.speed_rpm[kept]) < MIN_READINGS and note:
        return Lesson(run, None, readings, note)
    primary, secondary = convert.pair_of(run, build, springs)
    taught = engine.Run(
        primary,
        secondary,
        readings.speed_rpm[kept],
        readings.advance_deg[kept],
        falling=readings.falling[kept],
        scale_deg=build.scale_deg,
        post_bend_mm=(run.primary_bend_mm, run.secondary_bend_mm),
    )
    return Lesson(run, taught, readings, note)


def _below_the_stop(readings: engine.Readings, build: Build):
    """Which readings were taken with the stop where it is now; those beyond it belong to another stop."""
    travel = build.travel_measured_deg
    if travel is None or readings.advance_deg.max() < travel + PAST_STOP_DEG:
        return slice(None), ""
    note = (
        f"It went past the stop as measured now ({travel:g} distributor deg): its readings above that do not "
        "count."
    )
    return readings.advance_deg <= travel, note
