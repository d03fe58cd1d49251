"""Points and windings: dwell in its three forms, copper at another temperature."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats
from ..codes import Code, EngineWarning, warn
from ..readings import MAX_SPEED_RPM, as_given, checked_array, checked_count, checked_number, is_single

TURN_DEG = 360.0
MS_PER_MINUTE = 60_000.0
MAX_CYLINDERS = 24
COPPER_ZERO_C = 234.5  # copper would have no resistance at minus this; IEC 60034 uses 235
MAX_DWELL_CHANGE_DEG = 3.0  # idle to 1750 engine rpm (GM 1967 manual, p. 347)


@dataclass(frozen=True, eq=False)
class Dwell:
    """Dwell in its forms; times are None when no speed was given, arrays when it was an array.

    Attributes
    ----------
    dwell_deg, percent : float or ndarray
        Closed angle [shaft degree], and its share of the angle per spark [%].
    period_deg : float
        Angle per spark [shaft degree].
    closed_ms, open_ms, period_ms : float, ndarray or None
        Times at the speed [ms].
    sparks_per_min : float, ndarray or None
    """

    dwell_deg: float | Floats
    percent: float | Floats
    period_deg: float
    closed_ms: float | Floats | None
    open_ms: float | Floats | None
    period_ms: float | Floats | None
    sparks_per_min: float | Floats | None


def dwell(
    cylinders: int,
    *,
    dwell_deg: ArrayLike | None = None,
    percent: ArrayLike | None = None,
    closed_ms: ArrayLike | None = None,
    speed_rpm: ArrayLike | None = None,
) -> Dwell:
    """Turn dwell between angle, percent and closed time.

    Parameters
    ----------
    cylinders : int
        Sparks per turn of the shaft, 1 to 24.
    dwell_deg, percent, closed_ms : float or array_like, shape (n,)
        One of the three: closed angle [shaft degree], share of the period [%] or closed time [ms].
    speed_rpm : float or array_like, shape (n,), optional
        Shaft speed [rpm], above 0; needed with `closed_ms`.

    Returns
    -------
    Dwell

    Raises
    ------
    ValueError
        If not exactly one form is given, the speed is missing, lengths differ, or a value is NaN or beyond
        the period.

    Notes
    -----
    period = 360 / cylinders; percent = 100 dwell / period; closed time = dwell / (6 n) s.

    References
    ----------
    4 cylinders, 60 of 90 degrees at 5000 engine rpm: 6 ms, 4 ms closed (ignitioncarsystem, cam dwell angle).

    Examples
    --------
    >>> points = dwell(4, dwell_deg=60, speed_rpm=2500)
    >>> round(points.percent, 3), points.closed_ms, points.period_ms, points.sparks_per_min
    (66.667, 4.0, 6.0, 10000.0)
    """
    sparks = checked_count("cylinders", cylinders, 1, MAX_CYLINDERS)
    given = [value for value in (dwell_deg, percent, closed_ms) if value is not None]
    if len(given) != 1:
        raise ValueError(f"give one of dwell_deg, percent and closed_ms, got {len(given)} of them")
    several = not (is_single(given[0]) or is_single(speed_rpm))
    like = ("speed_rpm", np.size(speed_rpm)) if several and speed_rpm is not None else None
    period = TURN_DEG / sparks
    period_ms = None
    if speed_rpm is not None:
        speed = checked_array("speed_rpm", speed_rpm, 0.0, MAX_SPEED_RPM, above=True)
        period_ms = as_given(MS_PER_MINUTE / (speed * sparks), speed_rpm)
    if closed_ms is not None:
        if period_ms is None:
            raise ValueError("speed_rpm must be given with closed_ms, got None")
        share = np.asarray(_checked("closed_ms", closed_ms, np.max(period_ms), like)) / period_ms
        if np.any(share > 1):
            raise ValueError(
                f"closed_ms must not exceed the period of {np.min(period_ms):g} ms, got {closed_ms!r}"
            )
    elif percent is not None:
        share = np.asarray(_checked("percent", percent, 100.0, like)) / 100.0
    else:
        share = np.asarray(_checked("dwell_deg", dwell_deg, period, like)) / period
    share = share if np.ndim(share) else float(share)
    times = (None,) * 4
    if period_ms is not None:
        times = (share * period_ms, (1.0 - share) * period_ms, period_ms, MS_PER_MINUTE / period_ms)
    return Dwell(share * period, share * 100.0, period, *times)


def _checked(name: str, value: Any, high: float, like: tuple[str, int] | None):
    return as_given(checked_array(name, value, 0.0, float(high), like=like), value)


@dataclass(frozen=True)
class DwellChange:
    """How dwell moves with speed: greatest change from its value at the lowest speed [shaft degree]."""

    change_deg: float
    at_rpm: float
    within: bool
    warnings: tuple[EngineWarning, ...]


def dwell_change(
    speed_rpm: ArrayLike, dwell_deg: ArrayLike, *, limit_deg: float = MAX_DWELL_CHANGE_DEG
) -> DwellChange:
    """Judge how far dwell moves from idle upwards.

    Parameters
    ----------
    speed_rpm : array_like, shape (n,)
        Shaft speeds [rpm], at least 0, in any order; two at least.
    dwell_deg : array_like, shape (n,)
        Dwell read [shaft degree], 0 to 360.
    limit_deg : float, default 3
        Allowed change either way [shaft degree], at least 0.

    Returns
    -------
    DwellChange

    Raises
    ------
    ValueError
        If lengths differ, fewer than two readings are given, or a value is NaN or out of range.

    Notes
    -----
    change = the dwell furthest from that at the lowest speed, minus the latter.

    References
    ----------
    GM 1967 manual, p. 347: idle to 1750 engine rpm at most 3 degrees.

    Examples
    --------
    >>> dwell_change([300, 875], [31, 27]).change_deg
    -4.0
    """
    speed = checked_array("speed_rpm", speed_rpm, 0.0, MAX_SPEED_RPM, shortest=2)
    angle = checked_array("dwell_deg", dwell_deg, 0.0, TURN_DEG, like=("speed_rpm", speed.size))
    limit = checked_number("limit_deg", limit_deg, 0.0, TURN_DEG)
    change = angle - angle[np.argmin(speed)]
    most = int(np.argmax(np.abs(change)))
    within = bool(abs(change[most]) <= limit)
    warnings = () if within else (warn(Code.DWELL_MOVES),)
    return DwellChange(float(change[most]), float(speed[most]), within, warnings)


def copper_resistance(
    resistance_ohm: ArrayLike, from_c: float, to_c: float = 20.0, *, zero_c: float = COPPER_ZERO_C
) -> float | Floats:
    """Convert a copper winding's resistance from one temperature to another, 20 degrees C by default.

    Parameters
    ----------
    resistance_ohm : float or array_like, shape (n,)
        Resistance as measured [ohm], at least 0.
    from_c, to_c : float
        Temperature measured at, and wanted [degree C], above -`zero_c`.
    zero_c : float, default 234.5
        Copper's constant [degree C]; 235 after IEC 60034.

    Returns
    -------
    float or ndarray
        Resistance at `to_c` [ohm].

    Raises
    ------
    ValueError
        If a value is not a finite number in its range.

    Notes
    -----
    R2 = R1 (k + t2) / (k + t1).

    References
    ----------
    Printed table of factors (234.5 + T) / 259.5 on a base of 25 degrees C.

    Examples
    --------
    >>> round(copper_resistance(1.0, 25, 100), 3)
    1.289
    """
    ohm = checked_array("resistance_ohm", resistance_ohm, 0.0)
    zero = checked_number("zero_c", zero_c, 0.0, above=True)
    cold, warm = (
        zero + checked_number(name, value, -zero, 1_000.0, above=True)
        for name, value in (("from_c", from_c), ("to_c", to_c))
    )
    return as_given(ohm * warm / cold, resistance_ohm)
