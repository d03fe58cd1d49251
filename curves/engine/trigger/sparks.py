"""Spark spacing: how far each cylinder's spark falls from where it should, and how steadily."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Flags, Floats, Indices
from ..codes import Code, EngineWarning, warn
from ..readings import MAX_SPEED_RPM, as_floats, checked_array, checked_number, is_single
from .points import MAX_CYLINDERS, TURN_DEG

SPACING_LIMIT_DEG = 2.0  # at 300 rpm, shaft degrees (TM 5-4210-230-14&P-1)
SAME_DEG = 0.05  # cylinders nearer to the worst are as bad: all is shown to a tenth
SURE = 3.0  # standard errors before a drift is called one


@dataclass(frozen=True, eq=False)
class Scatter:
    """Spark spacing in the shaft frame; arrays per cylinder run in firing order.

    Attributes
    ----------
    offset_deg : ndarray, shape (c,)
        Mean deviation of each cylinder [shaft degree]: the same every turn, so cam or reluctor.
    sd_deg : ndarray, shape (c,)
        Standard deviation about that [shaft degree]: different every turn, so bush, drive or points.
    range_deg, cylinder_worst_deg : ndarray, shape (c,)
        Greatest minus least deviation, and greatest size of a deviation [shaft degree].
    missed : ndarray of int, shape (c,)
        Sparks not seen.
    drift_deg_per_1000rpm, drift_se : ndarray, shape (c,)
        How the cylinder's deviation moves with speed [shaft degree per 1000 shaft rpm]; NaN at one speed.
    worst_deg, worst_cylinder : float, int
        Greatest size of all, and its place in firing order, from 1.
    total_range_deg, total_sd_deg : float
        Range and root mean square of all deviations [shaft degree].
    deviation_deg : ndarray, shape (r, c)
        Every deviation; NaN where a spark was missed.
    within : bool
        True when no deviation exceeds the limit and no spark was missed.
    warnings : tuple of EngineWarning
        What to look at.
    """

    offset_deg: Floats
    sd_deg: Floats
    range_deg: Floats
    cylinder_worst_deg: Floats
    missed: Flags
    drift_deg_per_1000rpm: Floats
    drift_se: Floats
    worst_deg: float
    worst_cylinder: int
    total_range_deg: float
    total_sd_deg: float
    deviation_deg: Floats
    within: bool
    warnings: tuple[EngineWarning, ...]


def scatter(
    spark_deg: ArrayLike,
    *,
    spacing_deg: ArrayLike | None = None,
    speed_rpm: ArrayLike | None = None,
    limit_deg: float = SPACING_LIMIT_DEG,
) -> Scatter:
    """Measure how far sparks fall from equal or given spacing.

    Parameters
    ----------
    spark_deg : array_like, shape (r, c) or (c,)
        Shaft angle of each spark [shaft degree], turns in rows, cylinders in firing order; counting on past
        360 or starting again are both fine. NaN is a missed spark.
    spacing_deg : array_like, shape (c,), optional
        Angle from each cylinder's spark to the next [shaft degree], above 0, together 360; by default equal.
    speed_rpm : float or array_like, shape (r,), optional
        Shaft speed of each turn [rpm], above 0. Turns at one speed share their zero, so that advance is no
        scatter.
    limit_deg : float, default 2
        Allowed deviation either way [shaft degree], at least 0.

    Returns
    -------
    Scatter

    Raises
    ------
    ValueError
        If there is no spark, shapes differ, the spacing does not close, or a value is infinite or out of
        range.

    Notes
    -----
    deviation = angle - nominal, brought to within half a turn, minus the mean of all turns at that speed.

    References
    ----------
    TM 5-4210-230-14&P-1: within +/- 2 degrees at 300 rpm, spacing 45 (eight cylinders) or 90 degrees (four).

    Examples
    --------
    >>> spread = scatter([[0, 91, 180, 269], [0, 91, 180, 269]])
    >>> spread.worst_deg, spread.worst_cylinder, spread.offset_deg.tolist(), spread.within
    (1.0, 2, [0.0, 1.0, 0.0, -1.0], True)
    """
    angle = _angles(spark_deg)
    turns, cylinders = angle.shape
    limit = checked_number("limit_deg", limit_deg, 0.0, TURN_DEG)
    speed = _speeds(speed_rpm, turns)
    off = angle - _nominal(spacing_deg, cylinders)
    off = off - off[np.isfinite(off)][0]
    off = (off + TURN_DEG / 2.0) % TURN_DEG - TURN_DEG / 2.0
    for value in np.unique(speed):
        same = speed == value
        if np.isfinite(off[same]).any():
            off[same] -= np.nanmean(off[same])
    seen = np.isfinite(off)
    count = seen.sum(axis=0)
    filled = np.where(seen, off, 0.0)
    offset = np.where(count > 0, filled.sum(axis=0) / np.maximum(count, 1), np.nan)
    left = np.where(seen, off - offset, 0.0)
    sd = np.where(count > 1, np.sqrt((left**2).sum(axis=0) / np.maximum(count - 1, 1)), np.nan)
    lowest = np.where(seen, off, np.inf).min(axis=0)
    highest = np.where(seen, off, -np.inf).max(axis=0)
    size = np.where(seen, np.abs(off), -1.0)
    cylinder_worst = np.where(count > 0, size.max(axis=0), np.nan)
    drift, drift_se = _drift(off, seen, speed)
    missed = turns - count
    worst = float(size.max())
    worst_cylinder = int(np.argmax(size.max(axis=0))) + 1
    worst_cylinders = np.flatnonzero(size.max(axis=0) > worst - SAME_DEG) + 1
    within = worst <= limit and not missed.any()
    return Scatter(
        offset_deg=offset,
        sd_deg=sd,
        range_deg=np.where(count > 0, highest - lowest, np.nan),
        cylinder_worst_deg=cylinder_worst,
        missed=missed,
        drift_deg_per_1000rpm=drift,
        drift_se=drift_se,
        worst_deg=worst,
        worst_cylinder=worst_cylinder,
        total_range_deg=float(highest.max() - lowest.min()),
        total_sd_deg=float(np.sqrt((filled**2).sum() / seen.sum())),
        deviation_deg=off,
        within=within,
        warnings=tuple(_doubts(offset, sd, missed, drift, drift_se, worst, worst_cylinders, limit, turns)),
    )


def _angles(spark_deg: ArrayLike):
    angle = np.atleast_2d(as_floats("spark_deg", spark_deg, "a table of numbers"))
    if angle.ndim != 2 or not 1 <= angle.shape[1] <= MAX_CYLINDERS:
        wanted = f"1 to {MAX_CYLINDERS} cylinders in each row"
        raise ValueError(f"spark_deg must have {wanted}, got shape {angle.shape}")
    if np.isinf(angle).any():
        raise ValueError("spark_deg must be finite, or NaN for a missed spark, got inf")
    if not np.isfinite(angle).any():
        raise ValueError("spark_deg must hold at least 1 spark, got none")
    return angle


def _nominal(spacing_deg: ArrayLike | None, cylinders: int):
    if spacing_deg is None:
        return np.arange(cylinders) * (TURN_DEG / cylinders)
    like = ("cylinders", cylinders)
    spacing = checked_array("spacing_deg", spacing_deg, 0.0, TURN_DEG, above=True, like=like)
    if abs(spacing.sum() - TURN_DEG) > 1e-6:
        raise ValueError(f"spacing_deg must add up to {TURN_DEG:g}, got {spacing.sum():g}")
    return np.concatenate([[0.0], np.cumsum(spacing)[:-1]])


def _speeds(speed_rpm: ArrayLike | None, turns: int):
    if speed_rpm is None:
        return np.zeros(turns)
    values = np.full(turns, speed_rpm) if is_single(speed_rpm) else speed_rpm
    return checked_array("speed_rpm", values, 0.0, MAX_SPEED_RPM, above=True, like=("turns", turns))


def _drift(off: Floats, seen: Flags, speed: Floats):
    """Return slope and standard error of each cylinder's deviation over speed, per 1000 rpm."""
    slopes, errors = np.full((2, off.shape[1]), np.nan)
    for j, (column, there) in enumerate(zip(off.T, seen.T, strict=True)):
        x, y = speed[there] / 1000.0, column[there]
        if np.unique(x).size < 2 or x.size < 3:
            continue
        away = x - x.mean()
        size = away @ away
        slopes[j] = away @ y / size
        left = y - y.mean() - slopes[j] * away
        errors[j] = np.sqrt(left @ left / (x.size - 2) / size)
    return slopes, errors


def _doubts(
    offset: Floats,
    sd: Floats,
    missed: Flags,
    drift: Floats,
    drift_se: Floats,
    worst: float,
    worst_cylinders: Indices,
    limit: float,
    turns: int,
):
    if turns < 2:
        yield warn(Code.ONE_TURN)
    if missed.any():
        yield warn(Code.SPARKS_MISSED, cylinders=_places(missed))
    if worst > limit:
        steady = np.nanmax(np.abs(offset)) >= (np.nanmax(sd) if np.isfinite(sd).any() else 0.0)
        # Who adjusts only the first of several finds the limit missed again: all that are as bad are named.
        code = Code.SPARKS_OFF_STEADILY if steady else Code.SPARKS_OFF_UNSTEADILY
        yield warn(code, cylinders=tuple(worst_cylinders.tolist()))
    known = np.isfinite(drift)
    moving = known & (np.abs(np.where(known, drift, 0.0)) > SURE * np.where(known, drift_se, np.inf) + 1e-9)
    if moving.any():
        yield warn(Code.SPACING_MOVES, cylinders=_places(moving))


def _places(marked: Flags):
    """Give the places in firing order, from 1, that are marked."""
    return tuple((np.flatnonzero(marked) + 1).tolist())
