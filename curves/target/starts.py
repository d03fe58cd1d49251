"""Where a target may start from: a past build, this engine's own sweeps, or two slopes said aloud."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from curves.judging import responses, sweeps, verdicts
from curves.judging.timing import Engine
from curves.models import Build, Sweep
from curves.rows import convert, queries

TOLERANCE_CRANK_DEG = 1.0  # either way, where nothing says otherwise; common practice, no source
RPM_STEP, DEG_STEP = 10.0, 0.1  # what a person would write down
MAX_DEG = 60.0


class NoStart(ValueError):
    """Why a target can't start from there, in plain words."""


@dataclass(frozen=True)
class Start:
    """Points (crank rpm, crank deg, tolerance) to begin with, where from, and timing that goes with them."""

    points: Sequence[Sequence[float]]
    said: str
    initial: dict[str, float | None]


def of_two_slopes(
    begin_rpm: float, knee_rpm: float, knee_deg: float, full_rpm: float, full_deg: float
) -> Start:
    """Begin, knee and full as three points."""
    points = [(begin_rpm, 0.0), (knee_rpm, knee_deg), (full_rpm, full_deg)]
    return Start(_written(points), "two slopes: begin, knee and full", {})


def of_target(build: Build, name: str) -> Start:
    """The target that a past build was agreed to have, its timing included."""
    target = getattr(build, "target", None)
    points = (
        [(p.crank_rpm, p.crank_deg, p.tolerance_crank_deg) for p in target.points.all()] if target else []
    )
    if not points:
        raise NoStart(f"{name} has no target: start from its final curve.")
    names = ("initial_low_crank_deg", "initial_high_crank_deg", "initial_crank_deg", "total_limit_crank_deg")
    return Start(points, f"the target of {name}", {field: getattr(target, field) for field in names})


def of_final_curve(build: Build, name: str) -> Start:
    """The corners of a past build's final curve."""
    drive = convert.drive_of(build)
    run = queries.newest_runs(build).get("final")
    readings = convert.run_readings(run, drive) if run else None
    if readings is None:
        raise NoStart(f"{name} has no final run: start from its target.")
    knees = verdicts.knees_of(readings)
    corners = zip(drive.to_crank_rpm(knees.speed_rpm), drive.to_crank_deg(knees.advance_deg), strict=True)
    points = _written(corners)
    while len(points) > 1 and points[1][1] == 0:  # nothing happens before the begin
        points.pop(0)
    return Start(points, f"the final curve of {name}", {})


def of_sweep(sweep: Sweep, build: Build, set_up: Engine) -> Start:
    """What the light read less the true initial timing: the centrifugal advance that was in the engine."""
    said = sweeps.result_of(sweep, build, set_up)
    if said.initial is None:
        raise NoStart(f"{sweep} has no curve to take off yet: run the unit on the bench first.")
    base = said.initial.pooled_deg
    points = [(row.crank_rpm, row.crank_deg - base) for row in said.rows if row.used]
    text = f"{sweep}, less its true initial timing of {base:.1f} crank degrees"
    return Start(_written(points), text, {"initial_crank_deg": _round(base, DEG_STEP)})


def of_responses(build: Build, initial_crank_deg: float) -> Start:
    """The best advance found at each speed, less an initial timing; half its interval is the tolerance."""
    points = []
    for row in responses.responses_of(build):
        said = responses.result_of(row)
        low, high = said.low_crank_deg, said.high_crank_deg
        if said.best_crank_deg is not None and low is not None and high is not None:
            half = (high - low) / 2
            tolerance = min(max(_round(half, DEG_STEP), 0.5), 10.0)
            points.append((row.crank_rpm, said.best_crank_deg - initial_crank_deg, tolerance))
    if not points:
        raise NoStart("No response sweep tells a best advance yet.")
    text = f"the response sweeps, less {initial_crank_deg:g} crank degrees of initial timing"
    return Start(_written(points), text, {"initial_crank_deg": initial_crank_deg})


def _written(points: Iterable[Sequence[float]]):
    """Points as they would be written down, in order, each speed once, none below rest."""
    rows = {}
    for rpm, deg, *tolerance in points:
        speed = _round(float(rpm), RPM_STEP)
        degrees = _round(min(max(float(deg), 0.0), MAX_DEG), DEG_STEP)
        rows.setdefault(speed, (speed, degrees, *(tolerance or [TOLERANCE_CRANK_DEG])))
    return [rows[speed] for speed in sorted(rows)]


def _round(value: float, step: float):
    return round(round(value / step) * step, 6)
