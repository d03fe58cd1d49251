"""Whether a closed vacuum capsule holds its vacuum."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import least_squares

from ..arrays import Floats
from ..codes import Code, EngineWarning, warn
from ..readings import checked_array, checked_number
from .capsule import MAX_VACUUM_KPA

MAX_SECONDS = 86_400.0
LEAK_SECONDS = 60.0  # a sound capsule keeps nine tenths for a minute; common practice, no source
LEAK_SHARE = 0.1
GAUGE_SD_KPA = 0.5
MIN_VACUUM_KPA = 1e-3  # less no gauge tells from nothing
NEARLY_NONE = 1e-3  # share of the highest reading that no gauge tells from nothing


@dataclass(frozen=True, eq=False)
class LeakDown:
    """How a closed capsule loses its vacuum.

    Attributes
    ----------
    start_kpa, start_se_kpa : float
        Vacuum at time 0 [kPa].
    loss_share, loss_share_se : float
        Share of the vacuum lost within the time allowed [-].
    half_time_s : float
        Time in which half is lost [s]; infinite when nothing is.
    tight : bool
        True when no more is lost than allowed.
    residual_kpa : ndarray, shape (n,)
        Readings above the fitted fall [kPa], in the order given.
    converged : bool
        Whether the fit settled.
    warnings : tuple of EngineWarning
        What to look at.
    """

    start_kpa: float
    start_se_kpa: float
    loss_share: float
    loss_share_se: float
    half_time_s: float
    tight: bool
    residual_kpa: Floats
    converged: bool
    warnings: tuple[EngineWarning, ...]


def leak_down(
    time_s: ArrayLike,
    vacuum_kpa: ArrayLike,
    *,
    within_s: float = LEAK_SECONDS,
    allowed_share: float = LEAK_SHARE,
    reading_sd_kpa: float = GAUGE_SD_KPA,
) -> LeakDown:
    """Judge how fast a capsule that was pumped and closed loses its vacuum.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Time of each reading [s], at least 0, in any order; two different ones at least.
    vacuum_kpa : array_like, shape (n,)
        Vacuum read [kPa], 0 to 110; not all 0.
    within_s : float, default 60
        Time allowed [s], above 0.
    allowed_share : float, default 0.1
        Share of the vacuum that may be lost in it [-], 0 to 1.
    reading_sd_kpa : float, default 0.5
        Standard deviation of a reading [kPa], above 0.

    Returns
    -------
    LeakDown

    Raises
    ------
    ValueError
        If lengths differ, all readings are at one time or at no vacuum, or a value is NaN or out of range.

    Notes
    -----
    p = p0 exp(-r t), least squares with r at least 0; share lost in T: 1 - exp(-r T).

    References
    ----------
    A small leak into a closed volume; the limit is common practice, no source.

    Examples
    --------
    >>> leak = leak_down([0, 60, 120], [50, 40, 32])
    >>> round(leak.loss_share, 3), leak.tight
    (0.2, False)
    """
    time = checked_array("time_s", time_s, 0.0, MAX_SECONDS, shortest=2)
    vacuum = checked_array("vacuum_kpa", vacuum_kpa, 0.0, MAX_VACUUM_KPA, like=("time_s", time.size))
    within = checked_number("within_s", within_s, 0.0, MAX_SECONDS, above=True)
    allowed = checked_number("allowed_share", allowed_share, 0.0, 1.0)
    sd = checked_number("reading_sd_kpa", reading_sd_kpa, 0.0, MAX_VACUUM_KPA, above=True)
    if np.unique(time).size < 2:
        raise ValueError(f"time_s must hold two different times, got {time.tolist()}")
    if vacuum.max() < MIN_VACUUM_KPA:
        raise ValueError(f"vacuum_kpa must be above 0 at the start, got at most {vacuum.max():g}")
    unit = time.max()
    found = least_squares(
        lambda p: p[0] * np.exp(-p[1] * time / unit) - vacuum,
        _fall_guess(time / unit, vacuum),
        bounds=([0.0, 0.0], [np.inf, np.inf]),
        x_scale=[vacuum.max(), 1.0],
        ftol=1e-12,
        xtol=1e-12,
        gtol=1e-12,
    )
    start, rate = found.x[0], found.x[1] / unit
    spare = time.size - 2
    variance = max(sd**2, 2.0 * found.cost / spare) if spare else sd**2
    start_se, rate_se = np.sqrt(variance * np.diag(np.linalg.pinv(found.jac.T @ found.jac)))
    kept = np.exp(-rate * within)
    share_se = within * kept * rate_se / unit
    warnings = []
    if 1.0 - kept > allowed:
        warnings.append(warn(Code.CAPSULE_LEAKS, lost_share=1.0 - kept, within_s=within))
    if abs(1.0 - kept - allowed) < share_se:
        warnings.append(warn(Code.LEAK_NEAR_LIMIT))
    rises = np.diff(vacuum[np.argsort(time, kind="stable")]) > 4.0 * sd
    if rises.any():
        warnings.append(warn(Code.VACUUM_ROSE))
    return LeakDown(
        start_kpa=float(start),
        start_se_kpa=float(start_se),
        loss_share=float(1.0 - kept),
        loss_share_se=float(share_se),
        half_time_s=float(np.log(2.0) / rate) if rate * unit > 1e-9 else np.inf,
        tight=bool(1.0 - kept <= allowed),
        residual_kpa=vacuum - start * np.exp(-rate * time),
        converged=bool(found.success) and spare > 0,
        warnings=tuple(warnings),
    )


def _fall_guess(time: Floats, vacuum: Floats):
    """Return start and rate of a straight line through the logarithms, the higher readings counting more."""
    some = vacuum > NEARLY_NONE * vacuum.max()
    seen, height, weight = time[some], np.log(vacuum[some]), vacuum[some] ** 2
    away = seen - weight @ seen / weight.sum()
    size = weight @ away**2
    if size == 0:
        return [vacuum.max(), 1.0]
    rate = -(weight * away) @ height / size
    start = weight @ height / weight.sum() + rate * (seen - away)[0]
    return [np.exp(min(start, np.log(MAX_VACUUM_KPA))), max(rate, 1e-6)]
