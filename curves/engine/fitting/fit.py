"""A robust nonlinear least-squares fit with a standard normal prior, from several starts at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ..arrays import Flags, Floats

BROAD_STEPS = 3
MAX_STEPS = 60
SETTLED = 1e-5  # relative decrease of the cost below which a fit has settled
MAX_REFUSED = 6  # steps in a row that did not help
KICKS, KICK_SIZE, KICK_STEPS, KICK_ROUNDS = 8, 1.0, 5, 4
WORTH_ANOTHER = 0.1  # decrease of the cost by a round of kicks after which another may still find more
_SEED = 20_015
MISTYPED_ODDS = 3e-4  # one reading in a hundred or so is mistyped, anywhere on the scale
FIRST_DAMPING = 1e-2


@dataclass(frozen=True, eq=False)
class Fit:
    """The best of all starts: unknowns, covariance, and each reading's weight (1 believed, 0 mistyped)."""

    z: Floats
    covariance: Floats
    cost: float
    residuals: Floats
    weight: Floats
    converged: bool


def broad_loss(residual: Floats) -> tuple[Floats, Floats]:
    """Give cost and weight of residuals by a loss that pulls from afar: it brings a poor start home."""
    root = np.sqrt(1.0 + residual**2)
    return 2.0 * (root - 1.0), 1.0 / root


def mistyping_loss(residual: Floats) -> tuple[Floats, Floats]:
    """Give cost and weight of residuals that are normal, but for a few that are just anything.

    ``rho = -2 log((exp(-r**2 / 2) + c) / (1 + c))``: a square to about 3.5 standard deviations, then flat.
    """
    believed = np.exp(-0.5 * np.minimum(residual**2, 1400.0))
    cost = -2.0 * np.log((believed + MISTYPED_ODDS) / (1.0 + MISTYPED_ODDS))
    return cost, believed / (believed + MISTYPED_ODDS)


class Standing(NamedTuple):
    """Where searches stand, each with what the next step is made of; `_look` makes it."""

    z: Floats  # (m, size)
    cost: Floats  # (m,)
    residual: Floats  # (m, n)
    weight: Floats  # (m, n)
    gradient: Floats  # (m, size) of half the cost
    matrix: Floats  # (m, size, size) Gauss and Newton's, of half the cost

    def take(self, rows: int | list[int]) -> Standing:
        """Give some of the searches."""
        return Standing(*(part[rows] for part in self))

    def join(self, other: Standing) -> Standing:
        """Give these searches and others."""
        return Standing(*(np.concatenate(parts) for parts in zip(self, other, strict=True)))

    def better_of(self, other: Standing, better: Flags) -> Standing:
        """Give the other's state of each search for which it is better."""
        return Standing(
            *(
                np.where(better.reshape(-1, *[1] * (mine.ndim - 1)), its, mine)
                for mine, its in zip(self, other, strict=True)
            )
        )


def _look(
    evaluate: Callable[[Floats], tuple[Floats, Floats]],
    loss: Callable[[Floats], tuple[Floats, Floats]],
    z: Floats,
):
    """Look around at z (m, size)."""
    residual, jacobian = evaluate(z)
    each, weight = loss(residual)
    transposed = np.swapaxes(jacobian * weight[..., None], -1, -2)
    return Standing(
        z,
        each.sum(axis=-1) + (z**2).sum(axis=-1),
        residual,
        weight,
        (transposed @ residual[..., None])[..., 0] + z,
        transposed @ jacobian + np.eye(z.shape[-1]),
    )


def descend(
    evaluate: Callable[[Floats], tuple[Floats, Floats]],
    z: Floats,
    loss: Callable[[Floats], tuple[Floats, Floats]],
    max_steps: int = MAX_STEPS,
) -> tuple[Standing, Flags]:
    """Run Levenberg-Marquardt from all starts side by side.

    Parameters
    ----------
    evaluate : callable
        Gives residuals (m, n) and their jacobian (m, n, size) at z (m, size).
    z : ndarray, shape (m, size)
        The starts.
    loss : callable
        Gives cost and weight of residuals.
    max_steps : int

    Returns
    -------
    standing : Standing
    settled : ndarray, shape (m,)
    """
    standing = _look(evaluate, loss, z)
    damping = np.full(len(z), FIRST_DAMPING)
    refused = np.zeros(len(z), dtype=int)
    settled = np.zeros(len(z), dtype=bool)
    diagonal = np.arange(z.shape[-1])
    for _ in range(max_steps):
        damped = standing.matrix.copy()
        damped[:, diagonal, diagonal] *= 1.0 + damping[:, None]
        step = np.linalg.solve(damped, standing.gradient[..., None])[..., 0]
        tried = _look(evaluate, loss, standing.z - step)
        better = tried.cost < standing.cost
        refused = np.where(better, 0, refused + 1)
        decrease = np.abs(standing.cost - tried.cost)
        settled |= (decrease <= SETTLED * (1.0 + standing.cost)) | (refused >= MAX_REFUSED)
        damping = np.where(better, damping * 0.15, damping * 5.0)
        standing = standing.better_of(tried, better)
        if settled.all():
            break
    return standing, settled


def _kicked(evaluate: Callable[[Floats], tuple[Floats, Floats]], standing: Standing, settled: Flags):
    """Go on from about where one search stands: kinks stop it short of where it could get."""
    for _ in range(KICK_ROUNDS):
        before = standing.cost[0]
        standing, settled = _kicked_once(evaluate, standing, settled)
        if before - standing.cost[0] < WORTH_ANOTHER:
            break
    return standing, settled


def _kicked_once(evaluate: Callable[[Floats], tuple[Floats, Floats]], standing: Standing, settled: Flags):
    """Search from a few points about the optimum, and give the best of them and of where it stood."""
    normal = np.random.default_rng(_SEED).standard_normal((standing.z.shape[-1], KICKS))
    kicks = np.linalg.solve(np.linalg.cholesky(standing.matrix[0]).T, KICK_SIZE * normal).T
    others, others_settled = descend(evaluate, standing.z + kicks, mistyping_loss, max_steps=KICK_STEPS)
    return _best(standing.join(others), np.concatenate([settled, others_settled]))


def _best(standing: Standing, settled: Flags):
    """Give the one search that stands lowest."""
    best = [int(np.argmin(standing.cost))]
    return standing.take(best), settled[best]


def fit(evaluate: Callable[[Floats], tuple[Floats, Floats]], starts: Floats, keep: int = 2) -> Fit:
    """Find the most likely unknowns from several starts.

    Parameters
    ----------
    evaluate : callable
        Gives residuals (m, n) and their jacobian (m, n, size) at z (m, size).
    starts : ndarray, shape (m, size)
    keep : int, default 2
        How many of them go on from the broad loss to the sharp one.

    Returns
    -------
    Fit
        With the covariance of the Laplace approximation at the optimum.
    """
    standing, _ = descend(evaluate, starts, broad_loss, max_steps=BROAD_STEPS)
    hopeful = standing.z[np.argsort(standing.cost, kind="stable")[:keep]]
    standing, settled = _best(*descend(evaluate, hopeful, mistyping_loss))
    standing, settled = _kicked(evaluate, standing, settled)
    if not settled[0]:
        standing, settled = descend(evaluate, standing.z, mistyping_loss)
    best = standing.take(0)
    covariance = np.linalg.inv(best.matrix)
    covariance = 0.5 * (covariance + covariance.T)
    return Fit(best.z, covariance, float(best.cost), best.residual, best.weight, bool(settled[0]))
