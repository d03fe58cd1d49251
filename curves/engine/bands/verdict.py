"""How a curve lies against the band of a target: where, how far, on which side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Floats
from ..codes import Code, EngineWarning, warn
from ..curve import AnyCurve, Curve, points_of
from ..readings import MAX_ADVANCE_DEG, checked_kind, checked_number
from .band import Target, above_edges, distance_outside


@dataclass(frozen=True)
class SpeedRange:
    """A stretch of speeds where a curve lies on one side of the band.

    Attributes
    ----------
    side : str
        "above" (too much advance) or "below" (too little).
    from_rpm, to_rpm : float
        Its ends [shaft rpm].
    worst_deg, worst_rpm : float
        Greatest distance [shaft degree], and where.
    area_deg_rpm : float
        Distance summed over speed [shaft degree x shaft rpm].
    """

    side: str
    from_rpm: float
    to_rpm: float
    worst_deg: float
    worst_rpm: float
    area_deg_rpm: float


@dataclass(frozen=True, eq=False)
class Verdict:
    """How a curve lies against the band of a target, in the shaft frame.

    Attributes
    ----------
    within : bool
        True when nothing lies outside and the curve covers every target speed.
    worst_deg, worst_rpm, worst_side : float, float, str
        Greatest distance outside the band [shaft degree], where [shaft rpm], and "above", "below" or
        "inside"; "unknown" when curve and target share no speed.
    speed_rpm, outside_deg : ndarray, shape (n,)
        Where the distance was taken [shaft rpm], between the points and at them, and the distance [shaft
        degree]: positive above the band, negative below it, 0 inside.
    at_points_deg : ndarray, shape (k,)
        The same at the target's own speeds [shaft degree]; NaN where the curve does not reach.
    ranges : tuple of SpeedRange
        Every stretch outside the band, in rising order.
    too_much_deg_rpm, too_little_deg_rpm : float
        Areas above and below the band [shaft degree x shaft rpm].
    warnings : tuple of EngineWarning
        What to look at.

    Examples
    --------
    >>> judge_curve(Target([500, 1500], [0, 10], 0.5), ([500, 1500], [0, 12])).ranges[0].to_rpm
    1500.0
    """

    within: bool
    worst_deg: float
    worst_rpm: float
    worst_side: str
    speed_rpm: Floats
    outside_deg: Floats
    at_points_deg: Floats
    ranges: tuple[SpeedRange, ...]
    too_much_deg_rpm: float
    too_little_deg_rpm: float
    warnings: tuple[EngineWarning, ...]


def judge_curve(target: Target, curve: AnyCurve, *, initial_deg: float = 0.0) -> Verdict:
    """Say where, how far and on which side a curve lies outside the band of a target.

    Parameters
    ----------
    target : Target
    curve : Curve, Readings, Run, or pair (speed_rpm, advance_deg)
        Straight between its points. Readings at one speed are each judged; the curve runs through their mean.
    initial_deg : float, default 0
        Initial timing added to the curve [shaft degree].

    Returns
    -------
    Verdict

    Raises
    ------
    ValueError
        If a value is not finite or out of range, or an argument is not of its kind.

    Notes
    -----
    Curve and edges are straight between the union of their speeds, so that the greatest distance lies at one
    of these and the areas are exact sums of trapezia cut where a line crosses an edge.

    References
    ----------
    Common practice, no source: see `band_edges`.

    Examples
    --------
    >>> verdict = judge_curve(Target([500, 1500], [0, 10], 0.5), ([500, 1000, 1500], [0, 7, 10]))
    >>> verdict.within, verdict.worst_deg, verdict.worst_rpm, verdict.worst_side
    (False, 1.5, 1000.0, 'above')
    """
    checked_kind("target", target, Target)
    initial = checked_number("initial_deg", initial_deg, -MAX_ADVANCE_DEG, MAX_ADVANCE_DEG)
    line = Curve.of(curve)
    speed = shared_speeds(target, line)
    at_points = np.full(target.speed_rpm.shape, np.nan)
    reached = (target.speed_rpm >= line.speed_rpm[0]) & (target.speed_rpm <= line.speed_rpm[-1])
    points = target.speed_rpm[reached]
    at_points[reached] = distance_outside(target, points, line.at(points) + initial) if reached.any() else 0.0
    warnings = (
        ()
        if reached.all()
        else (warn(Code.TARGET_NOT_REACHED, speeds_shaft_rpm=tuple(target.speed_rpm[~reached].tolist())),)
    )
    if not speed.size:
        none = np.empty(0)
        return Verdict(False, np.nan, np.nan, "unknown", none, none, at_points, (), 0.0, 0.0, warnings)
    outside = distance_outside(target, speed, line.at(speed) + initial)
    ranges = ranges_outside(speed, *above_edges(target, speed, line.at(speed) + initial))
    own_speed, own = _own_points(target, curve, line, initial)
    speed, outside = np.concatenate([speed, own_speed]), np.concatenate([outside, own])
    order = np.argsort(speed, kind="stable")
    speed, outside = speed[order], outside[order]
    worst = int(np.argmax(np.abs(outside)))
    side = "above" if outside[worst] > 0 else "below" if outside[worst] < 0 else "inside"
    return Verdict(
        within=side == "inside" and bool(reached.all()),
        worst_deg=float(abs(outside[worst])),
        worst_rpm=float(speed[worst]),
        worst_side=side,
        speed_rpm=speed,
        outside_deg=outside,
        at_points_deg=at_points,
        ranges=ranges,
        too_much_deg_rpm=sum(r.area_deg_rpm for r in ranges if r.side == "above"),
        too_little_deg_rpm=sum(r.area_deg_rpm for r in ranges if r.side == "below"),
        warnings=warnings,
    )


def shared_speeds(target: Target, line: Curve) -> Floats:
    """Return the speeds at which either a curve or the band bends, where both exist."""
    low = max(target.speed_rpm[0], line.speed_rpm[0])
    high = min(target.speed_rpm[-1], line.speed_rpm[-1])
    speed = np.unique(np.concatenate([target.speed_rpm, line.speed_rpm]))
    return speed[(speed >= low) & (speed <= high)]


def ranges_outside(speed: Floats, above_lower: Floats, above_upper: Floats) -> tuple[SpeedRange, ...]:
    """Return the stretches of speed where a curve lies below its lower or above its upper edge.

    `above_lower` and `above_upper` are how far the curve lies above the two edges at each of `speed`.
    """
    ranges = [*_stretches("above", speed, above_upper), *_stretches("below", speed, -above_lower)]
    return tuple(sorted(ranges, key=lambda stretch: stretch.from_rpm))


def _stretches(side: str, speed: Floats, beyond: Floats):
    """Yield the stretches where a line straight between its points is above zero."""
    turn = np.flatnonzero(beyond[:-1] * beyond[1:] < 0)
    share = beyond[turn] / (beyond[turn] - beyond[turn + 1])
    crossing = speed[turn] + share * (speed[turn + 1] - speed[turn])
    speed = np.insert(speed, turn + 1, crossing)
    beyond = np.maximum(np.insert(beyond, turn + 1, 0.0), 0.0)
    outside = beyond > 0
    starts = np.flatnonzero(outside & ~np.concatenate([[False], outside[:-1]]))
    stops = np.flatnonzero(outside & ~np.concatenate([outside[1:], [False]]))
    for first, last in zip(starts, stops, strict=True):
        cut = slice(max(first - 1, 0), last + 2)
        peak = first + int(np.argmax(beyond[first : last + 1]))
        yield SpeedRange(
            side,
            float(speed[cut][0]),
            float(speed[cut][-1]),
            float(beyond[peak]),
            float(speed[peak]),
            float(np.trapezoid(beyond[cut], speed[cut])),
        )


def _own_points(target: Target, curve: AnyCurve, line: Curve, initial: float):
    """Return distances of readings that share a speed, which the line through their mean would hide."""
    speed, advance = (np.asarray(part, float) for part in points_of(curve))
    if speed.size == line.speed_rpm.size:
        return np.empty(0), np.empty(0)
    outside = distance_outside(target, speed, advance + initial)
    inside = np.isfinite(outside)
    return speed[inside], outside[inside]
