"""The initial timing that suits a curve best, and the card that says what the light must then read."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats
from ..bands.band import EDGE_DEG, Target, band_edges
from ..bands.verdict import SpeedRange, ranges_outside, shared_speeds
from ..codes import Code, EngineWarning, warn
from ..curve import AnyCurve, Curve
from ..readings import MAX_ADVANCE_DEG, MAX_SPEED_RPM, checked_array, checked_kind, checked_number
from ..units import FOUR_STROKE, Drive
from .idle import idle_timing

MAX_CHOICES = 1_000  # more steps than that no one reads


@dataclass(frozen=True)
class InitialChoice:
    """What one initial timing does: distance outside the band, and the areas against the target itself.

    `initial_deg` and `worst_deg` are shaft degrees, `initial_crank_deg` crank degrees; areas are in shaft
    degree x shaft rpm, and `ranges` says at which speeds the curve lies above or below the target.
    """

    initial_deg: float
    initial_crank_deg: float
    worst_deg: float
    too_much_deg_rpm: float
    too_little_deg_rpm: float
    ranges: tuple[SpeedRange, ...]


@dataclass(frozen=True)
class BestInitial:
    """The initial timing with which a curve lies deepest in the band, or least outside it.

    Attributes
    ----------
    initial_deg, initial_crank_deg : float
        The choice [shaft degree], [crank degree].
    worst_deg : float
        What is left outside the band with it [shaft degree], 0 when the curve lies within.
    within : bool
        True when the curve then lies within the band at every target speed.
    best : InitialChoice
        The areas with it.
    choices : tuple of InitialChoice
        The same over the allowed range, step by step.
    warnings : tuple of EngineWarning
        What to look at.
    """

    initial_deg: float
    initial_crank_deg: float
    worst_deg: float
    within: bool
    best: InitialChoice
    choices: tuple[InitialChoice, ...]
    warnings: tuple[EngineWarning, ...]


def best_initial(
    curve: AnyCurve,
    target: Target,
    *,
    range_deg: tuple[float, float] | None = None,
    step_deg: float = 0.5,
    drive: Drive = FOUR_STROKE,
) -> BestInitial:
    """Find the initial timing that brings a curve deepest into the band of a target.

    Parameters
    ----------
    curve : Curve, Knees, Readings, Run, or pair (speed_rpm, advance_deg)
        Centrifugal advance in the shaft frame, without initial timing.
    target : Target
        Advance wanted, initial timing included.
    range_deg : tuple (float, float), optional
        Least and greatest initial timing [shaft degree]; by default the target's own.
    step_deg : float, default 0.5
        Step of `choices` [shaft degree], above a thousandth of the range.
    drive : Drive, default four-stroke

    Returns
    -------
    BestInitial

    Raises
    ------
    ValueError
        If curve and target share no speed, an argument is not of its kind, or a value is not finite or out of
        range.

    Notes
    -----
    With d_k the curve minus the target where either bends, the greatest of d_k + i - tol_k and -d_k - i -
    tol_k is least at i = (max(-d_k - tol_k) - max(d_k - tol_k)) / 2; it is convex in i, so that the nearest
    allowed i is the best one.

    References
    ----------
    The minimax shift of two upper envelopes; elementary.

    Examples
    --------
    >>> from curves.engine import Target
    >>> target = Target([500, 1500], [5, 14], 0.5, initial_range_deg=(3, 7))
    >>> best = best_initial(([500, 1500], [0, 10]), target)
    >>> best.initial_deg, best.initial_crank_deg, best.worst_deg, best.within
    (4.5, 9.0, 0.0, True)
    """
    checked_kind("target", target, Target)
    checked_kind("drive", drive, Drive)
    ends = target.initial_range_deg if range_deg is None else range_deg
    low, high = checked_array("range_deg", ends, -MAX_ADVANCE_DEG, MAX_ADVANCE_DEG, like=("(low, high)", 2))
    if low > high:
        raise ValueError(f"range_deg must be (low, high), got {range_deg!r}")
    step = checked_number("step_deg", step_deg, (high - low) / MAX_CHOICES, MAX_ADVANCE_DEG, above=True)
    line = Curve.of(curve)
    speed = shared_speeds(target, line)
    if not speed.size:
        reach = f"{line.speed_rpm[0]:.0f} to {line.speed_rpm[-1]:.0f}"
        wanted = f"{target.speed_rpm[0]:.0f} to {target.speed_rpm[-1]:.0f}"
        raise ValueError(f"curve must share speeds with the target ({wanted} rpm), got {reach} rpm")
    lower, upper = band_edges(target, speed)
    advance = line.at(speed)
    free = 0.5 * (np.max(lower - advance) - np.max(advance - upper))
    initial = float(np.clip(free, low, high))
    steps = np.unique(np.append(np.arange(low, high, step), high))
    choices = tuple(_choice(float(value), speed, advance, lower, upper, drive) for value in steps)
    best = _choice(initial, speed, advance, lower, upper, drive)
    covered = line.speed_rpm[0] <= target.speed_rpm[0] and line.speed_rpm[-1] >= target.speed_rpm[-1]
    warnings = []
    if not covered:
        ends = float(line.speed_rpm[0]), float(line.speed_rpm[-1])
        warnings.append(warn(Code.TARGET_NOT_COVERED, span_shaft_rpm=ends))
    at_best = best if initial == free else _choice(float(free), speed, advance, lower, upper, drive)
    if best.worst_deg > at_best.worst_deg:
        code = Code.MORE_INITIAL_SUITS if free > high else Code.LESS_INITIAL_SUITS
        warnings.append(warn(code, by_shaft_deg=abs(free - initial)))
    if at_best.worst_deg > 0:
        warnings.append(warn(Code.NO_INITIAL_SUITS))
    within = best.worst_deg == 0 and bool(covered)
    return BestInitial(
        initial, best.initial_crank_deg, best.worst_deg, within, best, choices, tuple(warnings)
    )


def _choice(initial: float, speed: Floats, advance: Floats, lower: Floats, upper: Floats, drive: Drive):
    outside = np.maximum(np.max(advance + initial - upper), np.max(lower - advance - initial))
    off = advance + initial - 0.5 * (lower + upper)
    ranges = ranges_outside(speed, off, off)
    above, below = (
        float(sum(r.area_deg_rpm for r in ranges if r.side == side)) for side in ("above", "below")
    )
    worst = float(outside) if outside > EDGE_DEG else 0.0
    return InitialChoice(float(initial), drive.to_crank_deg(float(initial)), worst, above, below, ranges)


@dataclass(frozen=True)
class CardLine:
    """One line of a setting card, in the crank frame: what the light must read at this speed, and between
    which readings the agreed band lets it lie.

    `advance_crank_deg` and `light_crank_deg` are NaN where the curve does not cover the speed, that is where
    nothing was read; `low_crank_deg` and `high_crank_deg` are NaN where no band was agreed.
    """

    speed_crank_rpm: float
    advance_crank_deg: float
    light_crank_deg: float
    low_crank_deg: float
    high_crank_deg: float


@dataclass(frozen=True)
class SettingCard:
    """What the next person with a timing light must read, in the crank frame.

    Attributes
    ----------
    initial_crank_deg : float
        Initial timing [crank degree].
    idle : CardLine
        What the light must read at idle, NaN where the curve does not cover it.
    lines : tuple of CardLine
        The same at the chosen speeds.
    vacuum_line : str
        How the vacuum line must be: "off and plugged".
    warnings : tuple of EngineWarning
        What to look at.
    """

    initial_crank_deg: float
    idle: CardLine
    lines: tuple[CardLine, ...]
    vacuum_line: str
    warnings: tuple[EngineWarning, ...]


def setting_card(
    initial_crank_deg: float,
    curve: AnyCurve,
    idle_crank_rpm: float,
    speeds_crank_rpm: ArrayLike,
    *,
    drive: Drive = FOUR_STROKE,
    band: Target | None = None,
) -> SettingCard:
    """Say what the timing light must read at idle and at chosen speeds, vacuum line off and plugged.

    Parameters
    ----------
    initial_crank_deg : float
        Initial timing [crank degree].
    curve : Curve, Knees, Readings, Run, or pair (speed_rpm, advance_deg)
        Centrifugal advance in the shaft frame, without initial timing; unknown where it is not covered.
    idle_crank_rpm : float
        Idle speed [crank rpm], above 0.
    speeds_crank_rpm : float or array_like, shape (n,)
        Speeds to check at [crank rpm].
    drive : Drive, default four-stroke
    band : Target, optional
        The centrifugal advance agreed, in the shaft frame, without initial timing.

    Returns
    -------
    SettingCard
        With NaN for the advance and the light at speeds that the curve does not cover.

    Raises
    ------
    ValueError
        If a value is not finite or out of range.

    Notes
    -----
    light = initial + ratio * advance(speed / ratio), where `Curve.covers` that speed; allowed is the band
    shifted by the initial timing, and nothing where none was agreed: NaN.

    References
    ----------
    A four-cylinder, crank rpm and degrees: 500:0, 1000:2, 1600:9, 2000:14, 3000:21, 4000:28, 4600:32; with 6
    initial the light reads 6, 8, 15, 20, 27, 34, 38 (fordsix.com, thread 27815).

    Examples
    --------
    >>> card = setting_card(6, ([250, 500, 800, 1000], [0, 1, 4.5, 7]), 500, [1600, 2000])
    >>> card.idle.light_crank_deg, [line.light_crank_deg for line in card.lines], card.vacuum_line
    (6.0, [15.0, 20.0], 'off and plugged')
    """
    checked_kind("drive", drive, Drive)
    initial = checked_number("initial_crank_deg", initial_crank_deg, -MAX_ADVANCE_DEG, MAX_ADVANCE_DEG)
    speeds = checked_array("speeds_crank_rpm", speeds_crank_rpm, 0.0, MAX_SPEED_RPM)
    line = Curve.of(curve)
    idle = idle_timing(line, idle_crank_rpm, drive=drive)
    asked = np.array([float(idle_crank_rpm), *speeds])
    at = drive.to_shaft_rpm(asked)
    advance = np.where(line.covers(at), drive.to_crank_deg(line.at(at)), np.nan)
    edges = np.full((2, at.size), np.nan) if band is None else np.array(band_edges(band, at))
    low, high = initial + drive.to_crank_deg(edges)
    columns = (asked, advance, initial + advance, low, high)
    at_idle, *lines = (CardLine(*row) for row in zip(*(part.tolist() for part in columns), strict=True))
    warnings = list(idle.warnings)
    beyond = speeds[np.isnan(advance[1:]) & (at[1:] > line.speed_rpm[-1])]
    if beyond.size:
        highest = drive.to_crank_rpm(line.speed_rpm[-1])
        warnings.append(warn(Code.CARD_ABOVE_CURVE, highest_crank_rpm=highest, asked_crank_rpm=beyond[0]))
    return SettingCard(initial, at_idle, tuple(lines), "off and plugged", tuple(warnings))


@dataclass(frozen=True)
class TotalTiming:
    """The greatest timing up to top speed, in the crank frame.

    `total_crank_deg` is reached first at `at_crank_rpm`; `over_deg` is how far it exceeds the limit, negative
    when it stays below.
    """

    total_crank_deg: float
    at_crank_rpm: float
    limit_crank_deg: float
    over_deg: float
    within: bool
    warnings: tuple[EngineWarning, ...]


def total_timing(
    initial_crank_deg: float,
    curve: AnyCurve,
    top_crank_rpm: float,
    limit_crank_deg: float,
    *,
    vacuum_crank_deg: float = 0.0,
    drive: Drive = FOUR_STROKE,
) -> TotalTiming:
    """Compare the greatest timing up to top speed with a limit.

    Parameters
    ----------
    initial_crank_deg : float
        Initial timing [crank degree].
    curve : Curve, Knees, Readings, Run, or pair (speed_rpm, advance_deg)
        Centrifugal advance in the shaft frame, without initial timing; level beyond its ends.
    top_crank_rpm : float
        Top speed [crank rpm], above 0.
    limit_crank_deg : float
        Most timing the engine stands [crank degree].
    vacuum_crank_deg : float, default 0
        What the vacuum capsule adds at most [crank degree], at least 0.
    drive : Drive, default four-stroke

    Returns
    -------
    TotalTiming

    Raises
    ------
    ValueError
        If a value is not finite or out of range.

    Notes
    -----
    total = initial + vacuum + ratio * max advance(n), n up to top speed / ratio.

    References
    ----------
    Volvo B23E 1982: basic 10, vacuum 9 to 14 crank degrees: the light reads 19 to 24.

    Examples
    --------
    >>> total = total_timing(10, ([500, 1500], [0, 12]), 5000, 32)
    >>> total.total_crank_deg, total.at_crank_rpm, total.over_deg, total.within
    (34.0, 3000.0, 2.0, False)
    """
    checked_kind("drive", drive, Drive)
    initial = checked_number("initial_crank_deg", initial_crank_deg, -MAX_ADVANCE_DEG, MAX_ADVANCE_DEG)
    top = checked_number("top_crank_rpm", top_crank_rpm, 0.0, MAX_SPEED_RPM, above=True)
    limit = checked_number("limit_crank_deg", limit_crank_deg, -MAX_ADVANCE_DEG, MAX_ADVANCE_DEG)
    vacuum = checked_number("vacuum_crank_deg", vacuum_crank_deg, 0.0, MAX_ADVANCE_DEG)
    line = Curve.of(curve)
    end = drive.to_shaft_rpm(top)
    speed = np.append(line.speed_rpm[line.speed_rpm < end], end)
    advance = line.at(speed)
    most = int(np.argmax(advance))
    total = initial + vacuum + drive.to_crank_deg(float(advance[most]))
    over = total - limit
    at = drive.to_crank_rpm(float(speed[most]))
    warnings = []
    if over > 0:
        warnings.append(
            warn(
                Code.TOTAL_OVER_LIMIT,
                total_crank_deg=total,
                at_crank_rpm=at,
                over_crank_deg=over,
                limit_crank_deg=limit,
            )
        )
    if end > line.speed_rpm[-1] and line.slope_at(np.nextafter(line.speed_rpm[-1], 0)) > 0:
        highest = drive.to_crank_rpm(line.speed_rpm[-1])
        warnings.append(warn(Code.TOTAL_ABOVE_CURVE, highest_crank_rpm=highest))
    return TotalTiming(total, at, limit, over, over <= 0, tuple(warnings))
