"""What one run comes to: its verdict against the band, its knees in both frames, and what is unusual."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import isfinite

import numpy as np

from curves import engine
from curves.judging import travel
from curves.models import Build, Run
from curves.rows import frames
from curves.rows.results import AT_POINT, BETWEEN, CurveWarning, InBoth, Knee, Miss, RunSummary

# Thresholds of what is said aloud though it is accepted; common practice, no source, but for the second.
APART_DEG = 1.0  # distributor degrees between falling and rising sweep: the weights stick
MUCH_CRANK_DEG = 40.0  # TM 10-3930-623-12 gives at most 42 crank degrees
SO_FAR = "Sweeps in the band so far"  # the run's verdict, with all that is read beside them, is proof's alone
PLACES = 6  # of what is shown, before it is rounded


def run_summary(
    run: Run, readings: engine.Readings, knees: engine.Knees, band: engine.Target | None, drive: engine.Drive
) -> RunSummary:
    """One run in words and numbers; ``band`` is None while none is agreed."""
    top = float(readings.advance_deg.max())
    in_band, miss, uncovered = verdict(readings, band, drive)
    return RunSummary(
        run,
        in_band,
        miss,
        knees=tuple(knee_rows(knees, drive)),
        top=_deg(top, drive),
        uncovered_crank_rpm=uncovered,
    )


def knees_of(readings: engine.Readings) -> engine.Knees:
    """The straight pieces of the rising sweep, as the engine fits them."""
    return engine.fit_knees(rising(readings))


def rising(readings: engine.Readings) -> engine.Readings:
    """The rising sweep of a run, or all of it where there is none."""
    return engine.sweep_of(readings, falling=False) or readings


def verdict(
    readings: engine.Readings, band: engine.Target | None, drive: engine.Drive
) -> tuple[bool | None, Miss | None, tuple[float, ...]]:
    """Whether a run lies in the band, its worst miss, and the band's speeds it did not reach.

    The rising and the falling sweep are judged each by itself. A run that has not reached all of the band yet
    and lies in it so far has no verdict, nor has one of which nothing was read rising.
    """
    if band is None:
        return None, None, ()
    verdicts = engine.judge_sweeps(band, readings)
    worst = max(verdicts, key=lambda found: found.worst_deg if isfinite(found.worst_deg) else -1.0)
    missed = np.isnan(verdicts[0].at_points_deg)
    uncovered = tuple(float(rpm) for rpm in drive.to_crank_rpm(band.speed_rpm[missed]))
    if worst.worst_side in ("above", "below"):
        side = "over" if worst.worst_side == "above" else "under"
        where = AT_POINT if np.isclose(band.speed_rpm, worst.worst_rpm).any() else BETWEEN
        miss = Miss(_deg(tidy(worst.worst_deg), drive), side, _rpm(worst.worst_rpm, drive), where)
        return False, miss, uncovered
    is_told = not uncovered and engine.sweep_of(readings, falling=False) is not None
    return (True if is_told else None), None, uncovered


def knee_rows(knees: engine.Knees, drive: engine.Drive) -> Iterator[Knee]:
    """What a rebuilder says of a curve, row by row."""
    if knees.begin_rpm is None:
        return
    yield Knee("begins", speed_rpm=_rpm(knees.begin_rpm, drive, knees.begin_se_rpm))
    names = (
        ("slope",) if len(knees.slope_deg_per_100rpm) == 1 else ("first slope", "second slope", "third slope")
    )
    for i, slope in enumerate(knees.slope_deg_per_100rpm):
        if i:
            speed, error = float(knees.knee_rpm[i - 1]), float(knees.knee_se_rpm[i - 1])
            yield Knee("knee", _rpm(speed, drive, error), _deg(knees.advance_at(speed), drive))
        error = _finite(knees.slope_se[i])
        # Angle and speed scale alike between the frames, so a slope is the same number in both.
        yield Knee(names[i], slope_deg_per_100_rpm=InBoth(float(slope), float(slope), error, error))
    if knees.stop_rpm is not None:
        stop = _rpm(knees.stop_rpm, drive, knees.stop_se_rpm)
        yield Knee("stops", stop, _deg(knees.top_deg, drive, knees.top_se_deg))


def draft_words(
    readings: engine.Readings | None,
    band: engine.Target | None,
    drive: engine.Drive,
    frame: str,
    *,
    is_final: bool = False,
) -> list[CurveWarning]:
    """What can be said of readings typed in a frame: the verdict so far, and what is unusual.

    A final run is to be read near every point of the band, not drawn over it.
    """
    if readings is None:
        return []
    name = "So far"
    warnings = [
        *_hysteresis(name, readings, drive, frame),
        *_much(name, _deg(float(readings.advance_deg.max()), drive), frame),
        *_strays(name, readings, drive, frame),
    ]
    if band is None:
        return warnings
    inside, miss, uncovered = verdict(readings, band, drive)
    if miss:
        return [CurveWarning("out", miss_words(miss, frame)), *warnings]
    if uncovered:
        missing = [InBoth.speed(drive.to_shaft_rpm(rpm), drive) for rpm in uncovered]
        reached = f"{SO_FAR}; not reached yet: {frames.speeds(missing, frame)}."
        return [CurveWarning("in", reached), *warnings]
    words = _inside_words(readings, band, is_final) if inside else f"{SO_FAR}; rising sweep not read."
    return [CurveWarning("in", words), *warnings]


def _inside_words(readings: engine.Readings, band: engine.Target, is_final: bool):
    """What is said of a run whose rising sweep lies in the band all along: as its falling one allows."""
    falling = engine.sweep_of(readings, falling=True)
    if is_final and (unread := _unread_sweeps(rising(readings), falling, band)):
        return f"{SO_FAR}; {unread} not read over the whole band."
    if falling is None:
        return f"{SO_FAR}."
    if np.isnan(engine.judge_sweeps(band, readings)[-1].at_points_deg).any():
        return f"{SO_FAR}; falling sweep not read over the whole band."
    return "Sweeps in the band."


def _unread_sweeps(rising: engine.Readings, falling: engine.Readings | None, band: engine.Target):
    """The sweeps that want a reading near a point of the band, in words; empty while none does."""
    sweeps = {"rising": rising, "falling": falling}
    names = [name for name, sweep in sweeps.items() if sweep and engine.unread_speeds(band, sweep)]
    return "sweeps" if len(names) == 2 else f"{names[0]} sweep" if names else ""


def miss_words(miss: Miss, frame: str) -> str:
    """How far a run lies out of its band at the worst, and where, in a frame, the other beside."""
    far, at = frames.angle(miss.distance_deg, frame), frames.speed(miss.speed_rpm, frame)
    return f"Out of the band by {far} {miss.side}, at {at}, {miss.where}."


def build_warnings(build: Build) -> list[CurveWarning]:
    """What is unusual about the head itself."""
    said = travel.apart_on(build, build.travel_measured_deg)
    return [CurveWarning("travel", said)] if said else []


def run_warnings(
    run: Run, readings: engine.Readings, said: RunSummary, drive: engine.Drive
) -> list[CurveWarning]:
    """What is unusual about a run."""
    return [
        *_hysteresis(run, readings, drive, run.frame),
        *(_much(run, said.top, run.frame) if said.top else ()),
        *_strays(run, readings, drive, run.frame),
    ]


def _hysteresis(run: Run | str, readings: engine.Readings, drive: engine.Drive, frame: str):
    """The falling sweep against the rising one, where both were read."""
    apart, speed = sweeps_apart(readings)
    if abs(apart) < APART_DEG:
        return
    distance, at = _deg(abs(apart), drive), _rpm(speed, drive)
    where = f"{frames.angle(distance, frame)} at {frames.speed(at, frame)}"
    if apart > 0:
        text = f"{run}: the falling sweep lies {where} above the rising one. The weights may stick."
        yield CurveWarning("falling_above", text)
    else:
        text = f"{run}: the falling sweep lies {where} below the rising one. The two may be mixed up."
        yield CurveWarning("falling_below", text)


def sweeps_apart(readings: engine.Readings) -> tuple[float, float]:
    """How far the falling sweep lies above the rising one at the worst, and at which speed.

    In the shaft frame; 0 at 0 where they can't be compared.
    """
    up, down = (engine.sweep_of(readings, falling=falling) for falling in (False, True))
    if up is None or down is None or not (speeds := _shared_speeds(up, down)).size:
        return 0.0, 0.0
    apart = engine.Curve.of(down).at(speeds) - engine.Curve.of(up).at(speeds)
    worst = int(np.argmax(np.abs(apart)))
    return float(apart[worst]), float(speeds[worst])


def _shared_speeds(up: engine.Readings, down: engine.Readings):
    """The speeds read in either sweep that both reach."""
    low = max(up.speed_rpm[0], down.speed_rpm[0])
    high = min(up.speed_rpm[-1], down.speed_rpm[-1])
    speeds = np.unique(np.concatenate([up.speed_rpm, down.speed_rpm]))
    return speeds[(speeds >= low) & (speeds <= high)]


def _much(run: Run | str, top: InBoth, frame: str):
    if top.crank >= MUCH_CRANK_DEG:
        text = f"{run}: {frames.angle(top, frame)} of centrifugal advance is much. Is the frame right?"
        yield CurveWarning("much_advance", text)


def _strays(run: Run | str, readings: engine.Readings, drive: engine.Drive, frame: str):
    for i in np.flatnonzero(readings.stray):
        at = _rpm(float(readings.speed_rpm[i]), drive)
        read = _deg(float(readings.advance_deg[i]), drive)
        text = (
            f"{run}: the reading of {frames.angle(read, frame)} at {frames.speed(at, frame)} goes "
            "against the others of its sweep. Read it again."
        )
        yield CurveWarning("stray", text)


def tidy(value: float) -> float:
    """A number without the dust of its arithmetic, so that a half is rounded alike wherever it is shown."""
    return round(float(value), PLACES)


def _rpm(shaft: float, drive: engine.Drive, error: float | None = None):
    return _both(float(shaft), drive.to_crank_rpm(float(shaft)), error, drive.to_crank_rpm)


def _deg(shaft: float, drive: engine.Drive, error: float | None = None):
    return _both(float(shaft), drive.to_crank_deg(float(shaft)), error, drive.to_crank_deg)


def _both(shaft: float, crank: float, error: float | None, to_crank: Callable[[float], float]):
    error = _finite(error)
    return InBoth(shaft, crank, error, None if error is None else to_crank(error))


def _finite(error: float | None):
    """A standard error, or None where the readings leave it open."""
    return float(error) if error is not None and isfinite(error) else None
