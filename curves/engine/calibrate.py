"""Find the head and the springs that explain all runs so far, and how surely."""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from .equilibrium import TORQUE_PER_RPM_SQUARED, Balance, advance_at, find_snaps, spring_torque
from .fit import fit
from .head import Head, Run
from .model import MODEL_SD_DEG, READING_SCATTER_DEG, build_model
from .prior import (
    FRICTION,
    GAP,
    GROWTH,
    HEAD_NAMES,
    HEAD_SIZE,
    INERTIA,
    STRETCH,
    TRAVEL,
    corrected,
    spring_prior,
)
from .readings import MAX_SPEED_RPM, checked_array, checked_number

DRAWS = 128
_SEED = 20_011

DOUBTED_WEIGHT = 0.5
SURPRISE = 3.0  # standard deviations between a label and what was found
KNEE_SHARES = (None, 0.25, 0.5, 0.75)


@dataclass(frozen=True)
class Estimate:
    """A value and its standard error."""

    value: float
    sd: float


@dataclass(frozen=True, eq=False)
class Calibration:
    """A head after its runs: what it and its springs are, and draws of what they may be.

    Attributes
    ----------
    head : Head
    runs : tuple of Run
    estimates : dict of str to Estimate
        inertia_kg_mm2_per_deg, growth_per_deg, friction_n_mm_per_deg, post_gap_primary_mm, ..., travel_deg.
    converged : bool
    cost : float
        Twice the negative log posterior, but for a constant.
    residuals_deg : tuple of ndarray
        Reading less model [shaft degree], one array for each run in the order of its readings.
    warnings : tuple of str
    draws : ndarray, shape (128, size)
        Draws of the whitened unknowns.
    """

    head: Head
    runs: tuple[Run, ...]
    estimates: dict[str, Estimate]
    converged: bool
    cost: float
    residuals_deg: tuple[np.ndarray, ...]
    warnings: tuple[str, ...]
    draws: np.ndarray
    fitted: object = field(repr=False)  # Fit
    model: object = field(repr=False)  # Model

    @cached_property
    def natural_draws(self):
        """Give the draws as log, mm and N, shape (128, size)."""
        return self.model.natural(self.draws)

    def head_draws(self):
        """Give draws of `HEAD_NAMES`, shape (128, 8)."""
        return self.natural_draws[:, :HEAD_SIZE]

    def spring_draws(self, spring, place, seed=0):
        """Give draws of log rate, free length and initial tension, shape (128, 3).

        A spring that was run is drawn together with the head, any other from its label.
        """
        column = self.model.springs.get((spring, place))
        if column is not None:
            return self.natural_draws[:, column : column + 3]
        gap = self.estimates[("post_gap_primary_mm", "post_gap_secondary_mm")[place]].value
        prior = spring_prior(spring, place, gap)
        normal = np.random.default_rng((_SEED, place, seed)).standard_normal((len(self.draws), 3))
        return np.array(prior.mean) + np.array(prior.sd) * normal

    def curve(self, primary, secondary, speed_rpm, *, falling=False, post_bend_mm=(0.0, 0.0)):
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
            Bends of the posts [mm].

        Returns
        -------
        mean_deg, sd_deg : ndarray, shape (n,)
            Mean and standard deviation of the true advance [shaft degree].

        Raises
        ------
        ValueError
            If a speed is not a finite number in its range.
        """
        speed = checked_array("speed_rpm", speed_rpm, 0.0, MAX_SPEED_RPM)
        balance = self.balance_draws(primary, secondary, post_bend_mm)
        angle = advance_at(balance, speed, falling)
        spread = angle.std(axis=0)
        inside = np.mean((angle > 0.0) & (angle < balance.travel_deg), axis=0)
        return angle.mean(axis=0), np.hypot(spread, MODEL_SD_DEG * inside)

    def balance_draws(self, primary, secondary, post_bend_mm=(0.0, 0.0)):
        """Give draws of the head with a pair of springs in it, arrays of shape (128, 1) and (128, 1, 2)."""
        head = self.head_draws()
        springs = np.zeros((len(head), 3, 2))
        springs[:, 0] = -np.inf  # no spring: a rate of 0
        for place, spring in enumerate((primary, secondary)):
            if spring is not None:
                springs[..., place] = self.spring_draws(spring, place)
        return Balance(
            inertia=np.exp(head[:, INERTIA, None]),
            growth=head[:, GROWTH, None],
            friction=np.exp(head[:, FRICTION, None]),
            travel_deg=np.exp(head[:, TRAVEL, None]),
            gap_mm=np.exp(head[:, None, GAP]) + post_bend_mm,
            stretch=np.exp(head[:, None, STRETCH]),
            rate=np.exp(springs[:, None, 0]),
            length_mm=springs[:, None, 1],
            tension_n=springs[:, None, 2],
        )


def _starts(model):
    """Give points to start from, shape (m, size): knees early to late, each with the inertia that then fits."""
    rng = np.random.default_rng(_SEED)
    starts = np.zeros((len(KNEE_SHARES) + 2, model.size))
    starts[-2:] = 0.5 * rng.standard_normal((2, model.size))
    if model.head.root[TRAVEL, TRAVEL] > 0.2:
        top = max(float(model.advance_deg.max()), 1.0)
        starts[:, TRAVEL] = (np.log(top) - model.head.mean[TRAVEL]) / model.head.root[TRAVEL, TRAVEL]
    theta = model.natural(starts)
    for (_, place), column in model.springs.items():
        if place == 0:
            continue
        for row, share in enumerate(KNEE_SHARES):
            if share is not None:
                gap, stretch, travel = np.exp(theta[row, [GAP.start + 1, STRETCH.start + 1, TRAVEL]])
                shift = (gap + stretch * share * travel - model.mean[column + 1]) / model.sd[column + 1]
                starts[row, column + 1] = np.clip(shift, -2.0, 2.0)
    balance = model.balance(model.natural(starts))
    torque = spring_torque(balance, model.advance_deg)
    arm = TORQUE_PER_RPM_SQUARED * model.speed_rpm**2 * (1.0 + balance.growth * model.advance_deg)
    moving = (model.advance_deg > 0.5) & (model.advance_deg < 0.95 * balance.travel_deg) & (torque > 0)
    for row in range(len(starts)):
        use = moving[row] & (arm[row] > 0)
        if use.any():
            inertia = np.log(np.median(torque[row, use] / arm[row, use]))
            starts[row, INERTIA] = (inertia - model.head.mean[INERTIA]) / model.head.root[INERTIA, INERTIA]
    return np.clip(starts, -6.0, 6.0)


def calibrate(head, runs, *, scatter_deg=READING_SCATTER_DEG):
    """Find the most likely head and springs given all runs on it so far."""
    runs = tuple(runs)
    model = build_model(head, runs, scatter_deg)
    fitted = fit(model.jacobian, _starts(model))
    normal = np.random.default_rng(_SEED).standard_normal((DRAWS // 2, model.size))
    draws = fitted.z + np.concatenate([normal, -normal]) @ np.linalg.cholesky(fitted.covariance).T
    natural = model.natural(draws)[:, :HEAD_SIZE]
    estimates = _estimates(model, fitted)
    residual = fitted.residuals * model.noise_deg
    return Calibration(
        head,
        runs,
        estimates,
        fitted.converged,
        fitted.cost,
        tuple(residual[model.run == i] for i in range(len(runs))),
        (),
        draws,
        fitted,
        model,
    )


_ESTIMATES = (
    "inertia_kg_mm2_per_deg",
    "growth_per_deg",
    "friction_n_mm_per_deg",
    "post_gap_primary_mm",
    "post_gap_secondary_mm",
    "stretch_primary_mm_per_deg",
    "stretch_secondary_mm_per_deg",
    "travel_deg",
)


def _estimates(model, fitted):
    theta = model.natural(fitted.z[None])[0, :HEAD_SIZE]
    root = model.head.root
    sd = np.sqrt(np.diag(root @ fitted.covariance[:HEAD_SIZE, :HEAD_SIZE] @ root.T))
    out = {}
    for i, name in enumerate(_ESTIMATES):
        out[name] = (
            Estimate(theta[i], sd[i])
            if i == GROWTH
            else Estimate(float(np.exp(theta[i])), float(np.exp(theta[i]) * sd[i]))
        )
    return out
