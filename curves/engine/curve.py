"""A curve as the shop draws it: straight lines between points, level beyond both ends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .readings import MAX_ADVANCE_DEG, MAX_SPEED_RPM, checked_array, checked_number

RPM_STEP = 100.0  # slopes are said in degrees per this many rpm


@dataclass(frozen=True, eq=False)
class Curve:
    """Advance against speed in the shaft frame, straight between its points.

    Parameters
    ----------
    speed_rpm : array_like, shape (n,)
        Shaft speeds [rpm], 0 to 20 000, in any order. Points at one speed are averaged.
    advance_deg : array_like, shape (n,)
        Advance [shaft degree], -180 to 180.

    Raises
    ------
    ValueError
        If there is no point, lengths differ, or a value is NaN or out of range.

    Examples
    --------
    >>> curve = Curve([400, 1400], [0, 10])
    >>> curve.at(900), curve.at(2000), curve.slope_at(500)
    (5.0, 10.0, 1.0)
    """

    speed_rpm: np.ndarray
    advance_deg: np.ndarray

    def __post_init__(self):
        speed = checked_array("speed_rpm", self.speed_rpm, 0.0, MAX_SPEED_RPM)
        advance = checked_array(
            "advance_deg", self.advance_deg, -MAX_ADVANCE_DEG, MAX_ADVANCE_DEG, like=("speed_rpm", speed.size)
        )
        speeds, place = np.unique(speed, return_inverse=True)
        means = np.bincount(place, advance) / np.bincount(place)
        for name, values in (("speed_rpm", speeds), ("advance_deg", means)):
            values.setflags(write=False)
            object.__setattr__(self, name, values)

    @classmethod
    def of(cls, curve) -> Curve:
        """Make a curve of anything that has `speed_rpm` and `advance_deg`, or of a pair of the two."""
        if isinstance(curve, cls):
            return curve
        if hasattr(curve, "speed_rpm") and hasattr(curve, "advance_deg"):
            return cls(curve.speed_rpm, curve.advance_deg)
        try:
            speed, advance = curve
        except (TypeError, ValueError):
            raise ValueError(f"curve must be a pair (speed_rpm, advance_deg), got {curve!r}") from None
        return cls(speed, advance)

    def at(self, speed_rpm):
        """Return the advance [shaft degree] at one speed or at an array of speeds [rpm]."""
        value = np.interp(speed_rpm, self.speed_rpm, self.advance_deg)
        return float(value) if np.ndim(speed_rpm) == 0 else value

    def slope_at(self, speed_rpm):
        """Return the slope [degrees per 100 rpm] just above one speed or each of an array of speeds [rpm]."""
        rise = np.diff(self.advance_deg) / np.diff(self.speed_rpm)
        pieces = np.concatenate([[0.0], rise, [0.0]]) * RPM_STEP
        value = pieces[np.searchsorted(self.speed_rpm, speed_rpm, side="right")]
        return float(value) if np.ndim(speed_rpm) == 0 else value

    def begin_rpm(self, rise_deg=0.0):
        """Return the speed [rpm] above which the advance exceeds its lowest point's by `rise_deg`.

        None when it never does. The lowest point is the one at the lowest speed.
        """
        wanted = checked_number("rise_deg", rise_deg, 0.0, MAX_ADVANCE_DEG)
        rise = self.advance_deg - self.advance_deg[0]
        above = np.flatnonzero(rise > wanted)
        if not above.size:
            return None
        after = above[0]
        before = after - 1
        share = (wanted - rise[before]) / (rise[after] - rise[before])
        return float(self.speed_rpm[before] + share * (self.speed_rpm[after] - self.speed_rpm[before]))
