"""The band a curve must lie in: target points with tolerances."""

from dataclasses import dataclass, field

import numpy as np

from .readings import MAX_ADVANCE_DEG, MAX_SPEED_RPM, checked_array


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

    Examples
    --------
    >>> Target([1500, 500], [10, 0], 0.5).speed_rpm
    array([ 500., 1500.])
    """

    speed_rpm: np.ndarray
    advance_deg: np.ndarray
    tolerance_deg: np.ndarray
    initial_range_deg: tuple[float, float] = field(default=(0.0, 0.0), kw_only=True)

    def __post_init__(self):
        speed = checked_array("speed_rpm", self.speed_rpm, 0.0, MAX_SPEED_RPM)
        like = ("speed_rpm", speed.size)
        advance = checked_array("advance_deg", self.advance_deg, -MAX_ADVANCE_DEG, MAX_ADVANCE_DEG, like=like)
        tolerance = self.tolerance_deg
        if np.ndim(tolerance) == 0:
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
