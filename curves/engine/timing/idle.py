"""Whether the timing stands still at idle: how far below the begin of advance the engine idles."""

from __future__ import annotations

from dataclasses import dataclass

from ..codes import Code, EngineWarning, warn
from ..curve import AnyCurve, Curve
from ..readings import MAX_SPEED_RPM, checked_kind, checked_number
from ..units import FOUR_STROKE, Drive

IDLE_MARGIN_RPM = 200.0  # crank rpm between idle and the begin of advance; common practice, no source


@dataclass(frozen=True)
class IdleTiming:
    """What the curve does at idle, in the crank frame.

    Attributes
    ----------
    advance_crank_deg : float
        Centrifugal advance already in at idle [crank degree].
    slope_deg_per_100rpm : float
        How the timing moves with speed there [crank degrees per 100 crank rpm].
    begin_crank_rpm, margin_crank_rpm : float or None
        Where the advance begins, and how far idle is below it [crank rpm]; None when there is no advance.
    steady : bool
        True when idle is far enough below the begin.
    warnings : tuple of EngineWarning
        What to look at.
    """

    advance_crank_deg: float
    slope_deg_per_100rpm: float
    begin_crank_rpm: float | None
    margin_crank_rpm: float | None
    steady: bool
    warnings: tuple[EngineWarning, ...]


def idle_timing(
    curve: AnyCurve, idle_crank_rpm: float, *, drive: Drive = FOUR_STROKE, margin_rpm: float = IDLE_MARGIN_RPM
) -> IdleTiming:
    """Tell whether the timing at idle stands still, and how far idle lies below the begin of advance.

    Parameters
    ----------
    curve : Curve, Knees, Readings, Run, or pair (speed_rpm, advance_deg)
        Centrifugal advance in the shaft frame. Of scattered readings give the `Knees`.
    idle_crank_rpm : float
        Idle speed [crank rpm], above 0 to 20 000.
    drive : Drive, default four-stroke
    margin_rpm : float, default 200
        Margin wanted between idle and begin [crank rpm], at least 0.

    Returns
    -------
    IdleTiming

    Raises
    ------
    ValueError
        If a value is not finite or out of range.

    Notes
    -----
    margin = ratio * begin - idle. Degrees per 100 rpm are the same number in both frames: angle and speed
    scale alike.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> idle = idle_timing(([400, 1400], [0, 10]), 900)
    >>> idle.advance_crank_deg, idle.slope_deg_per_100rpm, idle.margin_crank_rpm, idle.steady
    (1.0, 1.0, -100.0, False)
    """
    checked_kind("drive", drive, Drive)
    idle = checked_number("idle_crank_rpm", idle_crank_rpm, 0.0, MAX_SPEED_RPM, above=True)
    wanted = checked_number("margin_rpm", margin_rpm, 0.0, MAX_SPEED_RPM)
    line = Curve.of(curve)
    shaft = drive.to_shaft_rpm(idle)
    advance = drive.to_crank_deg(line.at(shaft))
    slope = line.slope_at(shaft)
    begin = line.begin_rpm()
    if begin is None:
        return IdleTiming(advance, slope, None, None, True, (warn(Code.CURVE_WITHOUT_ADVANCE),))
    begin = drive.to_crank_rpm(begin)
    margin = begin - idle
    warnings = []
    if margin < 0:
        warnings.append(
            warn(
                Code.BEGIN_BELOW_IDLE,
                begin_crank_rpm=begin,
                idle_crank_rpm=idle,
                advance_crank_deg=advance,
                slope_crank_deg_per_100rpm=slope,
            )
        )
    elif margin < wanted:
        warnings.append(
            warn(
                Code.BEGIN_NEAR_IDLE,
                begin_crank_rpm=begin,
                idle_crank_rpm=idle,
                margin_crank_rpm=margin,
                wanted_crank_rpm=wanted,
            )
        )
    if line.speed_rpm[0] > shaft and line.advance_deg[0] != 0:
        lowest = drive.to_crank_rpm(line.speed_rpm[0])
        warnings.append(warn(Code.ADVANCED_AT_LOWEST_SPEED, lowest_crank_rpm=lowest))
    return IdleTiming(advance, slope, begin, margin, margin >= wanted, tuple(warnings))
