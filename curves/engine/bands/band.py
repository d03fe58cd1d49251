"""The band a curve must lie in: target points with tolerances."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, overload

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats, Several
from ..readings import MAX_ADVANCE_DEG, MAX_SPEED_RPM, as_given, checked_array, checked_kind, is_single

EDGE_DEG = 1e-6  # a touch of the edge: turning crank into shaft degrees rounds, and no scale shows so little


@dataclass(frozen=True, eq=False)
class Target:
    """What the advance should be at chosen speeds, in the shaft frame, and how far it may be off.

    Parameters
    ----------
    speed_rpm : array_like, shape (n,)
        Shaft speeds [rpm], 0 to 20 000, each once, in any order.
    advance_deg : array_like, shape (n,)
        Advance wanted [shaft degree], -180 to 180.
    tolerance_deg : float or array_like, shape (n,)
        Allowed difference to either side [shaft degree], above 0.
    initial_range_deg : tuple (float, float), default (0, 0)
        Least and greatest initial timing that may be added to the curve [shaft degree].

    Raises
    ------
    ValueError
        If a value is not finite or out of range, a speed comes twice, or the range is the wrong way round.

    Notes
    -----
    A curve meets the target where ``|curve + initial - advance| <= tolerance``; between the points the band
    is straight.

    References
    ----------
    Common practice, no source: makers print advance as points with limits and read straight between them.

    Examples
    --------
    >>> Target([1500, 500], [10, 0], 0.5).speed_rpm
    array([ 500., 1500.])
    """

    speed_rpm: Floats
    advance_deg: Floats
    tolerance_deg: Floats
    initial_range_deg: tuple[float, float] = field(default=(0.0, 0.0), kw_only=True)

    if TYPE_CHECKING:  # what may be given; what is kept are arrays

        def __init__(
            self,
            speed_rpm: ArrayLike,
            advance_deg: ArrayLike,
            tolerance_deg: ArrayLike,
            *,
            initial_range_deg: tuple[float, float] = (0.0, 0.0),
        ) -> None: ...

    def __post_init__(self) -> None:
        speed = checked_array("speed_rpm", self.speed_rpm, 0.0, MAX_SPEED_RPM)
        like = ("speed_rpm", speed.size)
        advance = checked_array("advance_deg", self.advance_deg, -MAX_ADVANCE_DEG, MAX_ADVANCE_DEG, like=like)
        tolerance = self.tolerance_deg
        if is_single(tolerance):
            tolerance = [tolerance] * speed.size
        tolerance = checked_array("tolerance_deg", tolerance, 0.0, MAX_ADVANCE_DEG, above=True, like=like)
        order = np.argsort(speed)
        if (np.diff(speed[order]) == 0).any():
            raise ValueError(f"speed_rpm must name each speed once, got {list(map(float, speed))}")
        ends = checked_array("initial_range_deg", self.initial_range_deg, -MAX_ADVANCE_DEG, MAX_ADVANCE_DEG)
        if ends.size != 2 or ends[0] > ends[1]:
            raise ValueError(f"initial_range_deg must be (low, high), got {self.initial_range_deg!r}")
        for name, values in (("speed_rpm", speed), ("advance_deg", advance), ("tolerance_deg", tolerance)):
            ordered = values[order]
            ordered.setflags(write=False)
            object.__setattr__(self, name, ordered)
        object.__setattr__(self, "initial_range_deg", tuple(map(float, ends)))


@overload
def band_edges(target: Target, speed_rpm: float) -> tuple[float, float]: ...
@overload
def band_edges(target: Target, speed_rpm: Several) -> tuple[Floats, Floats]: ...
def band_edges(target: Target, speed_rpm: float | Several) -> tuple[float | Floats, float | Floats]:
    """Return the lower and upper edge of a target's band at one speed or an array of speeds.

    Parameters
    ----------
    target : Target
    speed_rpm : float or array_like
        Shaft speed [rpm].

    Returns
    -------
    lower_deg, upper_deg : float or ndarray
        Edges [shaft degree], straight between the target's points; NaN outside its speeds.

    Raises
    ------
    ValueError
        If a speed is not a number from 0 to 20 000, or the target is no `Target`.

    Notes
    -----
    The points (n_i, a_i - tol_i) and (n_i, a_i + tol_i) are each joined by straight lines.

    References
    ----------
    Common practice, no source: makers print advance as points with limits and read straight between them.

    Examples
    --------
    >>> band_edges(Target([500, 1500], [0, 10], 0.5), 1000)
    (4.5, 5.5)
    """
    checked_kind("target", target, Target)
    speed = checked_array("speed_rpm", speed_rpm, 0.0, MAX_SPEED_RPM)
    middle, width = (
        np.interp(speed, target.speed_rpm, values, left=np.nan, right=np.nan)
        for values in (target.advance_deg, target.tolerance_deg)
    )
    return as_given(middle - width, speed_rpm), as_given(middle + width, speed_rpm)


@overload
def distance_outside(target: Target, speed_rpm: float, advance_deg: float) -> float: ...
@overload
def distance_outside(target: Target, speed_rpm: Several, advance_deg: Several) -> Floats: ...
def distance_outside(
    target: Target, speed_rpm: float | Several, advance_deg: float | Several
) -> float | Floats:
    """Return how far points lie outside the band of a target.

    Parameters
    ----------
    target : Target
    speed_rpm, advance_deg : float or array_like, shape (n,)
        Points: shaft speed [rpm] and advance [shaft degree].

    Returns
    -------
    float or ndarray, shape (n,)
        Positive above the band, negative below it, 0 inside [shaft degree]; NaN outside the target's speeds.

    Raises
    ------
    ValueError
        If lengths differ, a value is NaN or out of range, or the target is no `Target`.

    Notes
    -----
    d = max(a - upper, 0) + min(a - lower, 0), each difference below 1e-6 degree taken as 0.

    References
    ----------
    Common practice, no source: see `band_edges`.

    Examples
    --------
    >>> distance_outside(Target([500, 1500], [0, 10], 0.5), [1000, 1000, 1000], [5, 6, 4])
    array([ 0. ,  0.5, -0.5])
    """
    speed = checked_array("speed_rpm", speed_rpm, 0.0, MAX_SPEED_RPM)
    advance = checked_array(
        "advance_deg", advance_deg, -MAX_ADVANCE_DEG, MAX_ADVANCE_DEG, like=("speed_rpm", speed.size)
    )
    above_lower, above_upper = above_edges(target, speed, advance)
    return as_given(np.maximum(above_upper, 0.0) + np.minimum(above_lower, 0.0), speed_rpm)


def above_edges(target: Target, speed_rpm: Floats, advance_deg: Floats) -> tuple[Floats, Floats]:
    """Give how far points lie above the lower and the upper edge [shaft degree]: 0 for a touch of it."""
    above_lower, above_upper = (advance_deg - edge for edge in band_edges(target, speed_rpm))
    return _untouched(above_lower), _untouched(above_upper)


def _untouched(above: Floats) -> Floats:
    return np.where(np.abs(above) <= EDGE_DEG, 0.0, above)
