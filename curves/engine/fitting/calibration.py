"""A head after its runs: what it and its springs are found to be, and what curve to expect of any pair."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats
from ..codes import EngineWarning
from ..governor.equilibrium import Balance, advance_at
from ..governor.head import MAX_BEND_MM, MAX_TRAVEL_DEG, Head, Run
from ..governor.prior import (
    FRICTION,
    GAP,
    GROWTH,
    HEAD_SIZE,
    INERTIA,
    POSITIONS,
    STRETCH,
    TRAVEL,
    corrected_spring,
    spring_prior,
)
from ..readings import (
    MAX_SPEED_RPM,
    checked_array,
    checked_choice,
    checked_count,
    checked_flags,
    checked_kind,
    checked_number,
)
from ..springs.spring import Spring
from .fit import Fit
from .model import MODEL_SD_DEG, Model
from .posterior import sample

_SEED = 20_011
SOUND_READINGS = 8.0
ESTIMATES = (
    "inertia_kg_mm2_per_deg",
    "growth_per_deg",
    "friction_n_mm_per_deg",
    "post_gap_primary_mm",
    "post_gap_secondary_mm",
    "stretch_primary_mm_per_deg",
    "stretch_secondary_mm_per_deg",
    "travel_deg",
)


@dataclass(frozen=True)
class Estimate:
    """A value and its standard error."""

    value: float
    sd: float


@dataclass(frozen=True, eq=False)
class Calibration:
    """A head after its runs: what it and its springs are, and draws of what else they may be.

    Attributes
    ----------
    head : Head
    runs : tuple of Run
    estimates : dict of str to Estimate
        inertia_kg_mm2_per_deg, growth_per_deg, friction_n_mm_per_deg, then the gap and the stretch of both
        springs and travel_deg; standard errors are those of the Gaussian at the optimum.
    converged : bool
        Whether the search settled.
    cost : float
        Twice the negative log posterior at the optimum, but for a constant.
    residuals_deg : tuple of ndarray
        Reading less model [shaft degree], for each run in the order of its readings.
    warnings : tuple of EngineWarning
        What a person should look at: mistyped readings by name, snaps, springs far from their label.

    Examples
    --------
    >>> from curves.engine import calibrate
    >>> head = Head((20.0, 22.0), (0.24, 0.24), 12.0)
    >>> run = Run(Spring("P1", 3.0, 19.7), None, [400, 600, 800, 1100, 1400], [0, 1.5, 4.5, 7.5, 11])
    >>> calibration = calibrate(head, [run])
    >>> calibration.converged, bool(abs(calibration.residuals_deg[0]).max() < 1.0)
    (True, True)
    """

    head: Head
    runs: tuple[Run, ...]
    estimates: dict[str, Estimate]
    converged: bool
    cost: float
    residuals_deg: tuple[Floats, ...]
    warnings: tuple[EngineWarning, ...]
    fitted: Fit = field(repr=False)
    model: Model = field(repr=False)

    @cached_property
    def draws(self) -> Floats:
        """Give draws of all unknowns as log, mm and N, shape (512, size), read-only."""
        draws = self.model.natural(sample(self.model, self.fitted, _SEED))
        draws.setflags(write=False)
        return draws

    @cached_property
    def unrest(self) -> float:
        """Give how many times as far the readings scatter as was taken of them, 1 at least.

        Weights that stick unevenly, or a bench that shakes, show in the readings between rest and stop. As
        many readings as `SOUND_READINGS` that scatter as they should are believed beforehand.
        """
        model, fitted = self.model, self.fitted
        angle = model.advance_deg - fitted.residuals * model.noise_deg
        moving = (angle > 0.0) & (angle < np.exp(model.natural(fitted.z[None])[0, TRAVEL]))
        weight = fitted.weight * moving
        told = model.size - np.trace(fitted.covariance)  # unknowns that the readings settled
        free = max(weight.sum() - told * weight.sum() / max(fitted.weight.sum(), 1.0), 0.0)
        squares = (weight * fitted.residuals**2).sum() + SOUND_READINGS
        return float(max(np.sqrt(squares / (free + SOUND_READINGS)), 1.0))

    @property
    def head_draws(self) -> Floats:
        """Give draws of `HEAD_NAMES`, shape (512, 8)."""
        return self.draws[:, :HEAD_SIZE]

    def spring_draws(self, spring: Spring, place: int, number: int = 0) -> Floats:
        """Give draws of a spring: together with the head if it was run, from its label if not.

        Parameters
        ----------
        spring : Spring
        place : int
            0 for a primary, 1 for a secondary.
        number : int, default 0
            Keeps the labels' errors of different springs apart.

        Returns
        -------
        ndarray, shape (512, 3)
            Log of the rate [N/mm], free length [mm] and tension / rate [mm].

        Raises
        ------
        ValueError
            If the spring is no `Spring`, the place is neither, or the number is not whole or below 0.

        Examples
        --------
        >>> from curves.engine import calibrate
        >>> spring = Spring("P1", 3.0, 19.7)
        >>> run = Run(spring, None, [400, 800, 1100], [0, 4.5, 7.5])
        >>> calibrate(Head((20.0, 22.0), (0.24, 0.24), 12.0), [run]).spring_draws(spring, 0).shape
        (512, 3)
        """
        checked_kind("spring", spring, Spring)
        place, number = checked_count("place", place, 0, 1), checked_count("number", number, 0)
        column = self.model.springs.get((spring, place))
        if column is not None:
            return self.draws[:, column : column + 3]
        prior = spring_prior(spring, place, self.estimates[ESTIMATES[GAP.start + place]].value)
        normal = np.random.default_rng((_SEED, place, number)).standard_normal((len(self.draws), 3))
        return np.array(prior.mean) + normal @ prior.root.T

    def balance_draws(
        self,
        primary: Spring,
        secondary: Spring | None,
        post_bend_mm: tuple[float, float] = (0.0, 0.0),
        travel_deg: float | None = None,
    ) -> Balance:
        """Give draws of the head with a pair of springs in it.

        Parameters
        ----------
        primary : Spring
        secondary : Spring or None
        post_bend_mm : tuple (float, float), default (0, 0)
            Where the posts are, from where they were measured [mm].
        travel_deg : float, optional
            Where the stop is to be set [shaft degree]. None: it stays.

        Returns
        -------
        Balance
            Arrays of shape (512, 1) and, of the springs, (512, 1, 2).

        Raises
        ------
        ValueError
            If a spring is no `Spring`.

        Examples
        --------
        >>> from curves.engine import calibrate
        >>> spring = Spring("P1", 3.0, 19.7)
        >>> run = Run(spring, None, [400, 800, 1100], [0, 4.5, 7.5])
        >>> calibration = calibrate(Head((20.0, 22.0), (0.24, 0.24), 12.0), [run])
        >>> calibration.balance_draws(spring, None).gap_mm.shape
        (512, 1, 2)
        """
        head = self.head_draws
        springs = np.zeros((len(head), 3, 2))
        springs[:, 0] = -np.inf  # a rate of 0: no spring
        for place, spring in enumerate((primary, secondary)):
            if spring is not None:
                springs[..., place] = self.spring_draws(spring, place)
        rate = np.exp(springs[:, None, 0])
        travel = np.exp(head[:, TRAVEL, None])
        return Balance(
            inertia=np.exp(head[:, INERTIA, None]),
            growth=head[:, GROWTH, None],
            friction=np.exp(head[:, FRICTION, None]),
            travel_deg=travel if travel_deg is None else np.full_like(travel, travel_deg),
            gap_mm=np.exp(head[:, None, GAP]) + post_bend_mm,
            stretch=np.exp(head[:, None, STRETCH]),
            rate=rate,
            length_mm=springs[:, None, 1],
            tension_n=springs[:, None, 2] * rate,
        )

    def curve(
        self,
        primary: Spring,
        secondary: Spring | None,
        speed_rpm: ArrayLike,
        *,
        falling: ArrayLike = False,
        post_bend_mm: tuple[float, float] = (0.0, 0.0),
        travel_deg: float | None = None,
    ) -> tuple[Floats, Floats]:
        """Give the advance to expect from a pair of springs, and how surely.

        Parameters
        ----------
        primary : Spring
        secondary : Spring or None
        speed_rpm : array_like, shape (n,)
            Shaft speeds [rpm], 0 to 20 000.
        falling : bool or array_like of bool, shape (n,), default False
            True: coming from above.
        post_bend_mm : tuple (float, float)
            Where the posts are, from where they were measured [mm].
        travel_deg : float, optional
            Where the stop is to be set [shaft degree], above 0 to 60. None: it stays.

        Returns
        -------
        mean_deg, sd_deg : ndarray, shape (n,)
            Mean and standard deviation of the true advance [shaft degree].

        Raises
        ------
        ValueError
            If a speed is not a finite number in its range, or an argument is not of its kind.

        Notes
        -----
        Mean and standard deviation over the draws of head and springs, each balanced as in `Head`, and 0.03
        degrees that the model itself is off by while the weights move.

        References
        ----------
        A. Tarantola, Inverse Problem Theory, SIAM (2005), ch. 3: what is still possible, put through a model.

        Examples
        --------
        >>> from curves.engine import calibrate
        >>> head = Head((20.0, 22.0), (0.24, 0.24), 12.0)
        >>> primary, secondary = Spring("P1", 3.0, 19.7), Spring("S1", 9.0, 23.0)
        >>> run = Run(primary, secondary, [400, 600, 800, 1100, 1400], [0, 1.5, 4.5, 7.5, 11])
        >>> mean_deg, sd_deg = calibrate(head, [run]).curve(primary, secondary, [600, 1100])
        >>> bool(abs(mean_deg[1] - 7.5) < 0.5), bool(sd_deg[1] < 0.4)
        (True, True)
        """
        checked_kind("primary", primary, Spring)
        checked_kind("secondary", secondary, Spring, none_too=True)
        speed = checked_array("speed_rpm", speed_rpm, 0.0, MAX_SPEED_RPM)
        falling = checked_flags("falling", falling, speed.size)
        bend = checked_array("post_bend_mm", post_bend_mm, -MAX_BEND_MM, MAX_BEND_MM, like=("(p, s)", 2))
        if travel_deg is not None:
            travel_deg = checked_number("travel_deg", travel_deg, 0.0, MAX_TRAVEL_DEG, above=True)
        balance = self.balance_draws(primary, secondary, (bend[0], bend[1]), travel_deg)
        angle = advance_at(balance, speed, falling)
        moving = np.mean((angle > 0.0) & (angle < balance.travel_deg), axis=0)
        return angle.mean(axis=0), np.hypot(angle.std(axis=0), MODEL_SD_DEG * moving)

    def run_draws(self, index: int, speed_rpm: ArrayLike, *, falling: bool = False) -> Floats:
        """Give draws of the advance in a run as it was, its bends' own errors included.

        Parameters
        ----------
        index : int
            The run's place in `runs`, from 0.
        speed_rpm : array_like, shape (n,)
            Shaft speeds [rpm], 0 to 20 000.
        falling : bool, default False
            True: coming from above.

        Returns
        -------
        ndarray, shape (512, n)
            Advance [shaft degree].

        Raises
        ------
        ValueError
            If there is no such run, or a speed is out of range.

        Examples
        --------
        >>> from curves.engine import calibrate
        >>> run = Run(Spring("P1", 3.0, 19.7), None, [400, 800, 1100], [0, 4.5, 7.5])
        >>> calibration = calibrate(Head((20.0, 22.0), (0.24, 0.24), 12.0), [run])
        >>> calibration.run_draws(0, [800, 1100]).shape
        (512, 2)
        """
        index = checked_count("index", index, 0, len(self.runs) - 1)
        speed = checked_array("speed_rpm", speed_rpm, 0.0, MAX_SPEED_RPM)
        head = self.model.balance(self.draws)
        each = {
            name: getattr(head, name)[:, index : index + 1]
            for name in ("gap_mm", "rate", "length_mm", "tension_n")
        }
        return advance_at(head._replace(**each), speed, falling)

    def post_error_draws(self) -> Floats:
        """Give draws of how far beside its bend each post stands since the last run.

        Returns
        -------
        ndarray, shape (512, 2)
            0 for a post that was never bent [mm].

        Examples
        --------
        >>> from curves.engine import calibrate
        >>> head = Head((20.0, 22.0), (0.24, 0.24), 12.0)
        >>> primary, secondary = Spring("P1", 3.0, 19.7), Spring("S1", 9.0, 23.0)
        >>> run = Run(primary, secondary, [400, 600, 800, 1100], [0, 1, 4, 7], post_bend_mm=(0.2, 0.0))
        >>> error = calibrate(head, [run]).post_error_draws()
        >>> error.shape, bool(error[:, 0].std() > 0.02), float(error[:, 1].std())
        ((512, 2), True, 0.0)
        """
        padded = np.column_stack([self.draws, np.zeros(len(self.draws))])  # what NO_SPRING points at
        return padded[:, self.model.bend_column[-1]]

    def corrected(self, spring: Spring, position: str | None = None) -> Spring:
        """Give a spring as it was found to be, to be used from now on.

        Parameters
        ----------
        spring : Spring
            One that was run.
        position : {"primary", "secondary"}, optional
            Where it hung; needed only if it hung in both.

        Returns
        -------
        Spring
            The same key, corrected values, narrower standard deviations, and how their errors hang together.

        Raises
        ------
        ValueError
            If the spring was not run.

        Notes
        -----
        Means, standard deviations and correlations of the draws of log rate, free length and tension / rate.

        References
        ----------
        A. Tarantola, Inverse Problem Theory, SIAM (2005), ch. 3.

        Examples
        --------
        >>> from curves.engine import calibrate
        >>> head = Head((20.0, 22.0), (0.24, 0.24), 12.0)
        >>> primary, secondary = Spring("P1", 3.0, 19.7), Spring("S1", 9.0, 23.0)
        >>> run = Run(primary, secondary, [400, 600, 800, 1100, 1400], [0, 1.5, 4.5, 7.5, 11])
        >>> found = calibrate(head, [run]).corrected(primary)
        >>> found.key, found.free_length_sd_mm < primary.free_length_sd_mm
        ('P1', True)
        """
        checked_kind("spring", spring, Spring)
        places = range(2) if position is None else [_place(position)]
        for place in places:
            column = self.model.springs.get((spring, place))
            if column is not None:
                return corrected_spring(spring, self.draws[:, column : column + 3])
        raise ValueError(f"spring must be one that was run, got {spring!r}")


def _place(position: str):
    """Turn "primary" or "secondary" into 0 or 1."""
    return POSITIONS.index(checked_choice("position", position, POSITIONS))
