"""Draws of all that is still possible after a fit, by Markov chains that know the fit's covariance."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..arrays import Floats
from .fit import Fit, mistyping_loss
from .model import Model

CHAINS = 128
STEPS = 60
STRIDE = 0.4
KEPT_STEPS = (29, 39, 49, 59)  # far enough apart to count as draws of their own


def sample(model: Model, fitted: Fit, seed: int) -> Floats:
    """Draw from the posterior.

    Parameters
    ----------
    model : Model
    fitted : Fit
        Its optimum and covariance are where the chains start, and what they propose by.
    seed : int
        The same seed gives the same draws.

    Returns
    -------
    ndarray, shape (512, size)
        Whitened unknowns, the last step of all chains last.

    Notes
    -----
    A knee's kink and a spring that hangs loose make the Gaussian at the optimum a poor picture of what is
    left possible. Each chain moves by ``x' = sqrt(1 - s**2) x + s n`` in the coordinates in which that
    Gaussian is standard, which leaves it as it is, and accepts by how much the true posterior differs.

    References
    ----------
    S. L. Cotter, G. O. Roberts, A. M. Stuart, D. White, MCMC methods for functions: modifying old algorithms
    to make them faster, Statistical Science 28 (2013): the preconditioned Crank-Nicolson proposal.
    """
    rng = np.random.default_rng(seed)
    root = np.linalg.cholesky(fitted.covariance).T
    half = rng.standard_normal((CHAINS // 2, model.size))
    place = np.concatenate([half, -half])
    surplus = _surplus(model, fitted.z + place @ root, place)
    stay = np.sqrt(1.0 - STRIDE**2)
    kept = []
    for step in range(STEPS):
        tried = stay * place + STRIDE * rng.standard_normal(place.shape)
        tried_surplus = _surplus(model, fitted.z + tried @ root, tried)
        accepted = np.log(rng.random(CHAINS)) < 0.5 * (surplus - tried_surplus)
        place = np.where(accepted[:, None], tried, place)
        surplus = np.where(accepted, tried_surplus, surplus)
        if step in KEPT_STEPS:
            kept.append(place)
    return fitted.z + np.concatenate(kept) @ root


def _surplus(model: Model, z: Floats, place: Any):
    """Give the cost of draws above what the Gaussian they were drawn from says."""
    cost = mistyping_loss(model.residuals(z))[0].sum(axis=-1) + (z**2).sum(axis=-1)
    return cost - (place**2).sum(axis=-1)
