"""A run as it is read and judged: each sweep by itself."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Flags, Floats
from ..bands.band import Target
from ..bands.verdict import Verdict, judge_curve
from ..fitting.calibration import Calibration
from ..fitting.model import MIN_SCATTER_DEG, READING_SCATTER_DEG
from ..governor.head import Run
from ..readings import MAX_SPEED_RPM, Readings, checked_array, checked_flags, checked_number


def sweep_of(readings: Readings | Run, *, falling: bool) -> Readings | None:
    """Give the readings of one direction; a falling sweep starts from where the rising one turned.

    Parameters
    ----------
    readings : Readings or Run
    falling : bool

    Returns
    -------
    Readings or None
        None where nothing was read in that direction.

    Raises
    ------
    ValueError
        Never of readings that were taken.

    Notes
    -----
    The highest reading of the rising sweep is the first of the falling one, unless that was read anew.

    References
    ----------
    All points are checked up and down: Hudson Rambler Technical Service Manual (1955), p. 30.

    Examples
    --------
    >>> sweep_of(Readings([500, 1000, 500], [0, 5, 1], [False, False, True]), falling=True).advance_deg
    array([1., 5.])
    """
    rows = rows_of(readings.speed_rpm, readings.falling, falling)
    return Readings(readings.speed_rpm[rows], readings.advance_deg[rows], falling) if rows.any() else None


def judge_sweeps(
    target: Target, readings: Readings | Run, *, initial_deg: float = 0.0
) -> tuple[Verdict, ...]:
    """Judge a run as it was read: the rising sweep and the falling one, each by itself.

    Parameters
    ----------
    target : Target
    readings : Readings or Run
    initial_deg : float, default 0
        Initial timing added to the curve [shaft degree].

    Returns
    -------
    tuple of Verdict
        Of the rising sweep, then of the falling one; of one alone where the other was not read.

    Raises
    ------
    ValueError
        If the target is no `Target`.

    Notes
    -----
    A run lies in the band when no verdict has anything outside and the first covers every target speed.

    References
    ----------
    All points are checked up and down: Hudson Rambler Technical Service Manual (1955), p. 30.

    Examples
    --------
    >>> from curves.engine import Target
    >>> readings = Readings([500, 1500, 500], [0, 10, 2], [False, False, True])
    >>> [verdict.worst_deg for verdict in judge_sweeps(Target([500, 1500], [0, 10], 0.5), readings)]
    [0.0, 1.5]
    """
    sweeps = (sweep_of(readings, falling=falling) for falling in (False, True))
    return tuple(judge_curve(target, sweep, initial_deg=initial_deg) for sweep in sweeps if sweep is not None)


def unread_speeds(target: Target, sweep: Readings | Run) -> tuple[float, ...]:
    """Give the speeds of a band that one sweep was not read near.

    Parameters
    ----------
    target : Target
    sweep : Readings or Run
        Of one direction, as `sweep_of` gives it.

    Returns
    -------
    tuple of float
        Ends and bends of the band without a reading of their own, and the middle of a stretch wider than two
        thirds of it [shaft rpm], rising; empty where the whole band was read.

    Raises
    ------
    ValueError
        Never of a sound target.

    Notes
    -----
    A reading is a bend's own when it lies nearer to it than to the next bend, or within a tenth of the band.

    References
    ----------
    Common practice, no source: two readings make a line, and say nothing of what the weights do between.

    Examples
    --------
    >>> from curves.engine import Target
    >>> band = Target([300, 1800], [0, 15], 1.0)
    >>> unread_speeds(band, Readings([300, 1800], [0, 15]))
    (1050.0,)
    >>> unread_speeds(band, Readings([300, 1000, 1800], [0, 7, 15]))
    ()
    """
    corners = _corners(target)
    if corners.size < 2:
        return ()
    span = corners[-1] - corners[0]
    read = np.unique(np.clip(sweep.speed_rpm, corners[0], corners[-1]))
    half = np.maximum(np.diff(corners) / 2, span / 10)
    below, above = np.r_[half[0], half], np.r_[half, half[-1]]
    off = sweep.speed_rpm[:, None] - corners
    unread = corners[~((off >= -below) & (off <= above)).any(axis=0)]
    wide = np.flatnonzero(np.diff(read) > span * (2 / 3 + 1e-9))
    return tuple(sorted({*unread.tolist(), *((read[wide] + read[wide + 1]) / 2).tolist()}))


def _corners(target: Target):
    """The ends of a band, and the speeds between where one of its edges bends."""
    speed = target.speed_rpm
    bends = np.zeros(max(speed.size - 2, 0), bool)
    for edge in (target.advance_deg - target.tolerance_deg, target.advance_deg + target.tolerance_deg):
        slope = np.diff(edge) / np.diff(speed)
        bends |= ~np.isclose(slope[1:], slope[:-1], rtol=1e-6, atol=1e-9)
    return np.r_[speed[:1], speed[1:-1][bends], speed[1:][-1:]]


@dataclass(frozen=True, eq=False)
class Sweeps:
    """How a run will be read: at which speeds, which way, on what scale.

    Parameters
    ----------
    speed_rpm : array_like, shape (n,)
        Shaft speeds [rpm], 0 to 20 000, in any order.
    falling : bool or array_like of bool, shape (n,), default False
        True where the speed will come from above.
    scale_deg : float, default 0.5
        Division of the scale [shaft degree], 0 to 10; 0 is read without rounding.
    scatter_deg : float, default 0.25
        Standard deviation of a reading, but for the rounding [shaft degree], 0.001 to 10.

    Raises
    ------
    ValueError
        If there is no speed, or a value is NaN or out of range.

    Notes
    -----
    What is read is the advance at the speed where the shaft really turns, off by a normal scatter, rounded to
    the division; the tachometer is off by 0.3 % through a whole run and by 3 rpm at each reading.

    References
    ----------
    JCGM 100:2008 (GUM), 4.3.7: rounding is an error of its own. The sizes are common practice, no source.

    Examples
    --------
    >>> Sweeps([1500, 500]).speed_rpm
    array([ 500., 1500.])
    """

    speed_rpm: Floats
    falling: Flags = False  # pyrefly: ignore[bad-assignment]: as in Readings
    scale_deg: float = field(default=0.5, kw_only=True)
    scatter_deg: float = field(default=READING_SCATTER_DEG, kw_only=True)

    if TYPE_CHECKING:  # what may be given; what is kept are arrays

        def __init__(
            self,
            speed_rpm: ArrayLike,
            falling: ArrayLike = False,
            *,
            scale_deg: float = 0.5,
            scatter_deg: float = READING_SCATTER_DEG,
        ) -> None: ...

    def __post_init__(self) -> None:
        speed = checked_array("speed_rpm", self.speed_rpm, 0.0, MAX_SPEED_RPM)
        falling = checked_flags("falling", self.falling, speed.size)
        order = np.lexsort((speed, falling))  # rising first: each way is one block
        for name, values in (("speed_rpm", speed[order]), ("falling", falling[order])):
            values.setflags(write=False)
            object.__setattr__(self, name, values)
        object.__setattr__(self, "scale_deg", checked_number("scale_deg", self.scale_deg, 0.0, 10.0))
        scatter = checked_number("scatter_deg", self.scatter_deg, MIN_SCATTER_DEG, 10.0)
        object.__setattr__(self, "scatter_deg", scatter)

    def as_loose_as(self, calibration: Calibration) -> Sweeps:
        """Give the sweeps with the scatter that the readings of a calibration show, if that is greater.

        Parameters
        ----------
        calibration : Calibration

        Returns
        -------
        Sweeps

        Raises
        ------
        ValueError
            If the scatter would be out of range.

        Examples
        --------
        >>> from curves.engine import Head, Run, Spring, calibrate
        >>> run = Run(Spring("P1", 3.0, 19.7), None, [400, 800, 1100], [0, 4.5, 7.5])
        >>> found = calibrate(Head((20.0, 22.0), (0.24, 0.24), 12.0), [run])
        >>> Sweeps([500]).as_loose_as(found).scatter_deg >= 0.25
        True
        """
        return replace(self, scatter_deg=self.scatter_deg * calibration.unrest)

    def reaching(self, target: Target) -> Sweeps:
        """Give the sweeps with the target's speeds added that the rising one does not reach.

        Parameters
        ----------
        target : Target

        Returns
        -------
        Sweeps

        Raises
        ------
        ValueError
            Never of a sound target.

        Examples
        --------
        >>> from curves.engine import Target
        >>> Sweeps([500, 1000]).reaching(Target([600, 1500], [0, 10], 0.5)).speed_rpm
        array([ 500., 1000., 1500.])
        """
        rising = self.speed_rpm[~self.falling]
        low, high = (rising.min(), rising.max()) if rising.size else (np.inf, -np.inf)
        added = target.speed_rpm[(target.speed_rpm < low) | (target.speed_rpm > high)]
        falling = np.concatenate([self.falling, np.zeros(added.size, bool)])
        return replace(self, speed_rpm=np.concatenate([self.speed_rpm, added]), falling=falling)


def rows_of(speed_rpm: Floats, falling: Flags, wanted: bool) -> Flags:
    """Mark the readings that make one sweep, as `sweep_of` gives it."""
    rows = falling if wanted else ~falling
    if wanted and rows.any():
        top = speed_rpm.max()
        return rows | (speed_rpm == top) & (top > speed_rpm[rows].max())
    return rows
