"""The words a rebuilder says over a curve: begins at, first slope, knee, second slope, stop at."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, overload

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Flags, Floats, Several
from ..codes import Code, EngineWarning, warn
from ..curve import RPM_STEP, HasPoints
from ..readings import Readings, as_given, checked_array, checked_count, checked_flags, checked_number
from .choice import MAX_SLOPES, choose_pieces
from .knee_doubts import few_readings, shape_doubts, stray_readings
from .pieces import Pieces, Shape

MIN_READING_SD_DEG = 0.001  # no scale shows less
READING_SD_DEG = 0.25  # usual scatter of a bench reading, its half-degree scale included


@dataclass(frozen=True, eq=False)
class Knees:
    """A curve in straight pieces, in the shaft frame; `_se` marks a standard error.

    Attributes
    ----------
    begin_rpm, begin_se_rpm : float or None
        Where the advance begins [shaft rpm]; None when there is none.
    slope_deg_per_100rpm, slope_se : ndarray, shape (m,)
        Slopes from the lowest up [shaft degrees per 100 shaft rpm].
    knee_rpm, knee_se_rpm : ndarray, shape (m - 1,)
        Where one slope gives way to the next [shaft rpm].
    stop_rpm, stop_se_rpm : float or None
        Where the curve goes flat [shaft rpm]; None when the readings do not show it.
    top_deg, top_se_deg : float
        Advance at the stop, or at the highest reading when the stop is not shown [shaft degree].
    floor_deg, floor_se_deg : float
        Advance below the begin [shaft degree].
    speed_rpm, advance_deg : ndarray, shape (k,)
        The corners of the straight pieces [shaft rpm], [shaft degree], ends included: the description as a
        curve to draw and to judge.
    read_rpm, read_deg, residual_deg : ndarray, shape (n,)
        The readings in rising order [shaft rpm], [shaft degree], and what they lie above the straight pieces
        [shaft degree].
    used : ndarray of bool, shape (n,)
        False for a stray reading that the pieces leave aside; the warnings name it.
    rms_deg, sse_deg2 : float
        Size [shaft degree] and sum of squares [shaft degree squared] of the residuals of the readings used.
    converged : bool
        Whether the search settled.
    warnings : tuple of EngineWarning
        What to look at.

    Examples
    --------
    >>> knees = fit_knees([300, 500, 700, 900, 1200, 1500], [0, 1, 3, 5, 5, 5])
    >>> round(knees.begin_rpm), round(knees.stop_rpm), round(knees.top_deg, 1)
    (400, 900, 5.0)
    """

    begin_rpm: float | None
    begin_se_rpm: float | None
    slope_deg_per_100rpm: Floats
    slope_se: Floats
    knee_rpm: Floats
    knee_se_rpm: Floats
    stop_rpm: float | None
    stop_se_rpm: float | None
    top_deg: float
    top_se_deg: float
    floor_deg: float
    floor_se_deg: float
    speed_rpm: Floats = field(init=False)
    advance_deg: Floats = field(init=False)
    read_rpm: Floats
    read_deg: Floats
    residual_deg: Floats
    used: Flags
    rms_deg: float
    sse_deg2: float
    converged: bool
    warnings: tuple[EngineWarning, ...]
    _pieces: Pieces | None = field(repr=False)

    def __post_init__(self) -> None:
        knots = [] if self._pieces is None else self._pieces.knots
        corners = np.unique([*self.read_rpm[[0, -1]], *(k for k in knots if 0 <= k < self.read_rpm[-1])])
        object.__setattr__(self, "speed_rpm", corners)
        object.__setattr__(self, "advance_deg", self.advance_at(corners))

    @overload
    def advance_at(self, speed_rpm: float) -> float: ...
    @overload
    def advance_at(self, speed_rpm: Several) -> Floats: ...
    def advance_at(self, speed_rpm: float | Several) -> float | Floats:
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
        >>> round(fit_knees([400, 900, 1400], [0, 5, 10]).advance_at(600), 6)
        2.0
        """
        speed = checked_array("speed_rpm", speed_rpm)
        value = np.full(speed.size, self.floor_deg) if self._pieces is None else self._pieces.value(speed)
        return as_given(value, speed_rpm)

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
        >>> round(fit_knees([400, 900, 1400], [0, 5, 10]).slope_at(600), 6)
        1.0
        """
        speed = checked_array("speed_rpm", speed_rpm)
        value = np.zeros(speed.size) if self._pieces is None else self._pieces.slope(speed) * RPM_STEP
        return as_given(value, speed_rpm)

    @property
    def sentence(self) -> str:
        """The curve in one sentence, in distributor rpm and degrees.

        Examples
        --------
        >>> fit_knees([300, 600, 900, 1200], [0, 0, 0, 0]).sentence
        'No advance: 0.0 degrees throughout.'
        """
        if not self.converged and self.begin_rpm is None:
            return f"{self.floor_deg:.1f} degrees at the one speed read, {self.read_rpm[0]:.0f} rpm."
        if self.begin_rpm is None:
            return f"No advance: {self.floor_deg:.1f} degrees throughout."
        words = [
            f"Begins at {self.begin_rpm:.0f} rpm, {self.slope_deg_per_100rpm[0]:.2f} degrees per 100 rpm"
        ]
        for knee, slope in zip(self.knee_rpm, self.slope_deg_per_100rpm[1:], strict=True):
            words.append(f"knee at {knee:.0f} rpm, then {slope:.2f} per 100 rpm")
        if self.stop_rpm is None:
            words.append(f"{self.top_deg:.1f} degrees and no stop yet at {self.read_rpm[-1]:.0f} rpm")
        else:
            words.append(f"stop at {self.stop_rpm:.0f} rpm and {self.top_deg:.1f} degrees")
        return ", ".join(words) + "."


def fit_knees(
    speed_rpm: ArrayLike | HasPoints,
    advance_deg: ArrayLike | None = None,
    *,
    slopes: int | None = None,
    stop: bool | None = None,
    floor_deg: float | None = 0.0,
    pieces: int | None = None,
    reading_sd_deg: float = READING_SD_DEG,
) -> Knees:
    """Describe readings by continuous straight pieces and choose how many there are.

    Parameters
    ----------
    speed_rpm : array_like, shape (n,), or Readings, Run or Curve
        Shaft speed [rpm], 0 to 20 000, in any order, repeats allowed.
    advance_deg : array_like, shape (n,), optional
        Advance [shaft degree]; left out when the first argument holds both.
    slopes : int, optional
        1 to 3 slopes; by default chosen.
    stop : bool, optional
        Whether there is a flat top; by default chosen.
    floor_deg : float or None, default 0
        Advance below the begin [shaft degree]; None to fit it, as for a light that reads the initial timing
        too.
    pieces : int, optional
        1 to 5: fit just so many straight pieces of which none need be flat, instead of the above.
    reading_sd_deg : float, default 0.25
        Scatter of a reading [shaft degree], 0.001 to 10: no piece is added to follow less than that.

    Returns
    -------
    Knees

    Raises
    ------
    ValueError
        If nothing was read, lengths differ, or a value is NaN or out of range.

    Notes
    -----
    advance = floor + sum_j s_j (clip(n, n_j, n_j+1) - n_j). Among the shapes the one with the least
    -2 log L + p log(count) is taken, L the normal likelihood with a standard deviation of at least
    `reading_sd_deg`, p the number of values fitted. Standard errors are those of the linearised problem.

    References
    ----------
    Hudson, J. Am. Stat. Assoc. 61 (1966) 1097-1129 (joins); G. Schwarz, Annals of Statistics 6 (1978) 461-464
    (the criterion).

    Examples
    --------
    >>> knees = fit_knees([300, 500, 700, 900, 1200, 1500, 1800, 2100], [0, 1, 3, 5, 6.5, 8, 9, 9])
    >>> knees.sentence
    'Begins at 400 rpm, 1.00 degrees per 100 rpm, knee at 900 rpm, then 0.50 per 100 rpm, stop at 1700 rpm
    ...'
    """
    readings = _readings(speed_rpm, advance_deg)
    sd = checked_number("reading_sd_deg", reading_sd_deg, MIN_READING_SD_DEG, 10.0)
    level = None if floor_deg is None else checked_number("floor_deg", floor_deg, -180.0, 180.0)
    shapes = _shapes(slopes, stop, level is None, pieces)
    used = _used(readings)
    x, y = readings.speed_rpm[used], readings.advance_deg[used]
    best, poor = choose_pieces(x, y, shapes, level, sd, forced=pieces is not None)
    return _result(readings, used, best, level, sd, poor)


def _readings(speed_rpm: Any, advance_deg: ArrayLike | None):
    if isinstance(speed_rpm, Readings):
        return speed_rpm
    if advance_deg is None and hasattr(speed_rpm, "advance_deg"):
        source = speed_rpm
        return Readings(source.speed_rpm, source.advance_deg, getattr(source, "falling", False))
    return Readings(speed_rpm, advance_deg)


def _shapes(slopes: int | None, stop: bool | None, level_free: bool, pieces: int | None):
    if pieces is not None:
        count = checked_count("pieces", pieces, 1, 5)
        return [Shape(count, stop=False, level_free=True, begin_free=False)]
    asked = slopes is not None
    counts = [checked_count("slopes", slopes, 1, MAX_SLOPES)] if asked else range(1, MAX_SLOPES + 1)
    tops = (False, True) if stop is None else (bool(checked_flags("stop", stop, 1)[0]),)
    return [Shape(count, top, level_free) for count in counts for top in tops]


def _used(readings: Readings):
    """Leave stray readings aside as long as that leaves something to describe."""
    used = ~readings.stray
    return used if len(np.unique(readings.speed_rpm[used])) > 1 else np.ones(len(readings), bool)


def _result(readings: Readings, used: Flags, fit: Pieces | None, level: float | None, sd: float, poor: bool):
    x, y = readings.speed_rpm, readings.advance_deg
    if fit is None:
        return _flat(readings, used, level, sd, poor)
    left = y - fit.value(x)
    count, m = int(used.sum()), fit.shape.slopes
    spare = count - fit.shape.parameters
    variance = max(sd**2, fit.sse / spare) if spare > 0 else sd**2
    errors = np.sqrt(variance * np.diag(fit.covariance))
    knots, knot_errors = fit.knots, errors[1 + m :]
    top = fit.gradient(x[-1:] if not fit.shape.stop else np.array([np.inf]))[0]
    felt = top != 0
    top_variance = variance * top[felt] @ fit.covariance[np.ix_(felt, felt)] @ top[felt]
    values: dict[str, Any] = {
        "begin_rpm": float(knots[0]),
        "begin_se_rpm": float(knot_errors[0]),
        "slope_deg_per_100rpm": fit.slopes * RPM_STEP,
        "slope_se": errors[1 : 1 + m] * RPM_STEP,
        "knee_rpm": knots[1:m],
        "knee_se_rpm": knot_errors[1:m],
        "stop_rpm": float(knots[m]) if fit.shape.stop else None,
        "stop_se_rpm": float(knot_errors[m]) if fit.shape.stop else None,
        "top_deg": float(fit.value(knots[m] if fit.shape.stop else x[-1])),
        "top_se_deg": float(np.sqrt(top_variance)),
        "floor_deg": fit.level,
        "floor_se_deg": float(errors[0]),
    }
    rms = float(np.sqrt(fit.sse / count))
    warnings = few_readings(readings, used) if poor else ()
    warnings += (*stray_readings(readings, used, left, sd), *shape_doubts(fit, x, values))
    if rms > 2 * sd:
        warnings += (warn(Code.READINGS_SCATTER, rms_shaft_deg=rms, expected_shaft_deg=sd),)
    return Knees(
        **values,
        read_rpm=x,
        read_deg=y,
        residual_deg=left,
        used=used,
        rms_deg=rms,
        sse_deg2=fit.sse,
        converged=fit.converged,
        warnings=warnings,
        _pieces=fit,
    )


def _flat(readings: Readings, used: Flags, level: float | None, sd: float, poor: bool):
    x, y = readings.speed_rpm, readings.advance_deg
    count = int(used.sum())
    given = level is not None and not poor
    floor = float(y[used].mean()) if level is None or poor else level
    left = y - floor
    error = 0.0 if given else sd / np.sqrt(count)
    sse = float(left[used] @ left[used])
    none = np.empty(0)
    warnings = few_readings(readings, used) if poor else (warn(Code.NO_ADVANCE),)
    return Knees(
        begin_rpm=None,
        begin_se_rpm=None,
        slope_deg_per_100rpm=none,
        slope_se=none,
        knee_rpm=none,
        knee_se_rpm=none,
        stop_rpm=None,
        stop_se_rpm=None,
        top_deg=floor,
        top_se_deg=error,
        floor_deg=floor,
        floor_se_deg=error,
        read_rpm=x,
        read_deg=y,
        residual_deg=left,
        used=used,
        rms_deg=float(np.sqrt(sse / count)),
        sse_deg2=sse,
        converged=not poor,
        warnings=warnings + stray_readings(readings, used, left, sd),
        _pieces=None,
    )
