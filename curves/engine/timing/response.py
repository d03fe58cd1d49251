"""Best advance at one speed from a timing sweep on the road or a dynamometer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri, stdtrit

from ..arrays import Floats
from ..codes import Code, EngineWarning, warn
from ..readings import MAX_ADVANCE_DEG, checked_array, checked_choice, checked_number

CONFIDENCE = 0.9
ENOUGH_SHARE = 0.01  # loss against the best that no driver feels; common practice, no source
MAX_VALUE = 1e9  # in any unit of pull, power or time
FLAT = 1e-9  # curvature below this share of the slope is rounding


@dataclass(frozen=True, eq=False)
class Response:
    """Where pull is greatest, or time least, in the frame the advance was given in.

    Attributes
    ----------
    best_deg, best_se_deg : float or None
        Best advance and its standard error [degree]; None when the readings show no best.
    low_deg, high_deg : float
        Interval of the best advance at the confidence asked for [degree]; infinite where the readings leave
        it open.
    best_value : float or None
        Pull or time at the best advance, in the unit given.
    enough_deg : float or None
        Least advance that loses no more than the share allowed [degree].
    curvature, curvature_se : float
        Second derivative of the value [unit per degree squared].
    residual : ndarray, shape (n,)
        Values above the fitted parabola, in the order given.
    finding : str
        "best inside", "best beyond the readings", "more is still better", "less is still better" or
        "cannot tell".
    converged : bool
        True for a best inside the readings with both ends of its interval finite.
    warnings : tuple of EngineWarning
        What to look at; its degrees (`_deg`) are in the frame given too.
    """

    best_deg: float | None
    best_se_deg: float | None
    low_deg: float
    high_deg: float
    best_value: float | None
    enough_deg: float | None
    curvature: float
    curvature_se: float
    residual: Floats
    finding: str
    converged: bool
    warnings: tuple[EngineWarning, ...]

    def at(self, advance_deg: float | Floats) -> float | Floats | None:
        """Return the parabola's value at an advance or at each of an array; None when no best was found."""
        if self.best_deg is None or self.best_value is None:
            return None
        return self.best_value + 0.5 * self.curvature * (np.asarray(advance_deg) - self.best_deg) ** 2


def fit_response(
    advance_deg: ArrayLike,
    value: ArrayLike,
    *,
    best: str = "most",
    value_sd: float | None = None,
    confidence: float = CONFIDENCE,
    allowed_share: float = ENOUGH_SHARE,
) -> Response:
    """Find the best advance at one speed, with an interval that stays open when the readings can't close it.

    Parameters
    ----------
    advance_deg : array_like, shape (n,)
        Timing tried [degree], crank or shaft; results are in the same frame. In any order, repeats welcome.
    value : array_like, shape (n,)
        What was measured: pull, torque or power, or a time; -1e9 to 1e9 in its unit.
    best : str, default "most"
        "most" for pull, "least" for a time.
    value_sd : float, optional
        Standard deviation of one measurement, above 0; needed to judge only three readings.
    confidence : float, default 0.9
        Of the interval, above 0 and below 1.
    allowed_share : float, default 0.01
        Loss against the best value that is allowed for `enough_deg`, 0 to 1.

    Returns
    -------
    Response

    Raises
    ------
    ValueError
        If nothing was read, lengths differ, or a value is NaN or out of range.

    Notes
    -----
    value = c0 + c1 a + c2 a^2, best at a = -c1 / (2 c2). The interval holds every a whose slope c1 + 2 c2 a
    can't be told from 0: (c1 + 2 c2 a)^2 <= q^2 (V11 + 4 a V12 + 4 a^2 V22), q Student's t. When the
    curvature itself can't be told from 0 it is open on the side to which the value improves, or on both.

    References
    ----------
    E. C. Fieller, Some problems in interval estimation, J. R. Stat. Soc. B 16 (1954) 175-185.

    Examples
    --------
    >>> pull = fit_response([20, 24, 28, 32, 36, 40], [89.0, 94.5, 98.6, 99.9, 99.0, 94.2])
    >>> round(pull.best_deg, 1), round(pull.low_deg, 1), round(pull.high_deg, 1), pull.finding
    (31.8, 31.4, 32.4, 'best inside')
    """
    advance = checked_array("advance_deg", advance_deg, -MAX_ADVANCE_DEG, MAX_ADVANCE_DEG)
    measured = checked_array("value", value, -MAX_VALUE, MAX_VALUE, like=("advance_deg", advance.size))
    checked_choice("best", best, ("most", "least"))
    sure = checked_number("confidence", confidence, 0.0, 1.0, above=True)
    if sure == 1.0:
        raise ValueError("confidence must be below 1, got 1.0")
    share = checked_number("allowed_share", allowed_share, 0.0, 1.0)
    sd = None if value_sd is None else checked_number("value_sd", value_sd, 0.0, MAX_VALUE, above=True)
    sign = 1.0 if best == "most" else -1.0
    if np.unique(advance).size < 3:
        return _too_few(advance, measured, sign)
    fit = _Parabola.of(advance, sign * measured, sd, sure)
    low, high, finding = _interval(fit, advance)
    found = finding in ("best inside", "best beyond the readings")
    top = fit.top if found else None
    peak = None if top is None else fit.at(top)
    enough = None
    if top is not None and peak is not None and finding == "best inside":
        enough = float(top - np.sqrt(share * abs(peak) / -fit.c2))
    return Response(
        best_deg=top,
        best_se_deg=fit.top_se if found else None,
        low_deg=low,
        high_deg=high,
        best_value=None if peak is None else sign * peak,
        enough_deg=enough,
        curvature=sign * 2.0 * fit.c2,
        curvature_se=float(2.0 * np.sqrt(fit.covariance[2, 2])),
        residual=sign * fit.left,
        finding=finding,
        converged=bool(finding == "best inside" and np.isfinite([low, high]).all()),
        warnings=tuple(_doubts(fit, advance, low, high, finding)),
    )


@dataclass(frozen=True)
class _Parabola:
    """A parabola about `middle`: c0 + c1 u + c2 u^2, better upwards, with its covariance and quantile."""

    middle: float
    c0: float
    c1: float
    c2: float
    covariance: Floats
    quantile: float
    left: Floats
    reach: float
    judged: bool

    @classmethod
    def of(cls, advance: Floats, value: Floats, sd: float | None, sure: float) -> _Parabola:
        middle = 0.5 * (advance.min() + advance.max())
        reach = 0.5 * (advance.max() - advance.min())
        u = (advance - middle) / reach
        columns = np.stack([np.ones_like(u), u, u**2], axis=1)
        inverse = np.linalg.inv(columns.T @ columns)
        coef = inverse @ columns.T @ value
        left = value - columns @ coef
        spare = len(u) - 3
        seen = left @ left / spare if spare else 0.0
        by_readings = sd is None or seen > sd**2
        variance = seen if by_readings else sd**2
        tail = 0.5 * (1.0 + sure)
        quantile = float(stdtrit(spare, tail) if by_readings and spare else ndtri(tail))
        unit = np.array([1.0, 1.0 / reach, 1.0 / reach**2])
        covariance = variance * inverse * np.outer(unit, unit)
        c0, c1, c2 = (coef * unit).tolist()
        return cls(middle, c0, c1, c2, covariance, quantile, left, reach, bool(spare or sd is not None))

    @property
    def top(self) -> float:
        return float(self.middle - self.c1 / (2.0 * self.c2))

    @property
    def top_se(self) -> float:
        """Standard error of the top to first order."""
        gradient = np.array([0.0, -0.5 / self.c2, 0.5 * self.c1 / self.c2**2])
        return float(np.sqrt(gradient @ self.covariance @ gradient))

    def at(self, advance: float) -> float:
        u = advance - self.middle
        return self.c0 + self.c1 * u + self.c2 * u**2


def _interval(fit: _Parabola, advance: Floats):
    """Return both ends of the interval of the best advance, and what was found."""
    flat = abs(fit.c2) * fit.reach <= FLAT * abs(fit.c1)
    q2 = fit.quantile**2
    a = 4.0 * (fit.c2**2 - q2 * fit.covariance[2, 2])
    b = 4.0 * (fit.c1 * fit.c2 - q2 * fit.covariance[1, 2])
    c = fit.c1**2 - q2 * fit.covariance[1, 1]
    inside = advance.min() <= fit.top <= advance.max() if not flat and fit.c2 < 0 else False
    if not fit.judged:
        finding = "best inside" if inside else "cannot tell"
        return -np.inf, np.inf, finding
    curved = a > 0 and not flat
    if curved and fit.c2 < 0:
        root = np.sqrt(max(b * b - 4.0 * a * c, 0.0))
        low, high = (fit.middle + (-b - root) / (2.0 * a), fit.middle + (-b + root) / (2.0 * a))
        return float(low), float(high), "best inside" if inside else "best beyond the readings"
    if c <= 0 or (curved and fit.c2 > 0 and abs(fit.c1) < 2.0 * fit.c2 * fit.reach):
        return -np.inf, np.inf, "cannot tell"
    # The slope in the middle is sure, the bend is not: the best lies somewhere on the side that improves.
    rising = fit.c1 > 0
    near = _near_end(a, b, c, rising, flat, fit)
    return (near, np.inf, "more is still better") if rising else (-np.inf, near, "less is still better")


def _near_end(a: float, b: float, c: float, rising: bool, flat: bool, fit: _Parabola):
    """Return the finite end of a half-open interval, the far end of the readings at most."""
    edge = fit.middle + (fit.reach if rising else -fit.reach)
    discriminant = b * b - 4.0 * a * c
    if flat or a >= 0 or discriminant < 0:
        return edge
    roots = sorted((-b + side * np.sqrt(discriminant)) / (2.0 * a) for side in (1.0, -1.0))
    return float(fit.middle + (roots[1] if rising else roots[0]))


def _too_few(advance: Floats, measured: Floats, sign: float):
    """Say what readings at one or two timings can: which was better."""
    better = advance[np.argmax(sign * measured)]
    low, high = -np.inf, np.inf
    two = np.unique(advance).size == 2
    warning = warn(Code.TRIED_TWO, better_deg=better) if two else warn(Code.TRIED_TOO_FEW)
    return Response(
        None,
        None,
        low,
        high,
        None,
        None,
        np.nan,
        np.inf,
        np.zeros(advance.size),
        "cannot tell",
        False,
        (warning,),
    )


def _doubts(fit: _Parabola, advance: Floats, low: float | None, high: float | None, finding: str):
    least, most = advance.min(), advance.max()
    if not fit.judged:
        yield warn(Code.TRIED_ONCE_EACH)
    if finding == "more is still better":
        yield warn(Code.MORE_IS_BETTER, most_deg=most)
    if finding == "less is still better":
        yield warn(Code.LESS_IS_BETTER, least_deg=least)
    if finding == "best beyond the readings":
        yield warn(Code.BEST_BEYOND_TRIES, best_deg=fit.top, least_deg=least, most_deg=most)
    if finding == "cannot tell" and fit.judged:
        yield warn(Code.BEST_NOT_TOLD)
    if finding == "best inside" and fit.judged and (low < least or high > most):
        yield warn(Code.BEST_MAY_LIE_BEYOND)
