"""What to look at when straight pieces were put through readings."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from ..arrays import Flags, Floats
from ..codes import Code, EngineWarning, warn
from ..readings import Readings
from ..units import FOUR_STROKE
from .pieces import Pieces

# Maximum advance in the field runs from "only a few" to 42 crank degrees (TM 10-3930-623-12, para 4-22).
UNUSUAL_DEG = FOUR_STROKE.to_shaft_deg(42.0)
MAX_NAMED = 3  # more strays than this are no strays: the scatter is named instead
STRAY_SDS = 4.0  # a residual beyond this many standard deviations is named


def few_readings(readings: Readings, used: Flags) -> tuple[EngineWarning, ...]:
    """Warn of what too few readings leave open."""
    speeds = len(np.unique(readings.speed_rpm[used]))
    if speeds == 1:
        return (warn(Code.READ_AT_ONE_SPEED),)
    return (warn(Code.READ_AT_FEW_SPEEDS, speed_count=speeds),)


def stray_readings(readings: Readings, used: Flags, left: Floats, sd_deg: float) -> tuple[EngineWarning, ...]:
    """Name the readings left aside and those that lie far from the pieces."""
    far = np.flatnonzero(~used | (np.abs(left) > STRAY_SDS * sd_deg))
    worst = far[np.argsort(-np.abs(left[far]), kind="stable")][:MAX_NAMED]
    return tuple(
        warn(
            Code.STRAY_KEPT if used[i] else Code.STRAY_LEFT_ASIDE,
            speed_shaft_rpm=readings.speed_rpm[i],
            advance_shaft_deg=readings.advance_deg[i],
            offset_shaft_deg=left[i],
        )
        for i in np.sort(worst)
    )


def shape_doubts(fit: Pieces, x: Floats, values: dict[str, Any]) -> Iterator[EngineWarning]:
    """Give what the readings do not show of the shape that was found."""
    begin, stop = values["begin_rpm"], values["stop_rpm"]
    if fit.shape.begin_free and begin <= 0:
        yield warn(Code.SLOPE_ABOVE_FLOOR)
    elif fit.shape.begin_free and begin < x[0]:
        yield warn(Code.BEGIN_NOT_READ, lowest_shaft_rpm=x[0], begin_shaft_rpm=begin)
    if stop is None and fit.slopes[-1] > 0:
        yield warn(Code.STOP_NOT_READ, highest_shaft_rpm=x[-1])
    for name, value, error in _named(values):
        if not np.isfinite(error):
            yield warn(Code.CORNER_NOT_PLACED, near_shaft_rpm=value, corner=name)
    if (fit.slopes < 0).any():
        yield warn(Code.ADVANCE_GOES_BACK)
    if values["top_deg"] - values["floor_deg"] > UNUSUAL_DEG:
        yield warn(Code.ADVANCE_UNUSUALLY_MUCH, advance_shaft_deg=values["top_deg"] - values["floor_deg"])


def _named(values: dict[str, Any]):
    yield "begin", values["begin_rpm"], values["begin_se_rpm"]
    for knee, error in zip(values["knee_rpm"], values["knee_se_rpm"], strict=True):
        yield "knee", knee, error
    if values["stop_rpm"] is not None:
        yield "stop", values["stop_rpm"], values["stop_se_rpm"]
