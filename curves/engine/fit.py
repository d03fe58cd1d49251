"""A robust nonlinear least-squares fit with a standard normal prior, from several starts at once."""

from dataclasses import dataclass

import numpy as np

BROAD_STEPS = 5
MAX_STEPS = 60
SETTLED = 1e-6  # relative decrease of the cost below which a fit has settled
MAX_REFUSED = 6  # steps in a row that did not help
KICKS, KICK_SIZE, KICK_STEPS, KICK_ROUNDS = 4, 0.6, 6, 4
WORTH_ANOTHER = 0.1  # decrease of the cost by a round of kicks after which another may still find more
_SEED = 20_015
MISTYPED_ODDS = 3e-4  # one reading in a hundred or so is mistyped, anywhere on the scale
FIRST_DAMPING = 1e-2


@dataclass(frozen=True, eq=False)
class Fit:
    """The best of all starts: unknowns, covariance, and each reading's weight (1 believed, 0 mistyped)."""

    z: np.ndarray
    covariance: np.ndarray
    cost: float
    residuals: np.ndarray
    weight: np.ndarray
    converged: bool


def broad_loss(residual):
    """Give cost and weight of residuals by a loss that pulls from afar: it brings a poor start home."""
    root = np.sqrt(1.0 + residual**2)
    return 2.0 * (root - 1.0), 1.0 / root


def mistyping_loss(residual):
    """Give cost and weight of residuals that are normal, but for a few that are just anything.

    ``rho = -2 log((exp(-r**2 / 2) + c) / (1 + c))``: a square to about 3.5 standard deviations, then flat.
    """
    believed = np.exp(-0.5 * np.minimum(residual**2, 1400.0))
    cost = -2.0 * np.log((believed + MISTYPED_ODDS) / (1.0 + MISTYPED_ODDS))
    return cost, believed / (believed + MISTYPED_ODDS)


def _normal_equations(residual, jacobian, weight, z):
    """Give the gradient and the Gauss-Newton matrix of half the cost, each start's own."""
    weighted = jacobian * weight[..., None]
    transposed = np.swapaxes(weighted, -1, -2)
    gradient = (transposed @ residual[..., None])[..., 0] + z
    return gradient, transposed @ jacobian + np.eye(z.shape[-1])


def descend(evaluate, z, loss, max_steps=MAX_STEPS):
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
    z, cost, settled : ndarray
        Shapes (m, size), (m,), (m,).
    """
    residual, jacobian = evaluate(z)
    each, weight = loss(residual)
    cost = each.sum(axis=-1) + (z**2).sum(axis=-1)
    gradient, matrix = _normal_equations(residual, jacobian, weight, z)
    damping = np.full(len(z), FIRST_DAMPING)
    refused = np.zeros(len(z), dtype=int)
    settled = np.zeros(len(z), dtype=bool)
    diagonal = np.arange(z.shape[-1])
    for _ in range(max_steps):
        damped = matrix.copy()
        damped[:, diagonal, diagonal] *= 1.0 + damping[:, None]
        tried = z - np.linalg.solve(damped, gradient[..., None])[..., 0]
        residual, jacobian = evaluate(tried)
        each, weight = loss(residual)
        new_cost = each.sum(axis=-1) + (tried**2).sum(axis=-1)
        better = new_cost < cost
        refused = np.where(better, 0, refused + 1)
        settled |= (np.abs(cost - new_cost) <= SETTLED * (1.0 + cost)) | (refused >= MAX_REFUSED)
        new_gradient, new_matrix = _normal_equations(residual, jacobian, weight, tried)
        z = np.where(better[:, None], tried, z)
        cost = np.where(better, new_cost, cost)
        gradient = np.where(better[:, None], new_gradient, gradient)
        matrix = np.where(better[:, None, None], new_matrix, matrix)
        damping = np.where(better, damping * 0.15, damping * 5.0)
        if settled.all():
            break
    return z, cost, settled


def _kicked(evaluate, z, cost, settled):
    """Go on from about the optimum found: kinks stop a search short of where it could get."""
    for _ in range(KICK_ROUNDS):
        before = cost
        z, cost, settled = _kicked_once(evaluate, z, cost, settled)
        if before - cost < WORTH_ANOTHER:
            break
    return z, cost, settled


def _kicked_once(evaluate, z, cost, settled):
    """Search from a few points about the optimum, and give the best of them and of where it stood."""
    residual, jacobian = evaluate(z[None])
    matrix = _normal_equations(residual, jacobian, mistyping_loss(residual)[1], z[None])[1][0]
    normal = np.random.default_rng(_SEED).standard_normal((z.size, KICKS))
    kicks = np.linalg.solve(np.linalg.cholesky(matrix).T, KICK_SIZE * normal).T
    others = descend(evaluate, z + kicks, mistyping_loss, max_steps=KICK_STEPS)
    found = [np.concatenate([[own], other]) for own, other in zip((z, cost, settled), others, strict=True)]
    best = int(np.argmin(found[1]))
    return tuple(part[best] for part in found)


def fit(evaluate, starts, keep=2):
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
    z, cost, _ = descend(evaluate, starts, broad_loss, max_steps=BROAD_STEPS)
    z = z[np.argsort(cost, kind="stable")[:keep]]
    z, cost, settled = descend(evaluate, z, mistyping_loss)
    best = int(np.argmin(cost))
    z, cost, settled = _kicked(evaluate, z[best], cost[best], settled[best])
    if not settled:
        (z,), (cost,), (settled,) = descend(evaluate, z[None], mistyping_loss)
    residual, jacobian = evaluate(z[None])
    weight = mistyping_loss(residual)[1]
    matrix = _normal_equations(residual, jacobian, weight, z[None])[1]
    covariance = np.linalg.inv(matrix[0])
    return Fit(z, 0.5 * (covariance + covariance.T), float(cost), residual[0], weight[0], bool(settled))
