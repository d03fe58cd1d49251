"""Where the search for a head begins: knees early to late, each with the inertia that then fits."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats
from ..governor.equilibrium import TORQUE_PER_RPM_SQUARED, spring_torque
from ..governor.prior import GAP, INERTIA, STRETCH, TRAVEL
from .model import Model

KNEE_SHARES = (0.25, 0.5, 0.75)  # of the travel
SCATTERED = 2
UNKNOWN_TRAVEL = 0.2  # log standard deviation
FARTHEST = 2.0  # standard deviations that a start may push a spring
_SEED = 20_013


def starting_points(model: Model) -> Floats:
    """Give points to start from in whitened unknowns, shape (m, size).

    The first stays at what the labels say, some move every secondary so that it comes in early or late, the
    last are scattered.
    """
    shares = (None, *KNEE_SHARES)
    starts = np.zeros((len(shares) + SCATTERED, model.size))
    starts[len(shares) :] = 0.5 * np.random.default_rng(_SEED).standard_normal((SCATTERED, model.size))
    if model.head.root[TRAVEL, TRAVEL] > UNKNOWN_TRAVEL:
        top = max(float(np.quantile(model.advance_deg, 0.9)), 1.0)
        starts[:, TRAVEL] = (np.log(top) - model.head.mean[TRAVEL]) / model.head.root[TRAVEL, TRAVEL]
    for row, share in enumerate(shares):
        if share is not None:
            _place_knee(model, starts[row], share)
    _match_inertia(model, starts)
    return starts


def _place_knee(model: Model, start: Floats, share: float):
    """Lengthen or shorten all secondaries, as far as is likely, to come in at a share of the travel."""
    theta = model.natural(start[None])[0]
    gap, stretch, travel = np.exp(theta[[GAP.start + 1, STRETCH.start + 1, TRAVEL]])
    for (_, place), column in model.springs.items():
        if place == 1:
            root = model.spring_root(column)
            shift = (gap + stretch * share * travel - model.mean[column + 1]) / np.hypot(*root[1, :2])
            start[column + 1] = np.clip(shift, -FARTHEST, FARTHEST)


def _match_inertia(model: Model, starts: Floats):
    """Give each start the inertia at which the springs balance the weights at most of its readings."""
    balance = model.at_readings(model.balance(model.natural(starts)))
    advance = model.advance_deg
    torque = spring_torque(balance, advance)
    arm = TORQUE_PER_RPM_SQUARED * model.speed_rpm**2 * (1.0 + balance.growth * advance)
    sound = (torque > 0) & (arm > 0)
    moving = sound & (advance > 0.5) & (advance < 0.95 * balance.travel_deg)
    use = np.where(moving.any(axis=1, keepdims=True), moving, sound)  # a head that snaps is never seen moving
    seen = use.sum(axis=1)
    ratio = np.sort(np.where(use, torque, np.inf) / np.where(use, arm, 1.0), axis=1)  # the unused at the end
    rows = np.flatnonzero(seen)
    middle = 0.5 * (ratio[rows, (seen[rows] - 1) // 2] + ratio[rows, seen[rows] // 2])
    starts[rows, INERTIA] = (np.log(middle) - model.head.mean[INERTIA]) / model.head.root[INERTIA, INERTIA]
    np.clip(starts, -6.0, 6.0, out=starts)
