"""Find the head and the springs that explain all runs so far, and how surely."""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from .doubts import doubts
from .equilibrium import Balance, advance_at
from .fit import fit
from .head import MAX_BEND_MM, MAX_TRAVEL_DEG, Head, Run
from .model import MODEL_SD_DEG, READING_SCATTER_DEG, build_model
from .posterior import sample
from .prior import (
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
from .readings import MAX_SPEED_RPM, checked_array, checked_number
from .springs import Spring
from .starts import starting_points

_SEED = 20_011
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
    warnings : tuple of str
        What a person should look at: mistyped readings by name, snaps, springs far from their label.

    Examples
    --------
    See `calibrate`.
    """

    head: Head
    runs: tuple[Run, ...]
    estimates: dict[str, Estimate]
    converged: bool
    cost: float
    residuals_deg: tuple[np.ndarray, ...]
    warnings: tuple[str, ...]
    fitted: object = field(repr=False)  # Fit
    model: object = field(repr=False)  # Model

    @cached_property
    def draws(self):
        """Give draws of all unknowns as log, mm and N, shape (512, size), read-only."""
        draws = self.model.natural(sample(self.model, self.fitted, _SEED))
        draws.setflags(write=False)
        return draws

    @property
    def head_draws(self):
        """Give draws of `HEAD_NAMES`, shape (512, 8)."""
        return self.draws[:, :HEAD_SIZE]

    def spring_draws(self, spring, place, number=0):
        """Give draws of a spring's log rate, free length and tension / rate, shape (512, 3).

        A spring that was run is drawn together with the head, any other from its label; `number` keeps the
        labels' errors of different springs apart.
        """
        column = self.model.springs.get((spring, place))
        if column is not None:
            return self.draws[:, column : column + 3]
        prior = spring_prior(spring, place, self.estimates[ESTIMATES[GAP.start + place]].value)
        normal = np.random.default_rng((_SEED, place, number)).standard_normal((len(self.draws), 3))
        return np.array(prior.mean) + normal @ prior.root.T

    def balance_draws(self, primary, secondary, post_bend_mm=(0.0, 0.0), travel_deg=None):
        """Give draws of the head with a pair of springs in it, arrays of shape (512, 1) and (512, 1, 2)."""
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
        self, primary, secondary, speed_rpm, *, falling=False, post_bend_mm=(0.0, 0.0), travel_deg=None
    ):
        """Give the advance to expect from a pair of springs, and how surely.

        Parameters
        ----------
        primary : Spring
        secondary : Spring or None
        speed_rpm : array_like, shape (n,)
            Shaft speeds [rpm], 0 to 20 000.
        falling : bool, default False
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
            If a speed is not a finite number in its range, or a spring is no `Spring`.

        Examples
        --------
        >>> head = Head((20.0, 22.0), (0.24, 0.24), 12.0)
        >>> primary, secondary = Spring("P1", 3.0, 19.7), Spring("S1", 9.0, 23.0)
        >>> run = Run(primary, secondary, [400, 600, 800, 1100, 1400], [0, 1.5, 4.5, 7.5, 11])
        >>> mean_deg, sd_deg = calibrate(head, [run]).curve(primary, secondary, [600, 1100])
        >>> bool(abs(mean_deg[1] - 7.5) < 0.5), bool(sd_deg[1] < 0.4)
        (True, True)
        """
        for name, spring in zip(POSITIONS, (primary, secondary), strict=True):
            if not isinstance(spring, Spring) and not (spring is None and name == "secondary"):
                raise ValueError(f"{name} must be a Spring, got {spring!r}")
        speed = checked_array("speed_rpm", speed_rpm, 0.0, MAX_SPEED_RPM)
        bend = checked_array("post_bend_mm", post_bend_mm, -MAX_BEND_MM, MAX_BEND_MM, like=("(p, s)", 2))
        if travel_deg is not None:
            travel_deg = checked_number("travel_deg", travel_deg, 0.0, MAX_TRAVEL_DEG, above=True)
        balance = self.balance_draws(primary, secondary, bend, travel_deg)
        angle = advance_at(balance, speed, bool(falling))
        moving = np.mean((angle > 0.0) & (angle < balance.travel_deg), axis=0)
        return angle.mean(axis=0), np.hypot(angle.std(axis=0), MODEL_SD_DEG * moving)

    def run_draws(self, index, speed_rpm):
        """Give draws of the advance in a run as it was, its bends' own errors included, shape (512, n)."""
        head = self.model.balance(self.draws)
        each = {
            name: getattr(head, name)[:, index : index + 1]
            for name in ("gap_mm", "rate", "length_mm", "tension_n")
        }
        return advance_at(head._replace(**each), speed_rpm)

    def post_error_draws(self):
        """Give draws of how far beside its bend each post stands since the last run [mm], shape (512, 2)."""
        padded = np.column_stack([self.draws, np.zeros(len(self.draws))])  # what NO_SPRING points at
        return padded[:, self.model.bend_column[-1]]

    def corrected(self, spring, position=None):
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

        Examples
        --------
        >>> head = Head((20.0, 22.0), (0.24, 0.24), 12.0)
        >>> primary, secondary = Spring("P1", 3.0, 19.7), Spring("S1", 9.0, 23.0)
        >>> run = Run(primary, secondary, [400, 600, 800, 1100, 1400], [0, 1.5, 4.5, 7.5, 11])
        >>> found = calibrate(head, [run]).corrected(primary)
        >>> found.key, found.free_length_sd_mm < primary.free_length_sd_mm
        ('P1', True)
        """
        places = range(2) if position is None else [_place(position)]
        for place in places:
            column = self.model.springs.get((spring, place))
            if column is not None:
                return corrected_spring(spring, self.draws[:, column : column + 3])
        raise ValueError(f"spring must be one that was run, got {spring!r}")


def _place(position):
    """Turn "primary" or "secondary" into 0 or 1."""
    if position not in POSITIONS:
        raise ValueError(f"position must be one of {POSITIONS}, got {position!r}")
    return POSITIONS.index(position)


def calibrate(head, runs, *, scatter_deg=READING_SCATTER_DEG):
    """Find the most likely head and springs given all runs on it so far.

    Parameters
    ----------
    head : Head
        What was measured, or learned from earlier heads of its type; all else starts wide.
    runs : sequence of Run
        At least one. A spring is known by its key and label: one that hung in several runs is one spring.
    scatter_deg : float, default 0.25
        Standard deviation of a reading, but for the rounding of its scale [shaft degree], above 0 to 10.

    Returns
    -------
    Calibration

    Raises
    ------
    ValueError
        If there is no run, or an argument is not of its kind or out of range.

    Notes
    -----
    Minimises ``sum rho(r) + z' z``: r is reading less model over its standard deviation (scatter, rounding,
    tachometer error times slope), rho a square that turns flat beyond 3.5 so that a mistyped reading is left
    out, and z all unknowns less their prior mean over their prior standard deviation. Several starts, by
    Levenberg-Marquardt with exact derivatives. The same input gives the same result.

    References
    ----------
    D. W. Marquardt, An algorithm for least-squares estimation of nonlinear parameters, J. SIAM 11 (1963).
    A. Tarantola, Inverse Problem Theory, SIAM (2005), ch. 3: measurements and priors as one sum of squares.

    Examples
    --------
    >>> head = Head((20.0, 22.0), (0.24, 0.24), 12.0)
    >>> primary, secondary = Spring("P1", 3.0, 19.7), Spring("S1", 9.0, 23.0)
    >>> run = Run(primary, secondary, [400, 600, 800, 1100, 1400, 1800], [0, 1.5, 4.5, 7.5, 11, 12])
    >>> calibration = calibrate(head, [run])
    >>> calibration.converged, calibration.warnings
    (True, ())
    >>> round(calibration.estimates["travel_deg"].value)
    12
    """
    runs = tuple(runs)
    if not isinstance(head, Head):
        raise ValueError(f"head must be a Head, got {head!r}")
    if not runs or not all(isinstance(run, Run) for run in runs):
        raise ValueError(f"runs must be a list of at least one Run, got {runs!r}")
    model = build_model(head, runs, checked_number("scatter_deg", scatter_deg, 0.0, 10.0, above=True))
    fitted = fit(model.jacobian, starting_points(model))
    residual = fitted.residuals * model.noise_deg
    residuals = tuple(residual[model.run == index] for index in range(len(runs)))
    return Calibration(
        head=head,
        runs=runs,
        estimates=_estimates(model, fitted),
        converged=fitted.converged,
        cost=fitted.cost,
        residuals_deg=residuals,
        warnings=tuple(doubts(model, fitted, runs)),
        fitted=fitted,
        model=model,
    )


def _estimates(model, fitted):
    """Give the head's values and standard errors; those taken by their logarithm are turned back."""
    value = model.natural(fitted.z[None])[0, :HEAD_SIZE]
    root = model.head.root
    sd = np.sqrt(np.diag(root @ fitted.covariance[:HEAD_SIZE, :HEAD_SIZE] @ root.T))
    logarithmic = np.arange(HEAD_SIZE) != GROWTH
    value = np.where(logarithmic, np.exp(np.where(logarithmic, value, 0.0)), value)
    sd = np.where(logarithmic, value * sd, sd)
    return {name: Estimate(float(v), float(s)) for name, v, s in zip(ESTIMATES, value, sd, strict=True)}
