"""A curve as the shop draws it: straight lines between points, level beyond both ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol, overload

import numpy as np
from numpy.typing import ArrayLike

from .arrays import Flags, Floats, Several
from .readings import MAX_ADVANCE_DEG, MAX_SPEED_RPM, as_given, checked_array, checked_number

RPM_STEP = 100.0  # slopes are said in degrees per this many rpm
FRAME_DUST = 1e-9  # of a speed that went to the crank and back


class HasPoints(Protocol):
    """Whatever has points of its own: a `Curve`, `Knees`, `Readings`, a `Run`."""

    @property
    def speed_rpm(self) -> Floats: ...
    @property
    def advance_deg(self) -> Floats: ...


AnyCurve = HasPoints | Sequence[ArrayLike]


def points_of(curve: AnyCurve) -> tuple[ArrayLike, ArrayLike]:
    """Give speeds and advances of whatever has `speed_rpm` and `advance_deg`, or of a pair of the two."""
    if hasattr(curve, "speed_rpm") and hasattr(curve, "advance_deg"):
        return curve.speed_rpm, curve.advance_deg
    pair: Any = curve
    try:
        speed, advance = pair
    except (TypeError, ValueError):
        raise ValueError(f"curve must be a pair (speed_rpm, advance_deg), got {curve!r}") from None
    return speed, advance


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

    Notes
    -----
    a(n) = a_i + (n - n_i) (a_i+1 - a_i) / (n_i+1 - n_i) between two points, a_0 below the first, a_m above
    the last.

    References
    ----------
    Common practice, no source: makers print points and read straight between them.

    Examples
    --------
    >>> curve = Curve([400, 1400], [0, 10])
    >>> curve.at(900), curve.at(2000), curve.slope_at(500)
    (5.0, 10.0, 1.0)
    """

    speed_rpm: Floats
    advance_deg: Floats

    if TYPE_CHECKING:  # what may be given; what is kept are arrays

        def __init__(self, speed_rpm: ArrayLike, advance_deg: ArrayLike) -> None: ...

    def __post_init__(self) -> None:
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
    def of(cls, curve: AnyCurve) -> Curve:
        """Make a curve of what has points of its own.

        Parameters
        ----------
        curve : Curve, Knees, Readings, Run, or pair (speed_rpm, advance_deg)
            Anything with these two attributes, or the two themselves.

        Returns
        -------
        Curve

        Raises
        ------
        ValueError
            If it has no points, or they are no curve's.

        Examples
        --------
        >>> Curve.of(([400, 1400], [0, 10])).at(900)
        5.0
        """
        return curve if isinstance(curve, cls) else cls(*points_of(curve))

    def covers(self, speed_rpm: ArrayLike) -> Flags:
        """Tell at which speeds the points say what the advance is: elsewhere it is only carried on level.

        Parameters
        ----------
        speed_rpm : float or array_like, shape (n,)
            Shaft speeds [rpm].

        Returns
        -------
        ndarray of bool, shape (n,); shape () for one speed
            True from the first point to the last, and below a first point without advance.

        Raises
        ------
        ValueError
            If a speed is not a finite number.

        Notes
        -----
        Weights that have not moved at some speed have not moved below it; above the last point nobody knows
        whether they have reached their stop. A billionth of the speed is allowed for the change of frames.

        References
        ----------
        Elementary: the pull of the weights only grows with speed.

        Examples
        --------
        >>> Curve([400, 1400], [0, 10]).covers([300, 900, 1500]).tolist()
        [True, True, False]
        >>> bool(Curve([400, 1400], [1, 10]).covers(300))
        False
        """
        speed = checked_array("speed_rpm", speed_rpm)
        above_first = (speed >= self.speed_rpm[0] * (1 - FRAME_DUST)) | (self.advance_deg[0] == 0)
        return above_first & (speed <= self.speed_rpm[-1] * (1 + FRAME_DUST))

    @overload
    def at(self, speed_rpm: float) -> float: ...
    @overload
    def at(self, speed_rpm: Several) -> Floats: ...
    def at(self, speed_rpm: float | Several) -> float | Floats:
        """Give the advance at one speed or at several.

        Parameters
        ----------
        speed_rpm : float or array_like, shape (n,)
            Shaft speed [rpm].

        Returns
        -------
        float or ndarray, shape (n,)
            Advance [shaft degree].

        Raises
        ------
        ValueError
            If a speed is not a finite number.

        Examples
        --------
        >>> Curve([400, 1400], [0, 10]).at([300, 900])
        array([0., 5.])
        """
        speed = checked_array("speed_rpm", speed_rpm)
        return as_given(np.interp(speed, self.speed_rpm, self.advance_deg), speed_rpm)

    @overload
    def slope_at(self, speed_rpm: float) -> float: ...
    @overload
    def slope_at(self, speed_rpm: Several) -> Floats: ...
    def slope_at(self, speed_rpm: float | Several) -> float | Floats:
        """Give the slope just above one speed or each of several.

        Parameters
        ----------
        speed_rpm : float or array_like, shape (n,)
            Shaft speed [rpm].

        Returns
        -------
        float or ndarray, shape (n,)
            Slope [shaft degrees per 100 shaft rpm].

        Raises
        ------
        ValueError
            If a speed is not a finite number.

        Examples
        --------
        >>> Curve([400, 1400], [0, 10]).slope_at(400)
        1.0
        """
        speed = checked_array("speed_rpm", speed_rpm)
        rise = np.diff(self.advance_deg) / np.diff(self.speed_rpm)
        pieces = np.concatenate([[0.0], rise, [0.0]]) * RPM_STEP
        return as_given(pieces[np.searchsorted(self.speed_rpm, speed, side="right")], speed_rpm)

    def begin_rpm(self, rise_deg: float = 0.0) -> float | None:
        """Give the speed above which the advance exceeds that at the lowest speed.

        Parameters
        ----------
        rise_deg : float, default 0
            By so much [shaft degree], 0 to 180.

        Returns
        -------
        float or None
            Shaft speed [rpm]; None when it never does.

        Raises
        ------
        ValueError
            If the rise is not a number in its range.

        Examples
        --------
        >>> Curve([400, 1400], [0, 10]).begin_rpm(1.0)
        500.0
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
