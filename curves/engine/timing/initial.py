"""The initial timing that hides behind what a timing light reads at the crank."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Flags, Floats
from ..codes import Code, EngineWarning, warn
from ..curve import AnyCurve, Curve
from ..readings import (
    MAX_ADVANCE_DEG,
    MAX_SPEED_RPM,
    checked_array,
    checked_flags,
    checked_kind,
    checked_number,
)
from ..units import FOUR_STROKE, Drive

LIGHT_SD_DEG = 1.0  # crank degrees: a fair hand with a light on a moving mark; common practice, no source
SURE = 3.0  # standard errors before something is called found


@dataclass(frozen=True, eq=False)
class TrueInitial:
    """The initial timing behind light readings, in the crank frame.

    Attributes
    ----------
    initial_deg : ndarray, shape (n,)
        Initial timing behind each reading, in the order given [crank degree].
    used : ndarray of bool, shape (n,)
        Readings that are pooled: not those with the vacuum on, nor a stray one.
    pooled_deg, pooled_se_deg : float
        Mean of the readings used and its standard error [crank degree].
    spread_deg : float
        Standard deviation of the readings used about their mean [crank degree]; NaN for one.
    drift_deg_per_1000rpm, drift_se : float
        How the initial timing seems to change with speed [crank degree per 1000 crank rpm]; NaN when it can't
        be told. A distributor can't do that: it is the curve or wear.
    vacuum_on : ndarray of bool, shape (n,)
        Readings that had the vacuum line on, as told or as found.
    vacuum_deg : float
        What these lie above the others [crank degree]; 0 when there are none.
    finding : str
        "steady", "vacuum line", "drift", "scatter" or "disagree".
    converged : bool
        Whether the readings agree on one initial timing.
    warnings : tuple of EngineWarning
        What to look at.
    """

    initial_deg: Floats
    used: Flags
    pooled_deg: float
    pooled_se_deg: float
    spread_deg: float
    drift_deg_per_1000rpm: float
    drift_se: float
    vacuum_on: Flags
    vacuum_deg: float
    finding: str
    converged: bool
    warnings: tuple[EngineWarning, ...]


def true_initial(
    speed_crank_rpm: ArrayLike,
    light_crank_deg: ArrayLike,
    curve: AnyCurve,
    *,
    drive: Drive = FOUR_STROKE,
    part_throttle: ArrayLike | None = None,
    vacuum_on: ArrayLike | None = None,
    reading_sd_deg: float = LIGHT_SD_DEG,
) -> TrueInitial:
    """Find the initial timing behind timing-light readings by taking the distributor's curve off them.

    Parameters
    ----------
    speed_crank_rpm : array_like, shape (n,)
        Engine speed of each reading [crank rpm].
    light_crank_deg : array_like, shape (n,)
        What the light read [crank degree before top dead centre].
    curve : Curve, Knees, Readings, Run, or pair (speed_rpm, advance_deg)
        Centrifugal advance in the shaft frame, without initial timing; level beyond its ends.
    drive : Drive, default four-stroke
        Turns crank into shaft.
    part_throttle : bool or array_like of bool, shape (n,), optional
        Readings taken under way at part throttle, where a vacuum capsule would act.
    vacuum_on : bool or array_like of bool, shape (n,), optional
        Readings known to have been taken with the vacuum line on; they are not pooled.
    reading_sd_deg : float, default 1
        Scatter of a light reading [crank degree], above 0.

    Returns
    -------
    TrueInitial

    Raises
    ------
    ValueError
        If there is no reading, lengths differ, or a value is NaN or out of range.

    Notes
    -----
    initial_i = light_i - ratio * advance(speed_i / ratio). Without `part_throttle`, a vacuum line is
    suspected when the values fall into two groups further apart than scatter allows and two levels fit better
    than a drift.

    References
    ----------
    A capsule adds the difference between hoses on and off (Acura Legend 1987: 3 at 720 rpm, hoses on 23 +/-
    2).

    Examples
    --------
    >>> curve = [450, 1500], [0, 10]
    >>> found = true_initial([900, 1600, 3000], [10, 17, 30], curve)
    >>> found.initial_deg.round(2), round(found.pooled_deg, 2), found.finding
    (array([10.  , 10.33, 10.  ]), 10.11, 'steady')
    """
    speed = checked_array("speed_crank_rpm", speed_crank_rpm, 0.0, MAX_SPEED_RPM)
    like = ("speed_crank_rpm", speed.size)
    light = checked_array("light_crank_deg", light_crank_deg, -MAX_ADVANCE_DEG, MAX_ADVANCE_DEG, like=like)
    sd = checked_number("reading_sd_deg", reading_sd_deg, 0.0, 20.0, above=True)
    checked_kind("drive", drive, Drive)
    part = checked_flags("part_throttle", False if part_throttle is None else part_throttle, speed.size)
    known = checked_flags("vacuum_on", False if vacuum_on is None else vacuum_on, speed.size)
    line = Curve.of(curve)
    initial = light - drive.to_crank_deg(line.at(drive.to_shaft_rpm(speed)))
    on = known | _vacuum_suspects(speed, initial, part, known, sd)
    stray = _strays(initial, ~on, sd)
    used = ~on & ~stray
    if not used.any():
        used = ~stray
    pooled = float(initial[used].mean())
    count = int(used.sum())
    spread = float(initial[used].std(ddof=1)) if count > 1 else np.nan
    error = max(sd, np.nan_to_num(spread)) / np.sqrt(count)
    drift, drift_se = _drift(speed[used], initial[used], sd)
    extra = float(initial[on].mean() - pooled) if on.any() and (~on).any() else 0.0
    finding = _finding(speed[used], initial[used], drift, drift_se, sd)
    if finding == "steady" and (on & ~known).any():
        finding = "vacuum line"
    return TrueInitial(
        initial_deg=initial,
        used=used,
        pooled_deg=pooled,
        pooled_se_deg=float(error),
        spread_deg=spread,
        drift_deg_per_1000rpm=drift,
        drift_se=drift_se,
        vacuum_on=on,
        vacuum_deg=extra,
        finding=finding,
        converged=finding in ("steady", "vacuum line") and count > 1,
        warnings=tuple(_doubts(speed, initial, used, on, known, stray, extra, finding, drift, line, drive)),
    )


def _vacuum_suspects(speed: Floats, initial: Floats, part: Flags, known: Flags, sd: float):
    """Mark the readings that look as if the vacuum line was on."""
    if known.any() or len(initial) < 3:
        return np.zeros(len(initial), bool)
    if part.any() and not part.all():
        high = part
        sure = SURE * sd * np.sqrt(1.0 / high.sum() + 1.0 / (~high).sum())
        apart = initial[high].mean() - initial[~high].mean() > max(sure, 2.0 * sd)
        return high if apart else np.zeros(len(initial), bool)
    order = np.sort(initial)
    gaps = np.diff(order)
    cut = int(np.argmax(gaps))
    high = initial > order[cut]
    if len(initial) < 5 or gaps[cut] < SURE * sd or min(high.sum(), (~high).sum()) < 2:
        return np.zeros(len(initial), bool)
    two_levels = sum(((initial[group] - initial[group].mean()) ** 2).sum() for group in (high, ~high))
    straight = np.polynomial.polynomial.polyfit(speed - speed.mean(), initial, 1)
    drift_left = initial - np.polynomial.polynomial.polyval(speed - speed.mean(), straight)
    better = two_levels + sd**2 * np.log(len(initial)) < drift_left @ drift_left
    return high if better else np.zeros(len(initial), bool)


def _strays(initial: Floats, eligible: Flags, sd: float):
    """Mark single readings far from the middle of the others; with fewer than four there is no telling."""
    if eligible.sum() < 4:
        return np.zeros(len(initial), bool)
    off = np.abs(initial - np.median(initial[eligible]))
    scatter = max(sd, 1.4826 * np.median(off[eligible]))
    return eligible & (off > 4.0 * scatter)


def _drift(speed: Floats, initial: Floats, sd: float):
    """Return slope and standard error of initial timing over speed, per 1000 rpm."""
    away = (speed - speed.mean()) / 1000.0
    size = away @ away
    if len(speed) < 3 or size == 0:
        return np.nan, np.nan
    slope = away @ initial / size
    left = initial - initial.mean() - slope * away
    variance = max(sd**2, left @ left / (len(speed) - 2))
    return float(slope), float(np.sqrt(variance / size))


def _finding(speed: Floats, initial: Floats, drift: float, drift_se: float, sd: float):
    across = abs(drift) * (speed.max() - speed.min()) / 1000.0
    if abs(drift) > SURE * drift_se and across > 2.0 * sd:
        return "drift"
    order = np.argsort(speed, kind="stable")
    half = len(order) // 2
    if half >= 3:
        low, high = (initial[part].std(ddof=1) for part in (order[:half], order[-half:]))
        if high > max(SURE * low, 2.0 * sd):
            return "scatter"
    if len(order) > 1 and initial.std(ddof=1) > SURE * sd:
        return "disagree"
    return "steady"


def _doubts(
    speed: Floats,
    initial: Floats,
    used: Flags,
    on: Flags,
    known: Flags,
    stray: Flags,
    extra: float,
    finding: str,
    drift: float,
    line: Curve,
    drive: Drive,
):
    if len(speed) == 1:
        yield warn(Code.LIGHT_READ_ONCE)
    if (on & ~known).any():
        at = tuple(np.sort(speed[on]).tolist())
        yield warn(Code.VACUUM_SUSPECTED, speeds_crank_rpm=at, above_crank_deg=extra)
    if on.all():
        yield warn(Code.VACUUM_THROUGHOUT)
    for i in np.flatnonzero(stray):
        yield warn(Code.LIGHT_STRAYS, speed_crank_rpm=speed[i], initial_crank_deg=initial[i])
    if finding == "drift":
        lowest = np.flatnonzero(used)[np.argmin(speed[used])]
        yield warn(
            Code.INITIAL_RISES if drift > 0 else Code.INITIAL_FALLS,
            drift_crank_deg_per_1000rpm=abs(drift),
            lowest_crank_rpm=speed[lowest],
            initial_crank_deg=initial[lowest],
        )
    if finding == "scatter":
        yield warn(Code.LIGHT_SCATTERS_AT_SPEED)
    if finding == "disagree":
        ends = float(initial[used].min()), float(initial[used].max())
        yield warn(Code.LIGHT_DISAGREES, span_crank_deg=ends)
    rising = line.speed_rpm.size > 1 and line.advance_deg[-1] > line.advance_deg[-2]
    if rising and drive.to_shaft_rpm(speed.max()) > line.speed_rpm[-1]:
        yield warn(Code.LIGHT_ABOVE_CURVE, highest_crank_rpm=drive.to_crank_rpm(line.speed_rpm[-1]))
