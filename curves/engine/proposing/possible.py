"""Whether any pair of springs could give a target at all: what weights and springs can't do."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Floats
from ..bands.band import Target
from ..governor.prior import GROWTH_SD, TYPICAL_GROWTH
from ..readings import MAX_ADVANCE_DEG, checked_kind, checked_number

MAX_GROWTH = TYPICAL_GROWTH + 2.0 * GROWTH_SD  # [1/deg] how much the weights' arm may grow


@dataclass(frozen=True)
class Feasibility:
    """What stands against a target, in the shaft frame.

    Attributes
    ----------
    possible : bool
        False when no pair of springs gives a curve in the band; True only means that nothing rules it out.
    reasons : tuple of str
        "retards", "negative", "travel" and "steeper", as far as they apply.
    at_rpm : float or None
        Where the first reason shows [shaft rpm].
    needed_deg : float
        Least travel that reaches into the band everywhere [shaft degree].

    Examples
    --------
    >>> can_follow(Target([500, 1000], [-2, 6], 0.5))
    Feasibility(possible=False, reasons=('negative',), at_rpm=500.0, needed_deg=5.5)
    """

    possible: bool
    reasons: tuple[str, ...]
    at_rpm: float | None
    needed_deg: float


def can_follow(target: Target, *, travel_deg: float | None = None) -> Feasibility:
    """Tell whether weights and two springs could follow a target, whatever the springs.

    Parameters
    ----------
    target : Target
        The centrifugal advance wanted.
    travel_deg : float, optional
        What the stop allows [shaft degree], above 0; without it the travel is not judged.

    Returns
    -------
    Feasibility

    Raises
    ------
    ValueError
        If an argument is not of its kind or out of range.

    Notes
    -----
    Springs only come in as the weights go out, so their torque bends upwards over the angle, and the angle
    over w^2 (1 + b t) bends downwards: the curve rises, then less steeply, and never retards. Only the
    initial tension of a second spring makes a shelf, behind which the rise is no steeper than before it. So
    each side of the shelf has to fit under its least concave line through the band's lower edge. Before the
    begin the weights rest, with both springs loose anywhere.

    References
    ----------
    The balance of `equilibrium.py`; elementary.

    Examples
    --------
    >>> can_follow(Target([500, 1000, 1500], [0, 6, 10], 0.5), travel_deg=11).possible
    True
    >>> can_follow(Target([500, 1000, 1500], [0, 10, 6], 0.5)).reasons
    ('retards',)
    """
    checked_kind("target", target, Target)
    lower, upper = target.advance_deg - target.tolerance_deg, target.advance_deg + target.tolerance_deg
    least = np.maximum(np.maximum.accumulate(lower), 0.0)
    needed = float(least[-1])
    found = {"negative": upper < 0, "retards": (least > upper) & (upper >= 0)}
    if travel_deg is not None:
        travel = checked_number("travel_deg", travel_deg, 0.0, MAX_ADVANCE_DEG, above=True)
        found["travel"] = least > travel
    if not any(where.any() for where in found.values()):
        weight = target.speed_rpm**2 * (1.0 + MAX_GROWTH * np.maximum(target.advance_deg, 0.0))
        found["steeper"] = _too_steep(weight, least, upper)
    reasons = tuple(name for name, where in found.items() if where.any())
    at = float(target.speed_rpm[np.argmax(found[reasons[0]])]) if reasons else None
    return Feasibility(not reasons, reasons, at, needed)


def _too_steep(weight: Floats, least: Floats, upper: Floats):
    """Mark where the first concave line leaves the band, if no begin and no shelf makes it fit."""
    count = len(weight)
    starts = [k for k in range(count + 1) if k == 0 or least[:k].max() <= upper[:k].min()]
    if any(_fits(weight, least, upper, k, m) for k in starts for m in range(k, count + 1)):
        return np.zeros(count, bool)
    first = starts[-1]
    above = _hull(weight[first:], least[first:]) > upper[first:] + 1e-9
    return np.concatenate([np.zeros(first, bool), above if above.any() else np.ones(count - first, bool)])


def _fits(weight: Floats, least: Floats, upper: Floats, begin: int, shelf: int):
    """Whether a curve that begins before one point, with a shelf before another, can lie in the band."""
    before, behind = slice(begin, shelf), slice(shelf, None)
    for part in (before, behind):
        if (_hull(weight[part], least[part]) > upper[part] + 1e-9).any():
            return False
    from_shelf = slice(max(shelf - 1, begin), None)
    needed = _least_rise(weight[from_shelf], least[from_shelf], upper[from_shelf])
    return needed <= _most_rise(weight[before], least[before], upper[before])


def _hull(x: Floats, y: Floats):
    """The least concave line over points of rising x, at each of them."""
    value = np.array(y, dtype=float)
    for i in range(len(x)):
        for j in range(i + 2, len(x)):
            between = slice(i + 1, j)
            share = (x[between] - x[i]) / (x[j] - x[i])
            value[between] = np.maximum(value[between], y[i] + share * (y[j] - y[i]))
    return value


def _least_rise(x: Floats, least: Floats, upper: Floats):
    """The least slope that some stretch from the shelf on must have."""
    return max([0.0, *((least[j] - upper[i]) / (x[j] - x[i]) for i, j in _pairs(x))])


def _most_rise(x: Floats, least: Floats, upper: Floats):
    """The greatest slope that the line before the shelf can end with."""
    return min([np.inf, *((upper[j] - least[i]) / (x[j] - x[i]) for i, j in _pairs(x))])


def _pairs(x: Floats):
    return [(i, j) for i in range(len(x)) for j in range(i + 1, len(x))]
